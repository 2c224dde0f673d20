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

/** The smallest box that holds the body, the club and the ball all along, or null. */
export function bodyBox(data) {
  const points = [...Object.values(data.curves.joints).flat(), ...(data.curves.shaft?.head ?? [])];
  if (data.curves.ball) points.push(data.curves.ball);
  const seen = points.filter(Boolean);
  if (!seen.length) return null;
  const [xs, ys] = [0, 1].map((axis) => seen.map((point) => point[axis]));
  const [left, right] = [Math.min(...xs), Math.max(...xs)];
  const [top, bottom] = [Math.min(...ys), Math.max(...ys)];
  return { left, right, top, bottom };
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
