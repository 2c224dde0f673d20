// A few figures that one phone picture can stand behind, from the small network's landmarks. Pure.
// Each is a straight line through what the network shows and what is true, with the spread of
// what is left (one standard deviation), fitted on 1,490 rendered swings of 36 bodies, a quarter
// of the bodies left out to see that it holds. Everything else is only counted.

/** @typedef {{x: number, y: number}} Mark */
/** @typedef {{address: Mark[], top?: Mark[], hand: string, width: number, height: number, stature: number}} Seen */
/** @typedef {{measure: string, event: string, comparison: string, low: number | null, high: number | null}} Criterion */

const SURE = 1.7; // standard deviations off the limit: nearer than that, nothing is said
// Left-handers are mirrored and take the other side's landmarks: 11 is always the lead shoulder.
const OTHER = (i) => (i < 1 || i > 32 ? i : i < 7 ? (i + 2) % 6 + 1 : i % 2 ? i + 1 : i - 1);

/** In pixels, as a right-hander. @param {Mark[]} marks @param {Seen} seen */
function pixels(marks, { hand, width, height }) {
  const left = hand === "left";
  return marks.map((_, i) => {
    const p = marks[left ? OTHER(i) : i];
    return { x: (left ? 1 - p.x : p.x) * width, y: p.y * height };
  });
}

const mid = (p, a, b) => ({ x: (p[a].x + p[b].x) / 2, y: (p[a].y + p[b].y) / 2 });
const degrees = (radians) => (radians * 180) / Math.PI;
const bend = (p, hip, knee, ankle) => {
  const [ux, uy, vx, vy] = [p[hip].x - p[knee].x, p[hip].y - p[knee].y, p[ankle].x - p[knee].x, p[ankle].y - p[knee].y];
  const cosine = (ux * vx + uy * vy) / (Math.hypot(ux, uy) * Math.hypot(vx, vy) || 1);
  return 180 - degrees(Math.acos(Math.max(-1, Math.min(1, cosine))));
};

/** Raw reading `r(address, top, cm)`, cm for a pixel; the figure is `a * r + b`, give or take `sd`. */
const FIGURES = {
  "pelvis_sway_cm@top": { view: "face_on", a: 0.731, b: -1.277, sd: 1.33, r: (at, top, cm) => (mid(at, 23, 24).x - mid(top, 23, 24).x) * cm },
  "head_sway_cm@top": { view: "face_on", a: 0.698, b: -1.191, sd: 1.08, r: (at, top, cm) => (mid(at, 7, 8).x - mid(top, 7, 8).x) * cm },
  "hand_depth_cm@top": { view: "down_the_line", a: 0.608, b: -2.488, sd: 5.44, r: (at, top, cm) => (at[30].x - mid(top, 15, 16).x) * cm },
  "knee_flex_deg@address": { view: "down_the_line", a: 0.798, b: 5.248, sd: 3.24, r: (at) => (bend(at, 23, 25, 27) + bend(at, 24, 26, 28)) / 2 },
  "trunk_tilt_deg@address": {
    view: "down_the_line", a: 0.797, b: 11.704, sd: 2.71,
    r: (at) => { const s = mid(at, 11, 12), h = mid(at, 23, 24); return degrees(Math.atan2(s.x - h.x, h.y - s.y)); },
  },
};

/** The figure that a criterion asks for, or undefined where a phone cannot stand behind it. @param {Criterion} asked @param {string} view @param {Seen} seen */
export function figure({ measure, event }, view, seen) {
  const known = FIGURES[`${measure}@${event}`];
  if (!known || known.view !== view || (event === "top" && !seen.top)) return undefined;
  const at = pixels(seen.address, seen), top = seen.top && pixels(seen.top, seen);
  const tall = [29, 30, 31, 32].reduce((sum, i) => sum + at[i].y, 0) / 4 - mid(at, 7, 8).y;
  if (!(tall > 0) || (measure.endsWith("_cm") && !(seen.stature > 0))) return undefined;
  return { value: known.a * known.r(at, top, seen.stature / tall) + known.b, sd: known.sd };
}

/** @param {{value: number, sd: number} | undefined} figure @param {Criterion} asked @returns {"there"|"not_yet"|""} */
export function verdict(figure, { comparison, low, high }) {
  if (!figure || !["at_least", "at_most", "between"].includes(comparison)) return "";
  const room = SURE * figure.sd, { value } = figure;
  const under = comparison === "at_most" ? -Infinity : low, over = comparison === "at_least" ? Infinity : high;
  if (value < under - room || value > over + room) return "not_yet";
  return value > under + room && value < over - room ? "there" : "";
}

/** *There* only where all that counts is there; *not yet* where one thing surely is not. @param {Criterion[]} criteria */
export function judge(criteria, view, seen) {
  const said = criteria.map((asked) => verdict(figure(asked, view, seen), asked));
  if (said.includes("not_yet")) return "not_yet";
  return said.length && said.every((one) => one === "there") ? "there" : "";
}
