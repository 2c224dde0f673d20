// Drawings: what they are for, how many taps they take, and when they show. Pure.
import { acrossPicture, angleDeg, barbs, simplifyTo } from "./geometry.js";

export const MOST_POINTS = 400;

// Purpose first; the shape follows from it. `taps` is how many places are asked for.
export const PURPOSES = {
  seat_line: { label: "Seat line", shape: "upright", taps: 1, hint: "Tap behind the seat." },
  foot_line: { label: "Foot line", shape: "line", taps: 2, hint: "Tap the heel, then the toes." },
  shaft_wanted: {
    label: "Shaft wanted",
    shape: "line",
    taps: 2,
    wanted: true,
    hint: "Tap the hands, then where the club should point.",
  },
  body_line: { label: "Body line", shape: "line", taps: 2, hint: "Tap two places on the body." },
  way: { label: "Way to go", shape: "arrow", taps: 2, hint: "Tap the start, then the end." },
  bend: { label: "Bend", shape: "angle", taps: 3, hint: "Tap one end, the corner, the other end." },
  look: { label: "Look here", shape: "ring", taps: 2, hint: "Tap the middle, then the edge." },
  sketch: { label: "Free hand", shape: "free", taps: 0, hint: "Draw; lift to finish." },
  words: { label: "Words", shape: "words", taps: 1, hint: "Tap where the words belong." },
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
  const words = [made.words, mark.words].filter(Boolean).join(" · ");
  return words ? { ...made, label: { at: made.at ?? points[0], words } } : made;
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
    const words = Number.isFinite(angle) ? `about ${Math.round(angle)}° by eye` : "";
    return { lines: [[a, corner, b]], at: corner, words };
  },
  ring: ([centre, edge]) => (edge ? { lines: [], ring: { centre, edge }, at: edge } : { lines: [] }),
  free: (points) => ({ lines: [points], free: true }),
  words: () => ({ lines: [] }),
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
