// What the worker read, frame by frame, with what a person has moved laid over it.
import { middle } from "./geometry.js";

/**
 * Curves are sampled at `frames` (ascending frame numbers). A joint's curve is a list of
 * [x, y] or null; what lies between two samples at most `gap` frames apart is interpolated.
 */
export function pointAt(frames, curve, frame, gap = 8) {
  if (!curve || !frames.length) return null;
  let low = 0;
  let high = frames.length - 1;
  if (frame < frames[0] || frame > frames[high]) return null;
  while (low < high) {
    const half = (low + high) >> 1;
    if (frames[half] < frame) low = half + 1;
    else high = half;
  }
  if (frames[low] === frame) return curve[low];
  const [before, after] = [curve[low - 1], curve[low]];
  if (!before || !after || frames[low] - frames[low - 1] > gap) return null;
  const t = (frame - frames[low - 1]) / (frames[low] - frames[low - 1]);
  return before.map((x, k) => x + t * (after[k] - x));
}

/** A joint, `mid_hip`, `com` or another named point at a frame, or null when not seen. */
export function namedPoint(data, name, frame) {
  if (name.startsWith("mid_")) {
    const joint = name.slice(4);
    return middle(namedPoint(data, `${joint}_lead`, frame), namedPoint(data, `${joint}_trail`, frame));
  }
  return corrected(data, name, frame) ?? pointAt(data.curves.frames, data.curves.joints[name], frame);
}

/** Grip and club head at a frame, or null where the shaft was not seen. */
export function shaftAt(data, frame) {
  const moved = newest(data, "shaft", frame);
  if (moved) return [moved.value.grip, moved.value.head];
  const grip = pointAt(data.curves.frames, data.curves.shaft?.grip, frame, 3);
  const head = pointAt(data.curves.frames, data.curves.shaft?.head, frame, 3);
  return grip && head ? [grip, head] : null;
}

/**
 * The box that holds the body all along, with the ball or the club on the ground, or null.
 * The club in the air is left out: it would make the golfer a third smaller.
 */
export function bodyBox(data) {
  const seen = Object.values(data.curves.joints).flat().filter(Boolean);
  if (!seen.length) return null;
  const [xs, ys] = [0, 1].map((axis) => seen.map((point) => point[axis]).sort((a, b) => a - b));
  // A joint that jumped once does not move the picture.
  const [first, last] = [0.002, 0.998].map((share) => Math.round(share * (seen.length - 1)));
  const box = { left: xs[first], right: xs[last], top: ys[first], bottom: ys[last] };
  const ground = data.curves.ball ?? data.curves.shaft?.head?.find((point) => point && point[1] > box.bottom - 0.1);
  if (ground) {
    box.left = Math.min(box.left, ground[0]);
    box.right = Math.max(box.right, ground[0]);
    box.bottom = Math.max(box.bottom, ground[1]);
  }
  return box;
}

/** Every place of the hands from one frame to another, for the path. */
export function path(data, name, first, last) {
  const points = [];
  for (let frame = first; frame <= last; frame += 1) {
    const point = namedPoint(data, name, frame);
    if (point) points.push(point);
  }
  return points;
}

function corrected(data, name, frame) {
  const moved = newest(data, `joint:${name}`, frame);
  return moved ? [moved.value.x, moved.value.y] : null;
}

function newest(data, target, frame) {
  const rows = (data.corrections ?? []).filter(
    (row) => row.target === target && row.frame === frame,
  );
  return rows.length ? rows[rows.length - 1] : null;
}
