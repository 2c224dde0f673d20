import assert from "node:assert/strict";
import { test } from "node:test";
import { fan, figureStrokes, turned } from "../../static/js/review/figure-drawing.js";
import { angleDeg, distance } from "../../static/js/review/geometry.js";

const near = (a, b) => assert.ok(Math.abs(a - b) < 1e-9, `${a} is not ${b}`);
const joint = (x, y) => [[x, y], [x, y]];
const DATA = {
  frame_times_s: [0, 1],
  repetitions: [{ events: { address: { time_s: 0 }, impact: { time_s: 1 } } }],
  stature_cm: 180,
  stature_share: { x: 0.9, y: 0.5 },
  corrections: [],
  curves: {
    frames: [0, 1],
    shaft: null,
    ball: null,
    joints: {
      hip_lead: [[0.4, 0.5], [0.45, 0.5]], hip_trail: [[0.4, 0.5], [0.45, 0.5]],
      shoulder_lead: [[0.5, 0.3], [0.5, 0.28]], shoulder_trail: [[0.5, 0.3], [0.5, 0.28]],
      head: joint(0.5, 0.2),
    },
  },
};
const AT = { frame: 1, repetition: 0, aspect: 0.5 };
const TRUNK = [["mid_hip", "mid_shoulder"]];

test("a fan opens by as many degrees as twice the standard deviation on each side", () => {
  const [pivot, one, other] = fan([[0.4, 0.6], [0.5, 0.2]], 6, 0.5);
  near(angleDeg(one, pivot, other, 0.5), 12);
  near(distance(pivot, one, 0.5), distance(pivot, [0.5, 0.2], 0.5)); // turning keeps the length
  near(turned([0, 0], [1, 0], 90, 1)[1], 1);
});

test("an angle is its line, its fan and its number", () => {
  const figure = { id: "trunk_tilt_deg", sd: 1.5, text: "22° ± 3", segments: TRUNK };
  const made = figureStrokes(DATA, figure, AT);
  assert.deepEqual(made.lines, [[[0.45, 0.5], [0.5, 0.28]]]);
  near(angleDeg(made.fan[1], made.fan[0], made.fan[2], 0.5), 6);
  assert.equal(made.label.text, "22° ± 3");
  assert.equal(made.dashed, undefined);
});

test("a change stands against the line of the address, moved to the same hip", () => {
  const made = figureStrokes(DATA, { id: "trunk_tilt_change_deg", sd: 1, text: "", segments: TRUNK }, AT);
  const [[from, to]] = made.dashed;
  assert.deepEqual(from, [0.45, 0.5]);
  near(to[0], 0.55);
  near(to[1], 0.3);
});

test("a length is a line now, a dashed one then, and a block as wide as its ± on the golfer's own scale", () => {
  const made = figureStrokes(DATA, { id: "pelvis_to_ball_cm", sd: 2, text: "9 cm ± 4", segments: [] }, AT);
  near(made.lines[0][0][0], 0.45);
  near(made.dashed[0][0][0], 0.4);
  // Two standard deviations on each side, 4 cm of 180, of 0.9 of the picture's width.
  near(made.fan[2][0] - made.fan[0][0], 2 * 4 * (0.9 / 180));
});

test("a turn has no fan: in the picture of its view the degrees would lie", () => {
  const made = figureStrokes(DATA, { id: "pelvis_turn_deg", sd: 5, text: "", segments: [["hip_lead", "hip_trail"]] }, AT);
  assert.ok(made.lines.length && !made.fan);
});

test("what is not seen is not drawn", () => {
  assert.deepEqual(figureStrokes(DATA, { id: "shaft_pitch_deg", sd: 1, segments: [["shaft_grip", "shaft_head"]] }, AT), {});
  assert.deepEqual(figureStrokes(DATA, { id: "hand_depth_cm", sd: 1, segments: [] }, AT), {});
});
