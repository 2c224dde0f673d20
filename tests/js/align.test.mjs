import assert from "node:assert/strict";
import { test } from "node:test";
import { atEvent, sharedEvents, stretched } from "../../static/js/review/align.js";

const fast = { address: { time_s: 1 }, top: { time_s: 2 }, impact: { time_s: 2.3 }, finish: { time_s: null } };
const slow = { address: { time_s: 0.5 }, top: { time_s: 3.5 }, impact: { time_s: 4.7 }, finish: { time_s: 6 } };
const pairs = sharedEvents(fast, slow);

test("only events that both have are paired", () => {
  assert.deepEqual(pairs.map((p) => p.id), ["address", "top", "impact"]);
});

test("every shared event meets its like, between them time is stretched", () => {
  for (const pair of pairs) assert.ok(Math.abs(stretched(pairs, pair.a) - pair.b) < 1e-12);
  assert.equal(stretched(pairs, 1.5), 2);
  assert.equal(stretched(pairs, 0.5), 0);
  assert.ok(Math.abs(stretched(pairs, 3.3) - 5.7) < 1e-12);
  let before = -Infinity;
  for (let t = 0; t < 4; t += 0.01) {
    assert.ok(stretched(pairs, t) > before);
    before = stretched(pairs, t);
  }
});

test("laid over each other at one event both run at their own speed", () => {
  assert.equal(atEvent(pairs, "top", 2), 3.5);
  assert.equal(atEvent(pairs, "top", 1), 2.5);
  assert.equal(atEvent(pairs, "finish", 1), 1);
});

test("events out of order or at one time do not fold time back", () => {
  const odd = sharedEvents(
    { address: { time_s: 1 }, top: { time_s: 2 }, impact: { time_s: 3 } },
    { address: { time_s: 5 }, top: { time_s: 4 }, impact: { time_s: 6 } },
  );
  assert.deepEqual(odd.map((p) => p.id), ["address", "impact"]);
  assert.equal(stretched([], 7), 7);
});
