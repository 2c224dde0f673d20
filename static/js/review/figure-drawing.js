// One figure drawn on the golfer: its line, what it is read against, its number beside the
// body, and the fan (an angle) or the block (a length) of its ±. Pure.
import { namedPoint, shaftAt } from "./curves.js";
import { nearestFrame } from "./time.js";

// Angles that lie in the picture of their view: a fan of the same degrees tells the truth.
// A turn is seen from the side, so that a fan in the picture would not.
const IN_PLANE = new Set([
  "trunk_tilt_deg", "trunk_tilt_change_deg", "side_tilt_deg", "arm_hang_deg", "shaft_pitch_deg",
  "shaft_aim_deg", "handle_lean_deg", "lead_elbow_deg", "knee_flex_deg", "wrist_set_deg",
  "shaft_past_level_deg", "lead_arm_up_deg", "steepening_deg", "hip_line_tilt_deg",
]);
// Lengths: which point moves, along which side of the picture, and against what it is read.
const LENGTHS = {
  pelvis_to_ball_cm: ["mid_hip", 0], pelvis_to_ball_down_cm: ["mid_hip", 0, "top"],
  pelvis_sway_cm: ["mid_hip", 0], pelvis_rise_cm: ["mid_hip", 1],
  head_sway_cm: ["head", 0], head_rise_cm: ["head", 1],
  trail_hip_depth_cm: ["hip_trail", 0], pelvis_behind_heel_cm: ["mid_hip", 0, null, "mid_heel"],
  hand_depth_cm: ["grip", 0, "address", "heel_trail"],
};
// Shown against where the same line stood at address.
const AGAINST_ADDRESS = new Set(["trunk_tilt_change_deg", "hip_line_tilt_deg"]);
const REACH = 0.09; // half the length of a line that tells a place, in heights of the picture

/**
 * @param {any} data
 * @param {any} figure with id, sd, text and segments: the measure, one standard deviation, its number in words
 * @returns strokes as `Ink.draw` takes them; empty when its points are not seen
 */
export function figureStrokes(data, figure, { frame, repetition, aspect }) {
  const at = (name, f = frame) => place(data, name, f);
  if (figure.id in LENGTHS) return lengthStrokes(data, figure, { frame, repetition, at, aspect });
  const lines = (figure.segments ?? []).map((names) => names.map((name) => at(name))).filter((p) => p.every(Boolean));
  if (!lines.length) return {};
  const last = lines[lines.length - 1];
  const made = { lines, label: numberBeside(last, figure.text, aspect) };
  if (IN_PLANE.has(figure.id) && figure.sd) made.fan = fan(last, 2 * figure.sd, aspect);
  if (AGAINST_ADDRESS.has(figure.id)) {
    const start = eventFrame(data, repetition, "address");
    const then = start === null ? null : figure.segments[0].map((name) => at(name, start));
    // Moved to where the line starts now, so that only the change is seen.
    if (then?.every(Boolean)) made.dashed = [[last[0], add(last[0], sub(then[1], then[0]))]];
  }
  return made;
}

function lengthStrokes(data, { id, sd, text }, { frame, repetition, at, aspect }) {
  const [name, axis, event = "address", reference = name] = LENGTHS[id];
  const now = at(name);
  const then = at(reference, event ? eventFrame(data, repetition, event) ?? frame : frame);
  if (!now || !then) return {};
  const across = (value) => (axis === 0
    ? [[value, now[1] - REACH], [value, now[1] + REACH]]
    : [[now[0] - REACH / aspect, value], [now[0] + REACH / aspect, value]]);
  const line = across(now[axis]);
  const made = { lines: [line], dashed: [across(then[axis])], dots: [now], label: numberBeside(line, text, aspect) };
  const stature = data.stature_share?.[axis === 0 ? "x" : "y"];
  if (sd && stature && data.stature_cm) {
    const half = (2 * sd * stature) / data.stature_cm;
    const [low, high] = [across(now[axis] - half), across(now[axis] + half)];
    made.fan = [low[0], low[1], high[1], high[0]];
  }
  return made;
}

/** The triangle between a line turned by ± `degrees` about its first point. */
export function fan([pivot, tip], degrees, aspect) {
  return [pivot, turned(pivot, tip, degrees, aspect), turned(pivot, tip, -degrees, aspect)];
}

export function turned(pivot, tip, degrees, aspect) {
  const [c, s] = [Math.cos((degrees * Math.PI) / 180), Math.sin((degrees * Math.PI) / 180)];
  const [x, y] = [(tip[0] - pivot[0]) * aspect, tip[1] - pivot[1]];
  return [pivot[0] + (x * c - y * s) / aspect, pivot[1] + x * s + y * c];
}

/** The number stands beside the line, on the side with more room, at the end of a thin leader. */
function numberBeside(line, text, aspect) {
  if (!text) return null;
  const [a, b] = [line[0], line[line.length - 1]];
  const from = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
  const way = from[0] > 0.5 ? -1 : 1;
  return { at: [from[0] + (way * 0.065) / aspect, from[1] - 0.02], text, from };
}

function eventFrame(data, repetition, event) {
  const time = data.repetitions[repetition]?.events[event]?.time_s;
  return time == null ? null : nearestFrame(data.frame_times_s, time);
}

function place(data, name, frame) {
  if (name === "shaft_grip") return shaftAt(data, frame)?.[0] ?? null;
  if (name === "shaft_head") return shaftAt(data, frame)?.[1] ?? null;
  if (name === "ball") return data.curves.ball ?? null;
  return namedPoint(data, name, frame);
}

const add = (a, b) => [a[0] + b[0], a[1] + b[1]];
const sub = (a, b) => [a[0] - b[0], a[1] - b[1]];
