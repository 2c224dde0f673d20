// Drawings: what they are for, how many taps they take, and when they show. Pure.
import { acrossPicture, angleDeg, barbs, distance, offLine, simplifyTo } from "./geometry.js";
import { say } from "./words.js";

export const MOST_POINTS = 400;

// Purpose first; the shape follows from it. `taps` is how many places are asked for.
export const PURPOSES = {
  seat_line: { label: say("mark_seat_line"), shape: "upright", taps: 1, hint: say("hint_seat_line") },
  foot_line: { label: say("mark_foot_line"), shape: "line", taps: 2, hint: say("hint_foot_line") },
  shaft_wanted: {
    label: say("mark_shaft_wanted"),
    shape: "line",
    taps: 2,
    wanted: true,
    hint: say("hint_shaft_wanted"),
  },
  body_line: { label: say("mark_body_line"), shape: "line", taps: 2, hint: say("hint_body_line") },
  way: { label: say("mark_way"), shape: "arrow", taps: 2, hint: say("hint_way") },
  bend: { label: say("mark_bend"), shape: "angle", taps: 3, hint: say("hint_bend") },
  look: { label: say("mark_look"), shape: "ring", taps: 2, hint: say("hint_look") },
  sketch: { label: say("mark_sketch"), shape: "free", taps: 0, hint: say("hint_sketch") },
  text: { label: say("mark_text"), shape: "text", taps: 1, hint: say("hint_text") },
};

/** Points made ready to be kept: the right number, four digits, never too many. */
export function ready(shape, points, aspect) {
  const kept = shape === "free" ? simplifyTo(points, MOST_POINTS, aspect) : points;
  return kept.map(([x, y]) => [round(x), round(y)]);
}

function round(x) {
  return Math.round(x * 1e4) / 1e4;
}

/** How strongly a mark shows at a time: 1 now, faint nearby, 0 elsewhere. */
export function strength(mark, time, near = 0.12, half = 0.02) {
  const end = mark.end_s ?? mark.start_s;
  if (time >= mark.start_s - half && time <= end + half) return 1;
  const away = time < mark.start_s ? mark.start_s - time : time - end;
  return away <= near ? 0.3 : 0;
}

/**
 * The strokes of a mark: `{lines: [[point, ...], ...], ring: {centre, edge}, label: {at, words}}`.
 * All in 0..1 of the picture.
 */
export function strokes(mark, aspect) {
  const { shape, points } = mark;
  if (!points.length) return { lines: [] };
  const made = SHAPES[shape]?.(points, aspect) ?? { lines: [points] };
  const text = [made.text, mark.text].filter(Boolean).join(" · ");
  return text ? { ...made, label: { at: made.at ?? points[0], text } } : made;
}

const SHAPES = {
  upright: ([p]) => ({ lines: [[[p[0], 0], [p[0], 1]]], at: [p[0], 0.06] }),
  line: ([a, b]) => ({ lines: b ? [[a, b]] : [] }),
  across: ([a, b]) => ({ lines: b ? [acrossPicture(a, b)] : [] }),
  arrow: ([a, b], aspect) => {
    if (!b) return { lines: [] };
    const [left, right] = barbs(a, b, aspect);
    return { lines: [[a, b], [left, b, right]] };
  },
  angle: ([a, corner, b], aspect) => {
    if (!corner) return { lines: [] };
    if (!b) return { lines: [[a, corner]] };
    const angle = angleDeg(a, corner, b, aspect);
    // Read off the picture by eye: said as such, it is not a measured figure.
    const text = Number.isFinite(angle) ? say("by_eye", { angle: Math.round(angle) }) : "";
    return { lines: [[a, corner, b]], at: corner, text };
  },
  ring: ([centre, edge]) => (edge ? { lines: [], ring: { centre, edge }, at: edge } : { lines: [] }),
  free: (points) => ({ lines: [points], free: true }),
  text: () => ({ lines: [] }),
};

/** A mark moved by keys or pointer, whole or one point of it, kept inside the picture. */
export function moved(points, index, dx, dy) {
  const some = index === null ? points : [points[index]];
  const xs = some.map((p) => p[0]);
  const ys = some.map((p) => p[1]);
  const sx = Math.max(-Math.min(...xs), Math.min(1 - Math.max(...xs), dx));
  const sy = Math.max(-Math.min(...ys), Math.min(1 - Math.max(...ys), dy));
  return points.map((p, i) =>
    index === null || i === index ? [round(p[0] + sx), round(p[1] + sy)] : p,
  );
}

/** Whether a point lies on a mark's strokes, within `reach` of the picture's height. */
export function touches(mark, at, reach, aspect) {
  const { lines = [], ring, label } = strokes(mark, aspect);
  if (ring && Math.abs(distance(at, ring.centre, aspect) - distance(ring.edge, ring.centre, aspect)) <= reach) return true;
  if (!lines.length && label && distance(at, label.at, aspect) <= 2 * reach) return true;
  return lines.some((line) => line.some((p, i) => i > 0 && offLine(at, line[i - 1], p, aspect) <= reach));
}
