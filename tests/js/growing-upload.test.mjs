import assert from "node:assert/strict";
import { test } from "node:test";
import { GrowingUpload } from "../../static/js/review/growing-upload.js";

/** A server that keeps what it is given and can lose answers or connections on demand. */
function server() {
  const kept = { bytes: "", length: null, trouble: [] };
  const answer = (status, headers = {}) => ({
    status, ok: status < 300, headers: { get: (name) => headers[name] ?? null }, text: async () => "",
  });
  const fetch = async (url, { method, headers, body }) => {
    if (method === "POST") {
      assert.equal(headers["Upload-Defer-Length"], "1");
      return answer(201, { Location: "/uploads/abc/" });
    }
    if (method === "HEAD") return answer(200, { "Upload-Offset": kept.bytes.length });
    const trouble = kept.trouble.shift();
    if (trouble === "cut") throw new TypeError("network");
    if (Number(headers["Upload-Offset"]) !== kept.bytes.length) return answer(409);
    const text = await body.text();
    kept.bytes += trouble === "half" ? text.slice(0, 2) : text;
    if (trouble) throw new TypeError("network");
    if (headers["Upload-Length"]) kept.length = Number(headers["Upload-Length"]);
    return answer(204, { "Upload-Offset": kept.bytes.length });
  };
  return { kept, fetch };
}

async function said(trouble) {
  const { kept, fetch } = server();
  const upload = new GrowingUpload({
    endpoint: "/uploads/", metadata: { purpose: "voice" }, token: "t", fetch, pause: async () => {},
  });
  assert.equal(await upload.begin(), "abc");
  kept.trouble = trouble;
  for (const text of ["one ", "two ", "three"]) upload.add(new Blob([text]));
  await upload.finish();
  return { kept, upload };
}

for (const [name, trouble] of [
  ["without trouble", []],
  ["with connections cut before anything arrived", ["cut", "cut"]],
  ["with half a piece arrived", ["half", null, "half"]],
  ["with a whole piece arrived and its answer lost", ["lost", null, "lost"]],
]) {
  test(`everything said arrives once and in order ${name}`, async () => {
    const { kept, upload } = await said(trouble);
    assert.equal(kept.bytes, "one two three");
    assert.equal(kept.length, 13);
    assert.equal(upload.behind, 0);
  });
}

for (const status of [410, 409, 200]) {
  test(`a server that answers 409 again and again is asked with pauses, not for ever (HEAD ${status})`, async () => {
    let calls = 0;
    let pauses = 0;
    const fetch = async (url, { method }) => {
      calls += 1;
      assert.ok(calls < 1000, "it spins");
      const headers = { get: (name) => ({ Location: "/uploads/x", "Upload-Offset": "0" })[name] ?? null };
      if (method === "POST") return { status: 201, ok: true, headers };
      if (method === "HEAD") return { status, ok: status < 300, headers };
      return { status: 409, ok: false, headers, text: async () => "" };
    };
    const pause = async () => { pauses += 1; };
    const upload = new GrowingUpload({ endpoint: "/uploads/", token: "", metadata: { a: "b" }, fetch, pause });
    await upload.begin();
    upload.add(new Blob(["x"]));
    await assert.rejects(upload.finish());
    assert.ok(pauses >= 40, `${pauses} pauses for ${calls} requests`);
  });
}
