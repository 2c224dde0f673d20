import assert from "node:assert/strict";
import { test } from "node:test";
import { moved, PURPOSES, ready, strength, strokes } from "../../static/js/review/marks.js";

test("a mark shows on its moment, faintly beside it, and nowhere else", () => {
  const mark = { start_s: 1, end_s: null };
  assert.equal(strength(mark, 1), 1);
  assert.equal(strength(mark, 1.1), 0.3);
  assert.equal(strength(mark, 2), 0);
  assert.equal(strength({ start_s: 1, end_s: 2 }, 1.5), 1);
  assert.equal(strength({ start_s: 1, end_s: 2 }, 0.95), 0.3);
});

test("every purpose has a shape that can be drawn from its taps", () => {
  const points = [[0.2, 0.2], [0.4, 0.5], [0.6, 0.2]];
  for (const [purpose, { shape, taps }] of Object.entries(PURPOSES)) {
    const made = strokes({ shape, points: points.slice(0, taps || 3), text: "so" }, 1.5);
    assert.ok(made.lines.length || made.ring || made.label, purpose);
  }
});

test("half-made marks draw what there is and never throw", () => {
  for (const { shape } of Object.values(PURPOSES)) {
    for (const points of [[], [[0.5, 0.5]]]) strokes({ shape, points, text: "" }, 1);
  }
});

test("an angle read off the picture says so", () => {
  const { label } = strokes({ shape: "angle", points: [[0, 0.5], [0.5, 0.5], [0.5, 0]], text: "" }, 1);
  assert.equal(label.text, "by_eye 90"); // its name and values, where no page gives the sentence
});

test("a moved mark keeps its shape at the edge of the picture", () => {
  const points = [[0.1, 0.5], [0.3, 0.5]];
  assert.deepEqual(moved(points, null, -0.5, 0), [[0, 0.5], [0.2, 0.5]]);
  assert.deepEqual(moved(points, 1, 0.9, 0.9), [[0.1, 0.5], [1, 1]]);
});

test("a drawing of five thousand points is kept with at most four hundred", () => {
  const wild = Array.from({ length: 5000 }, (_, i) => [Math.abs(Math.sin(i)), Math.abs(Math.cos(i * 1.3))]);
  const kept = ready("free", wild, 1);
  assert.ok(kept.length <= 400);
  assert.ok(kept.every(([x, y]) => String(x).length <= 6 && String(y).length <= 6));
});
