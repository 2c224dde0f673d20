// What is drawn on the clip, and only that: each overlay is a list of strokes in ink.
import { namedPoint, path, shaftAt } from "./curves.js";
import { clamp } from "./geometry.js";
import { nearestFrame } from "./time.js";
import { say } from "./words.js";

// Named by what they show. `views`: where they can be judged.
export const OVERLAYS = {
  shaft: { label: say("overlay_shaft"), views: ["down_the_line", "face_on"] },
  hands: { label: say("overlay_hands"), views: ["down_the_line", "face_on"] },
  balance: { label: say("overlay_balance"), views: ["down_the_line"] },
  seat: { label: say("overlay_seat"), views: ["down_the_line"], frozen: true },
  head: { label: say("overlay_head"), views: ["down_the_line", "face_on"], frozen: true },
  feet: { label: say("overlay_feet"), views: ["down_the_line", "face_on"], frozen: true },
  shaft_address: { label: say("overlay_shaft_address"), views: ["down_the_line", "face_on"], frozen: true },
};

// The seat lies behind the hip joints by about this share of stature; a coach who wants it
// exactly on the trousers draws a seat line (common practice, no published source).
const SEAT_BEHIND = 0.085;

/** Overlays that this clip can show. */
export function overlaysFor(view) {
  return Object.keys(OVERLAYS).filter((id) => OVERLAYS[id].views.includes(view));
}

/**
 * Strokes of one overlay at a frame.
 * @returns {{lines: Array, dots: Array, rings: Array, frozen: boolean}} points in 0..1
 */
export function overlay(id, data, { frame, repetition }) {
  const none = { lines: [], dots: [], rings: [] };
  const rep = data.repetitions[repetition];
  const address = rep?.events.address?.time_s;
  const start = address == null ? null : nearestFrame(data.frame_times_s, address);
  if (OVERLAYS[id].frozen && start === null) return { ...none, frozen: true };
  const made = DRAW[id](data, { frame, start, rep });
  return { ...none, ...made, frozen: Boolean(OVERLAYS[id].frozen) };
}

const DRAW = {
  shaft: (data, { frame }) => lineOf(shaftAt(data, frame)),
  hands: (data, { frame, start, rep }) => {
    const end = rep?.events.impact?.time_s ?? rep?.events.top?.time_s;
    if (start === null || end == null) return {};
    const last = nearestFrame(data.frame_times_s, end);
    const points = path(data, "grip", start, Math.min(frame, last));
    return { lines: points.length > 1 ? [points] : [], dots: points.slice(-1) };
  },
  balance: (data, { frame }) => {
    const [mass, heel, toe] = ["com", "mid_heel", "mid_toe"].map((n) => namedPoint(data, n, frame));
    if (!mass || !heel || !toe) return {};
    const along = clamp((mass[0] - heel[0]) / (toe[0] - heel[0] || 1e-6), -0.5, 1.5);
    const ground = [mass[0], heel[1] + along * (toe[1] - heel[1])];
    return { lines: [[heel, toe], [mass, ground]], dots: [mass, ground] };
  },
  seat: (data, { start }) => {
    const hip = namedPoint(data, "mid_hip", start);
    const toe = namedPoint(data, "mid_toe", start);
    if (!hip || !toe || !data.stature_share) return {};
    const behind = Math.sign(hip[0] - toe[0]) || -1;
    const x = clamp(hip[0] + behind * SEAT_BEHIND * data.stature_share.x, 0, 1);
    return { lines: [[[x, hip[1] - 0.2], [x, Math.min(1, hip[1] + 0.25)]]] };
  },
  head: (data, { start }) => {
    const head = namedPoint(data, "head", start);
    if (!head || !data.stature_share) return {};
    return { rings: [{ centre: head, edge: [head[0], head[1] + 0.07 * data.stature_share.y] }] };
  },
  feet: (data, { start }) => {
    const names = data.view === "face_on" ? ["toe_trail", "toe_lead"] : ["mid_heel", "mid_toe"];
    return lineOf(names.map((name) => namedPoint(data, name, start)));
  },
  shaft_address: (data, { start }) => lineOf(shaftAt(data, start)),
};

function lineOf(points) {
  return points?.every(Boolean) ? { lines: [points] } : {};
}
