// Frames, events and loops in a clip's own time. Pure: no page, no video.
// `times` is the copy's table of presentation times in seconds, ascending.

export const SLOWEST = 0.05;
export const FASTEST = 2;
export const SPEEDS = [0.05, 0.1, 0.25, 0.5, 1, 2];
// Browsers refuse to play slower than this by themselves; below it we step.
export const SLOWEST_NATIVE = 0.0625;

/** Index of the frame that is on screen at `time`. */
export function frameAt(times, time) {
  let low = 0;
  let high = times.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (times[middle] <= time + 1e-6) low = middle;
    else high = middle - 1;
  }
  return low;
}

/** Index of the frame whose presentation time is nearest to `time`. */
export function nearestFrame(times, time) {
  const i = frameAt(times, time);
  const next = Math.min(i + 1, times.length - 1);
  return Math.abs(times[next] - time) < Math.abs(times[i] - time) ? next : i;
}

/**
 * Where to seek so that frame `i` is shown: the middle between its time and the next.
 * The exact time of a frame lands on its neighbour about every third try.
 */
export function seekTime(times, i) {
  const frame = clampFrame(times, i);
  const last = times.length - 1;
  if (last < 1) return times[0] ?? 0;
  const gap = frame < last ? times[frame + 1] - times[frame] : times[last] - times[last - 1];
  return times[frame] + gap / 2;
}

export function clampFrame(times, i) {
  return Math.max(0, Math.min(times.length - 1, i));
}

/** Time at which the last frame is over. */
export function endTime(times) {
  const last = times.length - 1;
  return last < 1 ? (times[0] ?? 0) : 2 * times[last] - times[last - 1];
}

export function clampSpeed(speed) {
  return Number.isFinite(speed) ? Math.max(SLOWEST, Math.min(FASTEST, speed)) : 1;
}

/** The next slower (`by` −1) or faster (`by` 1) of the offered speeds. */
export function nextSpeed(speed, by) {
  const at = SPEEDS.reduce(
    (best, s, i) => (Math.abs(s - speed) < Math.abs(SPEEDS[best] - speed) ? i : best),
    0,
  );
  return SPEEDS[Math.max(0, Math.min(SPEEDS.length - 1, at + by))];
}

/** The events of one repetition that have a time, in order: `[{id, time_s, frame, ...}]`. */
export function eventsInOrder(events) {
  return Object.entries(events ?? {})
    .filter(([, event]) => event.time_s !== null && event.time_s !== undefined)
    .map(([id, event]) => ({ id, ...event }))
    .sort((a, b) => a.time_s - b.time_s);
}

/** All events of all repetitions in order of time, each with its `repetition`. */
export function allEvents(repetitions) {
  return repetitions
    .flatMap((rep, repetition) =>
      eventsInOrder(rep.events).map((event) => ({ ...event, repetition })),
    )
    .sort((a, b) => a.time_s - b.time_s);
}

/** The event before (`direction` −1) or after (1) the frame, or null. */
export function neighbourEvent(events, times, frame, direction) {
  const framed = events.map((event) => ({ event, at: nearestFrame(times, event.time_s) }));
  const beyond = framed.filter(({ at }) => (direction > 0 ? at > frame : at < frame));
  if (!beyond.length) return null;
  return (direction > 0 ? beyond[0] : beyond[beyond.length - 1]).event;
}

/** The event nearest in time: what the sidebar tells of. */
export function momentOf(events, time) {
  let best = null;
  for (const event of events) {
    if (!best || Math.abs(event.time_s - time) < Math.abs(best.time_s - time)) best = event;
  }
  return best;
}

/** First and last frame of a loop between two events, whichever comes first. */
export function loopFrames(times, a, b) {
  const first = nearestFrame(times, Math.min(a.time_s, b.time_s));
  const last = nearestFrame(times, Math.max(a.time_s, b.time_s));
  return [first, Math.max(first + 1, last)];
}

/** Where playing has got to `elapsed` seconds after it stood at `from`, inside a loop. */
export function playedTo(from, elapsed, speed, first, last) {
  const length = last - first;
  if (length <= 0) return first;
  const along = from - first + elapsed * speed;
  return first + (((along % length) + length) % length);
}

/** `1.234` as "1.23 s"; the frame number beside it is for people who count. */
export function clock(time) {
  return `${time.toFixed(2)} s`;
}
