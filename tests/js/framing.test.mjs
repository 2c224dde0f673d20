import assert from "node:assert/strict";
import { test } from "node:test";
import { instruction, steady } from "../../static/js/intake/framing.js";

const PHONE = { view: "down_the_line", width: 720, height: 1280 };

// Somebody standing, 60 % of the picture's height; `breadth` is half a shoulder's width.
function standing({ x = 0.5, top = 0.25, height = 0.6, breadth = 0.03, visibility = 0.95 } = {}) {
  const marks = Array.from({ length: 33 }, () => ({ x, y: top + height / 2, visibility }));
  const put = (indices, share) => indices.forEach((i, k) => {
    marks[i] = { x: x + (k % 2 ? breadth : -breadth), y: top + share * height, visibility };
  });
  put([0], 0); put([7, 8], 0); put([11, 12], 0.2); put([23, 24], 0.5); put([27, 28], 0.95);
  put([29, 30, 31, 32], 1);
  return marks;
}

test("one thing at a time, the most important first", () => {
  const cases = [
    ["turn_phone", standing(), { ...PHONE, width: 1280, height: 720 }],
    ["nobody", undefined, PHONE],
    ["nobody", standing({ visibility: 0.2 }), PHONE],
    ["back", standing({ top: 0.45 }), PHONE], // the feet are cut
    ["back", standing({ top: 0.01 }), PHONE], // the head is
    ["back", standing({ top: 0.1, height: 0.8 }), PHONE], // no room for the club
    ["closer", standing({ height: 0.25 }), PHONE],
    ["aim_left", standing({ x: 0.2 }), PHONE],
    ["aim_right", standing({ x: 0.8 }), PHONE],
    ["good", standing(), PHONE],
  ];
  for (const [expected, marks, asked] of cases) assert.equal(instruction(marks, asked), expected);
});

test("the view is told by breadth against trunk, and only for measured views", () => {
  const wide = standing({ breadth: 0.09 }), narrow = standing({ breadth: 0.01 });
  const says = (marks, view) => instruction(marks, { ...PHONE, view });
  assert.equal(says(wide, "down_the_line"), "wrong_view");
  assert.equal(says(narrow, "down_the_line"), "good");
  assert.equal(says(narrow, "face_on"), "wrong_view");
  assert.equal(says(wide, "face_on"), "good");
  for (const view of ["rear", "overhead", "other"]) {
    assert.equal(says(wide, view), "good");
    assert.equal(says(narrow, view), "good");
  }
});

test("a thing is said once, when it has held", () => {
  const say = steady(3);
  const heard = ["back", "back", "good", "back", "back", "back", "back", "good", "good", "good"].map(say);
  assert.deepEqual(heard.filter(Boolean), ["back", "good"]);
});
