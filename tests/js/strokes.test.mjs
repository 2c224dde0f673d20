// What lies on the clip, and how a walk-through stands at a moment, as one table that the lesson
// film (Python) is held to as well: tests/coaching/review/test_film_drawing.py reads the same file.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import { sharedEvents, stretched, atEvent } from "../../static/js/review/align.js";
import { figureStrokes } from "../../static/js/review/figure-drawing.js";
import { refitted } from "../../static/js/review/geometry.js";
import { overlay } from "../../static/js/review/judged.js";
import { strength, strokes } from "../../static/js/review/marks.js";
import { playedIn, stateAt } from "../../static/js/review/script.js";
import { frameAt } from "../../static/js/review/time.js";

const table = JSON.parse(readFileSync(new URL("../data/strokes.json", import.meta.url), "utf8"));
const { data, other } = table;

/** Empty parts say nothing. */
function plain(value) {
  if (Array.isArray(value)) return value.map(plain);
  if (typeof value === "number") return Math.round(value * 1e6) / 1e6;
  if (value === null || typeof value !== "object") return value;
  const there = Object.entries(value).filter(([, v]) => v !== null && v !== undefined && v !== false && !(Array.isArray(v) && !v.length));
  return Object.fromEntries(there.map(([k, v]) => [k, plain(v)]));
}

export const MAKE = {
  overlay: ({ id, frame, repetition }) => plain(overlay(id, data, { frame, repetition })),
  figure: ({ figure, frame, repetition }) => plain(figureStrokes(data, figure, { frame, repetition, aspect: table.aspect })),
  mark: ({ mark }) => plain(strokes(mark, table.aspect)),
  strength: ({ mark, time }) => strength(mark, time),
  frame: ({ events, t }) => {
    const state = stateAt(events, t);
    return state.playing ? frameAt(data.frame_times_s, playedIn(state, t, data.frame_times_s)) : (state.frame ?? 0);
  },
  beside: ({ how, time }) => {
    const pairs = sharedEvents(data.repetitions[0].events, other.repetitions[0].events);
    return plain(how === "stretched" ? stretched(pairs, time) : atEvent(pairs, how, time));
  },
  refitted: ({ view, was, now }) => plain(refitted(view, was, now)),
};

for (const [number, { kind, expect, ...given }] of table.cases.entries()) {
  test(`${kind} ${number} as the table says`, () => assert.deepEqual(MAKE[kind](given), expect));
}
