import assert from "node:assert/strict";
import { test } from "node:test";

/** Just enough of a page for the element: a text area, its status and an empty document. */
let AutoSave;
const held = new Map();
const node = () => ({ append() {}, remove() {}, addEventListener() {} });
globalThis.HTMLElement = class {
  append() {}
};
globalThis.customElements = { define: (_name, kind) => (AutoSave = kind) };
globalThis.sessionStorage = {
  getItem: (key) => held.get(key) ?? null,
  setItem: (key, value) => held.set(key, value),
  removeItem: (key) => held.delete(key),
};
globalThis.addEventListener = () => {};
globalThis.document = { querySelector: () => ({ value: "token" }), createElement: node };
await import("../../static/js/review/autosave.js");

/** A server that refuses an older revision, as ours does. */
function server(text, revision) {
  const kept = { text, revision };
  globalThis.fetch = async (_url, { body }) => {
    const sent = JSON.parse(body);
    if (sent.revision !== kept.revision) {
      const answer = { theirs: kept.text, yours: sent.text, revision: kept.revision, version: 9 };
      return { ok: false, status: 409, text: async () => JSON.stringify(answer) };
    }
    Object.assign(kept, { text: sent.text, revision: sent.revision + 1 });
    return { ok: true, status: 200, text: async () => JSON.stringify({ revision: kept.revision }) };
  };
  return kept;
}

function opened(kept) {
  const element = new AutoSave();
  element.dataset = { url: "/review/1/text", key: "clip-1", revision: String(kept.revision) };
  const box = { value: kept.text, addEventListener() {} };
  const status = { textContent: "" };
  element.querySelector = (what) => (what === "textarea" ? box : status);
  element.querySelectorAll = () => [];
  element.connectedCallback();
  return element;
}

const place = "text clip-1";
const settled = () => new Promise((done) => setTimeout(done, 900));

test("words held before another window saved do not overwrite it after a reload", async () => {
  held.set(place, JSON.stringify({ text: "A: typed on the train", revision: 0 }));
  const kept = server("B: written at the desk", 1);
  const element = opened(kept);
  await settled();
  assert.equal(kept.text, "B: written at the desk");
  assert.equal(element.conflict, true);
  assert.ok(held.has(place), "what was typed is still held");
});

test("words held without a revision are no newer than anything", async () => {
  held.set(place, "A: typed on the train");
  const kept = server("B: written at the desk", 1);
  const element = opened(kept);
  await settled();
  assert.equal(kept.text, "B: written at the desk");
  assert.equal(element.conflict, true);
});

test("words held of the revision that stands are saved after a reload", async () => {
  held.set(place, JSON.stringify({ text: "more", revision: 3 }));
  const kept = server("less", 3);
  opened(kept);
  await settled();
  assert.deepEqual(kept, { text: "more", revision: 4 });
  assert.ok(!held.has(place));
});

test("what is typed is held with the revision it replaces", () => {
  held.clear();
  const element = opened(server("", 5));
  element.box.value = "first words";
  element.changed();
  assert.deepEqual(JSON.parse(held.get(place)), { text: "first words", revision: 5 });
});

test("held words that arrived meanwhile are let go", () => {
  held.set(place, JSON.stringify({ text: "same", revision: 1 }));
  opened(server("same", 2));
  assert.ok(!held.has(place));
});

test("words typed and typed back are not said to be under way for ever", async () => {
  const element = opened(server("the same", 1));
  element.box.value = "the same!";
  element.changed();
  assert.equal(element.status.textContent, "…");
  element.box.value = "the same";
  await element.save();
  assert.notEqual(element.status.textContent, "…");
});
