import assert from "node:assert/strict";
import { test } from "node:test";
import { Framing, atOnce, body, instruction } from "../../static/js/intake/framing.js";
import { standing } from "./standing.mjs";

const PICTURE = { width: 720, height: 1280 };
const PHONE = { view: "down_the_line", hand: "right", ...PICTURE };

test("one thing at a time, the most important first", () => {
  const cases = [
    ["turn_phone", standing(), { ...PHONE, width: 1280, height: 720 }],
    ["dark", standing(), { ...PHONE, light: 0.05 }],
    ["nobody", undefined, PHONE],
    ["nobody", standing({ visibility: 0.2 }), PHONE],
    ["back", standing({ top: 0.45 }), PHONE], // the feet are cut
    ["back", standing({ top: 0.01 }), PHONE], // the head is
    ["back", standing({ top: 0.1, height: 0.8 }), PHONE], // no room for the club
    ["closer", standing({ height: 0.25 }), PHONE],
    ["aim_left", standing({ x: 0.2 }), PHONE],
    ["aim_right", standing({ x: 0.8 }), PHONE],
    ["level", standing({ lean: 0.2 }), PHONE],
    ["level", standing(), { ...PHONE, tilt: 20 }],
    ["good", standing(), PHONE],
  ];
  for (const [expected, marks, asked] of cases) assert.equal(instruction(body(marks, asked), asked), expected);
});

function after(looks, asked, make) {
  const framing = new Framing(asked);
  let told;
  for (let n = 0; n < looks; n += 1) told = framing.look(n / 10, make(n), PICTURE);
  return told;
}

test("the side is told by breadth, by the face and by the toes, and only for measured views", () => {
  const says = (marks, view, hand = "right") => after(20, { view, hand }, () => marks).said;
  const wide = standing({ breadth: 0.09 }), narrow = standing({ breadth: 0.01 });
  assert.equal(says(wide, "down_the_line"), "wrong_view");
  assert.equal(says(narrow, "down_the_line"), "good");
  assert.equal(says(narrow, "down_the_line", "left"), "wrong_view"); // from the target's side
  assert.equal(says(standing({ breadth: 0.01, toes: -0.05 }), "down_the_line", "left"), "good");
  assert.equal(says(narrow, "face_on"), "wrong_view");
  assert.equal(says(wide, "face_on"), "good");
  assert.equal(says(standing({ breadth: -0.09 }), "face_on"), "wrong_view"); // the back
  for (const view of ["rear", "other"]) assert.equal(says(wide, view), "good");
});

test("the side is not judged while the golfer moves", () => {
  const walking = (n) => standing({ x: 0.4 + 0.02 * (n % 10), breadth: 0.09 });
  assert.equal(after(30, { view: "down_the_line", hand: "right" }, walking).said, "hold_still");
});

test("good stays for three seconds whatever moves, and no longer", () => {
  const framing = new Framing({ view: "down_the_line", hand: "right" });
  let t = 0;
  const look = (marks) => framing.look((t += 0.1), marks, PICTURE);
  for (let n = 0; n < 20; n += 1) look(standing());
  const until = t + 2.8;
  while (t < until) assert.ok(look(standing({ top: 0.45 })).good);
  for (let n = 0; n < 6; n += 1) look(standing({ top: 0.45 }));
  assert.equal(framing.said, "back");
});

test("a thing is said once, and only when it has held", () => {
  const framing = new Framing({ view: "other" });
  const near = standing({ top: 0.1, height: 0.8 }), fine = standing();
  const heard = [near, near, fine, near, near, near, near, ...Array(15).fill(fine)]
    .map((marks, n) => framing.look(n / 10, marks, PICTURE)).filter((l) => l.fresh).map((l) => l.said);
  assert.deepEqual(heard, ["back", "hold_still", "good"]);
});

test("sideways, dark and tilted need no golfer", () => {
  const says = (picture) => atOnce({ view: "other", ...PICTURE, light: 0.5, tilt: 0, ...picture });
  assert.deepEqual([{}, { width: 1300 }, { light: 0.02 }, { tilt: -30 }].map(says), ["", "turn_phone", "dark", "level"]);
});
