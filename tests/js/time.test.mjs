import assert from "node:assert/strict";
import { test } from "node:test";
import {
  allEvents, clampSpeed, endTime, eventsInOrder, frameAt, loopFrames, momentOf, nearestFrame,
  neighbourEvent, nextSpeed, playedTo, seekTime,
} from "../../static/js/review/time.js";

const even = [0, 0.1, 0.2, 0.3, 0.4];
const uneven = [0, 0.017, 0.05, 0.058, 0.2];

test("a frame is on screen from its own time until the next one's", () => {
  for (const times of [even, uneven]) {
    times.forEach((t, i) => {
      assert.equal(frameAt(times, t), i);
      assert.equal(frameAt(times, seekTime(times, i)), i);
    });
  }
  assert.equal(frameAt(uneven, -1), 0);
  assert.equal(frameAt(uneven, 9), 4);
});

test("seeking aims strictly inside the frame, also the last and an only one", () => {
  assert.equal(seekTime(uneven, 1), (0.017 + 0.05) / 2);
  assert.ok(seekTime(uneven, 4) > 0.2 && seekTime(uneven, 4) < endTime(uneven));
  assert.equal(seekTime([0], 0), 0);
  assert.equal(seekTime(even, 99), seekTime(even, 4));
});

test("the nearest frame may be the next one", () => {
  assert.equal(nearestFrame(uneven, 0.049), 2);
  assert.equal(nearestFrame(uneven, 0.02), 1);
});

test("speeds stay between a twentieth and two", () => {
  assert.equal(clampSpeed(9), 2);
  assert.equal(clampSpeed(0.001), 0.05);
  assert.equal(clampSpeed(Number.NaN), 1);
  assert.equal(nextSpeed(1, -1), 0.5);
  assert.equal(nextSpeed(0.05, -1), 0.05);
  assert.equal(nextSpeed(2, 1), 2);
});

const events = { top: { time_s: 0.3 }, address: { time_s: 0.1 }, impact: { time_s: null, reason: "not_reached" } };

test("events without a time are left out and the rest are in order", () => {
  assert.deepEqual(eventsInOrder(events).map((e) => e.id), ["address", "top"]);
  assert.deepEqual(
    allEvents([{ events: { top: { time_s: 0.4 } } }, { events }]).map((e) => [e.id, e.repetition]),
    [["address", 1], ["top", 1], ["top", 0]],
  );
});

test("event jumps move on from the frame of an event, never stay on it", () => {
  const list = eventsInOrder(events);
  assert.equal(neighbourEvent(list, even, 1, 1).id, "top");
  assert.equal(neighbourEvent(list, even, 3, -1).id, "address");
  assert.equal(neighbourEvent(list, even, 3, 1), null);
  assert.equal(momentOf(list, 0.12).id, "address");
  assert.equal(momentOf([], 1), null);
});

test("a loop between two events holds at least two frames, in either order", () => {
  assert.deepEqual(loopFrames(even, { time_s: 0.3 }, { time_s: 0.1 }), [1, 3]);
  assert.deepEqual(loopFrames(even, { time_s: 0.1 }, { time_s: 0.1 }), [1, 2]);
});

test("stepped playing wraps around inside the loop", () => {
  assert.equal(playedTo(1, 2, 0.25, 1, 3), 1.5);
  assert.ok(Math.abs(playedTo(1.5, 8, 0.25, 1, 3) - 1.5) < 1e-12);
  assert.equal(playedTo(1, 1, 1, 2, 2), 2);
});
