import assert from "node:assert/strict";
import { test } from "node:test";
import { asked, moved } from "../../static/js/diagnosis/options.js";

test("the arrows go round the ends of the list", () => {
  assert.equal(moved(-1, 3, "ArrowDown"), 0);
  assert.equal(moved(2, 3, "ArrowDown"), 0);
  assert.equal(moved(0, 3, "ArrowUp"), 2);
  assert.equal(moved(-1, 3, "ArrowUp"), 2);
  assert.equal(moved(1, 0, "ArrowDown"), -1);
});

test("Enter adds, Alt with a letter adds with a kind, a letter alone is typed", () => {
  assert.deepEqual(asked({ key: "Enter" }), { kind: "" });
  assert.deepEqual(asked({ key: "ł", code: "KeyL", altKey: true }), { kind: "compensation" });
  assert.deepEqual(asked({ key: "c", code: "KeyC", altKey: true }), { kind: "cause" });
  assert.equal(asked({ key: "c", code: "KeyC", altKey: false }), null);
  assert.equal(asked({ key: "z", code: "KeyZ", altKey: true }), null);
});
