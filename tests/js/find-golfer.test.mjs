import assert from "node:assert/strict";
import { test } from "node:test";
import { Finder, MARGINS } from "../../static/js/intake/find-golfer.js";
import { Framing } from "../../static/js/intake/framing.js";
import { standing } from "./standing.mjs";

const finds = (plain, inMargin, looks) => {
  let n = 0;
  const finder = new Finder((_source, small) => ((small ? inMargin : plain)(n) ? standing() : undefined));
  return Array.from({ length: looks }, (_, k) => { n = k; return finder.find(undefined); });
};
const always = () => true, never = () => false;

test("whoever is found in the plain picture is never looked for in the margin", () => {
  for (const { marks, near } of finds(always, () => assert.fail("looked"), 6)) assert.ok(marks && !near);
});

test("found in the margin only is too near, and stays so between two looks", () => {
  const looks = finds(never, always, 8);
  assert.ok(looks.slice(1).every(({ near, marks }) => near && !marks));
});

test("nobody anywhere is nobody, and stepping back ends being near", () => {
  assert.ok(finds(never, never, 6).every(({ near }) => !near));
  const looks = finds((n) => n > 4, always, 8);
  assert.deepEqual(looks.slice(-2).map(({ near, marks }) => [near, Boolean(marks)]), [[false, true], [false, true]]);
});

test("a body that one margin hides is looked for in the others, and found again there", () => {
  let looked = [];
  const finder = new Finder((_source, margin) => { looked.push(margin); return margin === MARGINS[2] ? standing() : undefined; });
  const looks = Array.from({ length: 12 }, () => finder.find(undefined));
  assert.deepEqual(looked.slice(0, 6), [undefined, MARGINS[0], undefined, MARGINS[1], undefined, MARGINS[2]]);
  assert.ok(looks.slice(5).every(({ near }) => near));
});

test("too near is told to move the phone back, never to step in", () => {
  const framing = new Framing({ view: "face_on" });
  let said;
  for (let n = 0; n < 6; n += 1) said = framing.look(n / 10, undefined, { width: 720, height: 1280, near: true }).said;
  assert.equal(said, "back");
});
