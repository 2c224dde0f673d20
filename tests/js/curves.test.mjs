import assert from "node:assert/strict";
import { test } from "node:test";
import { namedPoint, path, pointAt, shaftAt } from "../../static/js/review/curves.js";
import { overlay, overlaysFor } from "../../static/js/review/judged.js";

const frames = [10, 12, 14, 40];
const still = (p) => [p, p, p, p];
const data = () => ({
  view: "down_the_line",
  frame_times_s: Array.from({ length: 50 }, (_, i) => i / 50),
  stature_share: { x: 0.4, y: 0.7 },
  corrections: [],
  repetitions: [{ events: { address: { time_s: 0.2 }, top: { time_s: 0.28 } } }],
  curves: {
    frames,
    joints: {
      grip: [[0.1, 0.5], [0.3, 0.4], [0.5, 0.3], [0.6, 0.3]],
      hip_lead: still([0.4, 0.5]), hip_trail: still([0.5, 0.5]),
      heel_lead: still([0.4, 0.9]), heel_trail: still([0.4, 0.9]),
      toe_lead: still([0.6, 0.9]), toe_trail: still([0.6, 0.9]),
      head: still([0.5, 0.1]), com: still([0.5, 0.5]),
    },
    shaft: { grip: [[0.1, 0.5], null, [0.5, 0.3], null], head: [[0.1, 0.9], null, [0.5, 0.1], null] },
  },
});

test("between two samples a joint is interpolated, across a gap it is not", () => {
  const curve = data().curves.joints.grip;
  assert.deepEqual(pointAt(frames, curve, 11), [0.2, 0.45]);
  assert.deepEqual(pointAt(frames, curve, 14), [0.5, 0.3]);
  assert.equal(pointAt(frames, curve, 30), null);
  assert.equal(pointAt(frames, curve, 9), null);
  assert.equal(pointAt(frames, undefined, 12), null);
});

test("a middle needs both sides", () => {
  const some = data();
  assert.deepEqual(namedPoint(some, "mid_hip", 12), [0.45, 0.5]);
  some.curves.joints.hip_lead = [null, null, null, null];
  assert.equal(namedPoint(some, "mid_hip", 12), null);
});

test("what a person moved stands over what was read, at its own frame only", () => {
  const some = data();
  some.corrections = [
    { target: "joint:grip", frame: 12, value: { x: 0.9, y: 0.9 } },
    { target: "joint:grip", frame: 12, value: { x: 0.8, y: 0.8 } },
    { target: "shaft", frame: 12, value: { grip: [0, 0], head: [1, 1] } },
  ];
  assert.deepEqual(namedPoint(some, "grip", 12), [0.8, 0.8]);
  assert.deepEqual(namedPoint(some, "grip", 14), [0.5, 0.3]);
  assert.deepEqual(shaftAt(some, 12), [[0, 0], [1, 1]]);
  assert.equal(shaftAt(some, 11), null);
});

test("the path of the hands grows with the clip and leaves gaps out", () => {
  assert.equal(path(data(), "grip", 10, 14).length, 5);
  assert.equal(path(data(), "grip", 15, 39).length, 0);
});

test("lines from address stay where they were while the clip moves on", () => {
  const some = data();
  for (const id of ["seat", "head", "feet", "shaft_address"]) {
    const [a, b] = [12, 14].map((frame) => overlay(id, some, { frame, repetition: 0 }));
    assert.deepEqual(a, b);
    assert.ok(a.frozen && a.lines.length + a.rings.length === 1, id);
  }
  const seat = overlay("seat", some, { frame: 14, repetition: 0 }).lines[0];
  assert.ok(seat[0][0] < 0.45, "the seat is on the far side of the toes");
});

test("nothing is drawn where nothing was seen", () => {
  const some = data();
  some.repetitions[0].events.address = { time_s: null, reason: "not_seen" };
  assert.deepEqual(overlay("seat", some, { frame: 12, repetition: 0 }).lines, []);
  assert.deepEqual(overlay("shaft", some, { frame: 30, repetition: 0 }).lines, []);
  assert.deepEqual(overlay("hands", some, { frame: 12, repetition: 3 }).lines, []);
});

test("the weight falls on the line from heel to toe", () => {
  const { lines, dots } = overlay("balance", data(), { frame: 12, repetition: 0 });
  assert.deepEqual(lines[0], [[0.4, 0.9], [0.6, 0.9]]);
  assert.deepEqual(dots[1], [0.5, 0.9]);
});

test("a face-on clip is not asked for its seat line", () => {
  assert.ok(!overlaysFor("face_on").includes("seat"));
  assert.deepEqual(overlaysFor("rear"), []);
});
