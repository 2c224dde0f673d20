import assert from "node:assert/strict";
import { test } from "node:test";
import {
  acrossPicture, angleDeg, barbs, centredOn, clampView, distance, filledWith, fitOf, mirror, pan, simplify, simplifyTo,
  snap, toFrame, toPicture, WHOLE, zoomAt,
} from "../../static/js/review/geometry.js";

const near = (a, b) => assert.ok(Math.abs(a - b) < 1e-9, `${a} is not ${b}`);

test("zooming holds the point under the finger still", () => {
  let view = WHOLE;
  for (const [at, factor] of [[[0.3, 0.6], 2], [[0.5, 0.5], 1.5], [[0.4, 0.4], 0.8]]) {
    const before = toPicture(view, at);
    view = zoomAt(view, at, factor);
    const after = toPicture(view, at);
    near(before[0], after[0]);
    near(before[1], after[1]);
  }
});

test("the picture never leaves its frame", () => {
  assert.deepEqual(pan({ scale: 2, x: -0.5, y: -0.5 }, 3, -3), { scale: 2, x: 0, y: -1 });
  assert.deepEqual(clampView({ scale: 0.2, x: 5, y: 5 }), WHOLE);
  assert.deepEqual(zoomAt({ scale: 2, x: -1, y: 0 }, [0.5, 0.5], 0.1), WHOLE);
  assert.equal(zoomAt(WHOLE, [0, 0], 100).scale, 8);
});

test("centring brings a point to the middle and there and back is the same point", () => {
  const view = centredOn(WHOLE, [0.5, 0.4], 4);
  assert.deepEqual(toFrame(view, [0.5, 0.4]).map((v) => +v.toFixed(9)), [0.5, 0.5]);
  const back = toPicture(view, toFrame(view, [0.2, 0.9]));
  near(back[0], 0.2);
  near(back[1], 0.9);
});

test("a tall picture in a square window stands in its middle, and fills it when it comes closer", () => {
  const fit = fitOf(0.5, 1); // half as wide as high: half the window's width at scale 1
  assert.deepEqual(fit, [0.5, 1]);
  assert.deepEqual(fitOf(2, 1), [1, 0.5]);
  assert.deepEqual(clampView(WHOLE, fit), { scale: 1, x: 0.25, y: 0 });
  assert.deepEqual(clampView({ scale: 2, x: 0.3, y: 0.3 }, fit), { scale: 2, x: 0, y: 0 });
  const view = zoomAt(clampView(WHOLE, fit), [0.4, 0.6], 3, fit);
  const [x, y] = toPicture(view, toFrame(view, [0.2, 0.9], fit), fit);
  near(x, 0.2);
  near(y, 0.9);
});

test("what fills a window of another shape is never cut", () => {
  const fit = fitOf(0.5625, 1.3);
  const box = { left: 0.3, right: 0.7, top: 0.2, bottom: 0.9 };
  const view = filledWith(box, 1.1, fit);
  for (const corner of [[box.left, box.top], [box.right, box.bottom]]) {
    for (const share of toFrame(view, corner, fit)) assert.ok(share > -1e-9 && share < 1 + 1e-9);
  }
});

test("angles are those of the picture's own shape", () => {
  near(angleDeg([0, 0.5], [0.5, 0.5], [0.5, 0], 16 / 9), 90);
  // 0.25 of a picture twice as wide as high is as long as 0.5 of its height.
  near(angleDeg([0.25, 0], [0, 0], [0.25, 0.5], 2), 45);
  near(angleDeg([0, 0], [0.5, 0], [1, 0], 2), 180);
  assert.ok(Number.isNaN(angleDeg([0, 0], [0, 0], [1, 0], 2)));
});

test("snapping takes the nearest candidate within reach only", () => {
  const joints = [{ name: "hip", point: [0.5, 0.5] }, { name: "knee", point: [0.5, 0.7] }];
  assert.equal(snap([0.5, 0.52], joints, 0.05, 1).name, "hip");
  assert.equal(snap([0.5, 0.69], joints, 0.05, 1).name, "knee");
  assert.equal(snap([0.5, 0.6], joints, 0.05, 1), null);
  assert.equal(distance([0, 0], [0.5, 0], 2), 1);
});

test("a line through two points reaches both edges", () => {
  assert.deepEqual(acrossPicture([0.25, 0.25], [0.75, 0.75]), [[0, 0], [1, 1]]);
  assert.deepEqual(acrossPicture([0.5, 0.2], [0.5, 0.4]), [[0.5, 0], [0.5, 1]]);
  assert.deepEqual(acrossPicture([0.5, 0.5], [0.5, 0.5]), [[0.5, 0.5], [0.5, 0.5]]);
});

test("an arrow's barbs lie behind its tip, evenly to both sides", () => {
  const [left, right] = barbs([0, 0.5], [0.5, 0.5], 1);
  near(left[0], right[0]);
  near(left[1] - 0.5, 0.5 - right[1]);
  assert.ok(left[0] < 0.5);
});

test("simplifying keeps corners and drops what lies on the way", () => {
  const corner = [[0, 0], [0.25, 0], [0.5, 0], [0.5, 0.25], [0.5, 0.5]];
  assert.deepEqual(simplify(corner, 0.001, 1), [[0, 0], [0.5, 0], [0.5, 0.5]]);
});

test("five thousand points become at most four hundred within a hair of the line", () => {
  const wild = Array.from({ length: 5000 }, (_, i) => [
    0.5 + 0.4 * Math.cos(i / 40) * (i / 5000),
    0.5 + 0.4 * Math.sin(i / 55),
  ]);
  const kept = simplifyTo(wild, 400, 1);
  assert.ok(kept.length <= 400 && kept.length > 50);
  assert.deepEqual(kept[0], wild[0]);
  assert.deepEqual(kept.at(-1), wild.at(-1));
});

test("seen twice in a mirror, points are where they were", () => {
  const points = [[0.125, 0.2], [0.75, 0.5]];
  assert.deepEqual(mirror(mirror(points)), points);
});
