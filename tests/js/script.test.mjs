import assert from "node:assert/strict";
import { test } from "node:test";
import { fromWebVTT, nextIndex, noted, stateAt, toWebVTT } from "../../static/js/review/script.js";

test("fast scrubbing keeps the newest position of a blink, other deeds all stay", () => {
  let events = [{ t: 0, do: "frame", frame: 1 }];
  for (let i = 1; i <= 10; i += 1) events = noted(events, { t: 1 + i / 1000, do: "frame", frame: i });
  assert.equal(events.length, 2);
  assert.equal(events[1].frame, 10);
  events = noted(events, { t: 1.02, do: "overlay", id: "shaft", on: true });
  events = noted(events, { t: 1.021, do: "overlay", id: "shaft", on: false });
  assert.equal(events.length, 4);
});

const events = [
  { t: 0, do: "frame", frame: 3 },
  { t: 1, do: "overlay", id: "shaft", on: true },
  { t: 2, do: "mark", id: "a" },
  { t: 3, do: "play", on: true, frame: 8 },
  { t: 3, do: "speed", value: 0.25 },
  { t: 5, do: "mark", id: "a", gone: true },
];

test("jumping into the middle finds everything as it stood", () => {
  const state = stateAt(events, 4);
  assert.equal(state.frame, 8);
  assert.equal(state.frameAt, 3);
  assert.equal(state.playing, true);
  assert.equal(state.speed, 0.25);
  assert.deepEqual(state.overlays, { shaft: true });
  assert.deepEqual(state.marks, ["a"]);
  assert.deepEqual(stateAt(events, 9).marks, []);
  assert.equal(nextIndex(events, 2), 3);
  assert.equal(nextIndex(events, 99), 6);
});

test("captions go out as WebVTT and come back the same", () => {
  const lines = [
    { start: 0, end: 2.5, text: "Look at the hips & hands" },
    { start: 3661.25, end: 3662, text: "less < more" },
  ];
  const text = toWebVTT([...lines, { start: 4, end: 5, text: "  " }]);
  assert.ok(text.startsWith("WEBVTT\n\n00:00:00.000 --> 00:00:02.500\n"));
  assert.deepEqual(fromWebVTT(text), lines);
});

test("a file written elsewhere is read too", () => {
  const text = "WEBVTT\r\n\r\n1\r\n00:01.000 --> 00:02.000 line:0\r\nTwo\r\nrows\r\n";
  assert.deepEqual(fromWebVTT(text), [{ start: 1, end: 2, text: "Two rows" }]);
});

test("a golfer who filled the coach's window fills the student's, until the view is moved", () => {
  const view = { scale: 2, x: 0, y: 0 };
  const events = [
    { t: 0, do: "view", value: view, fit: [0.4, 1], filled: true },
    { t: 2, do: "view", value: { ...view, scale: 3 }, fit: [0.4, 1], filled: false },
  ];
  assert.equal(stateAt(events, 1).filled, true);
  assert.equal(stateAt(events, 2).filled, false);
});
