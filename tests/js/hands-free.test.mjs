import assert from "node:assert/strict";
import { test } from "node:test";
import { HandsFree, Repetitions } from "../../static/js/intake/hands-free.js";
import { standing } from "./standing.mjs";

const PICTURE = { width: 720, height: 1280 };

// Hands of one swing at ten looks a second, from 0 at the hips to 1 at the shoulders.
const SWING = [-0.2, 0, 0.3, 0.7, 1.2, 1.3, 0.4, 0, 0.8, 1.2, 1.2, 1.2, 1.2, 1.2, 1.2, 1.2, 0.8, 0.2, -0.2];
const STILL = Array.from({ length: 20 }, () => -0.2);

function counts(kind, levels) {
  const reps = new Repetitions(kind);
  let still = 0;
  return levels.filter((hands, n) => {
    still = n && Math.abs(hands - levels[n - 1]) < 0.05 ? still + 0.1 : 0;
    return reps.push(n / 10, { hands, breadth: 0.1 }, still);
  }).length;
}

test("every swing counts once, a waggle not at all", () => {
  assert.equal(counts("swing", [...STILL, ...SWING, ...STILL, ...SWING, ...STILL, ...SWING, ...STILL]), 3);
  assert.equal(counts("swing", [...STILL, 0, 0.2, 0.3, 0.1, -0.2, ...STILL, ...SWING]), 1);
});

test("a ball too quick for the looks is still a swing", () => {
  const missed = SWING.filter((level, n) => !(n > 5 && level < 0.9 && n < 9));
  assert.equal(counts("swing", [...STILL, ...missed, ...STILL, ...missed, ...STILL]), 2);
});

test("a slow rehearsal counts once", () => {
  const slow = SWING.flatMap((level, n) => {
    const next = SWING[n + 1] ?? level;
    return [0, 1, 2, 3, 4].map((k) => level + ((next - level) * k) / 5);
  });
  assert.equal(counts("rehearsal", [...STILL, ...slow, ...STILL]), 1);
});

test("held at the top, and standing still, are counted when they have lasted", () => {
  assert.equal(counts("hold", [...STILL, 0.5, ...Array(15).fill(1.2), 0.3, ...STILL, 0.5, ...Array(4).fill(1.2), 0.3, ...STILL]), 1);
  assert.equal(counts("setup", Array(20).fill(-0.2)), 0);
  assert.equal(counts("setup", Array(40).fill(-0.2)), 1);
});

test("nobody touches the phone: it counts down, films, counts and stops", () => {
  const alone = new HandsFree({ view: "down_the_line", hand: "right", kind: "swing", repetitions: 2 });
  const phases = [];
  let t = 0;
  const see = (marks) => {
    const { phase } = alone.see((t += 0.1), marks, PICTURE);
    if (phases.at(-1) !== phase) phases.push(phase);
  };
  const hands = (level) => standing({ hands: 0.5 - 0.3 * level });
  for (let n = 0; n < 10; n += 1) see(undefined);
  for (let n = 0; n < 80; n += 1) see(hands(-0.2));
  for (const level of [...SWING, ...STILL, ...SWING, ...STILL]) see(hands(level));
  assert.deepEqual(phases, ["check", "countdown", "film", "done"]);
  assert.equal(alone.count, 2);
});

test("whoever walks away before the film starts is waited for", () => {
  const alone = new HandsFree({ view: "down_the_line", hand: "right", kind: "swing", repetitions: 1 });
  let t = 0, seen;
  for (let n = 0; n < 30; n += 1) seen = alone.see((t += 0.1), standing(), PICTURE);
  assert.equal(seen.phase, "countdown");
  for (let n = 0; n < 5; n += 1) seen = alone.see((t += 0.1), undefined, PICTURE);
  assert.equal(seen.phase, "check");
});

test("standing still is filmed for its three seconds, however long it was before", () => {
  const alone = new HandsFree({ view: "down_the_line", hand: "right", kind: "setup", repetitions: 1 });
  let t = 0, from, to;
  for (let n = 0; n < 150 && !to; n += 1) {
    const { phase } = alone.see((t += 0.1), standing(), PICTURE);
    if (phase === "film") from ??= t;
    if (phase === "done") to = t;
  }
  assert.ok(to - from >= 3, `${to - from} s`);
});
