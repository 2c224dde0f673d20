import assert from "node:assert/strict";
import { test } from "node:test";
import { split } from "../../static/js/review/stand-out.js";
import { filled } from "../../static/js/review/snippets.js";

test("what is spoken of at this moment leads, each part in its own order", () => {
  const named = new Set(["hand_depth_cm@top", "pelvis_turn_deg@top", "trunk_tilt_deg@impact"]);
  const ids = ["pelvis_turn_deg", "trunk_tilt_deg", "hand_depth_cm", "knee_flex_deg"];
  assert.deepEqual(split(ids, "top", named), [
    ["pelvis_turn_deg", "hand_depth_cm"],
    ["trunk_tilt_deg", "knee_flex_deg"],
  ]);
  assert.deepEqual(split(ids, "address", named), [[], ids]);
});

test("a sentence takes the figure that is drawn, and leaves no brace to a student", () => {
  assert.equal(filled("You turn {measure}. We want {target}.", "24° ± 6"), "You turn 24° ± 6. We want ….");
  assert.equal(filled("You turn {measure}.", ""), "You turn ….");
});
