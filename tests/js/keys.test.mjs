import assert from "node:assert/strict";
import { test } from "node:test";
import { ACTIONS, actionOf, isWriting, keyMap, keyName, rebind } from "../../static/js/review/keys.js";

test("keys are written with their modifiers, shifted signs as the sign", () => {
  assert.equal(keyName({ key: "ArrowLeft", shiftKey: true }), "Shift+ArrowLeft");
  assert.equal(keyName({ key: "Z", ctrlKey: true, shiftKey: true }), "Ctrl+z");
  assert.equal(keyName({ key: "?", shiftKey: true }), "?");
  assert.equal(keyName({ key: " " }), "Space");
});

test("no two actions share a key, before and after a change", () => {
  const unique = (map) => assert.equal(new Set(Object.values(map)).size, Object.keys(ACTIONS).length);
  unique(keyMap());
  const map = rebind(keyMap(), "play", ".");
  unique(map);
  assert.equal(actionOf(map, "."), "play");
  assert.equal(actionOf(map, "Space"), "next");
  assert.equal(actionOf(map, "q"), null);
});

test("keys stand still while somebody writes", () => {
  assert.ok(isWriting({ tagName: "TEXTAREA" }));
  assert.ok(isWriting({ tagName: "INPUT", type: "text" }));
  assert.ok(!isWriting({ tagName: "INPUT", type: "checkbox" }));
  assert.ok(!isWriting({ tagName: "BUTTON" }));
});
