// A spoken walk-through: everything done while speaking, as timed events. Pure.
// An event is {t, do, ...}: t is seconds of sound since the start.

// Those with a `value`: speed, bright, view (with the window's `fit`, and `filled` when the golfer filled
// it), clip, repetition, loop, figure; and of a comparison beside (with `how`), lie, share, then.
export const ACTIONS = [
  "frame", "play", "speed", "view", "overlay", "bright", "mark", "clip", "repetition", "loop", "figure",
  "beside", "lie", "share", "then",
];
const APART = 0.04; // seconds between two scrub positions that are worth keeping
export const LONGEST = 20 * 60;

/** Add an event; scrubbing keeps the newest of many positions in a blink. */
export function noted(events, event) {
  const last = events[events.length - 1];
  const scrub = event.do === "frame" || event.do === "view";
  if (scrub && last?.do === event.do && event.t - last.t < APART && events.length > 1) {
    return [...events.slice(0, -1), { ...event, t: last.t }];
  }
  return [...events, event];
}

/** How everything stands at `t`: the newest of each kind, and the marks drawn so far. */
export function stateAt(events, t) {
  const state = { overlays: {}, marks: [] };
  for (const event of events) {
    if (event.t > t + 1e-9) break;
    if (event.do === "overlay") state.overlays[event.id] = event.on;
    else if (event.do === "mark") {
      state.marks = event.gone
        ? state.marks.filter((id) => id !== event.id)
        : [...state.marks.filter((id) => id !== event.id), event.id];
    } else if (event.do === "frame") {
      state.frame = event.frame;
      state.frameAt = event.t;
    } else if (event.do === "play") {
      state.playing = event.on;
      if (event.frame !== undefined) {
        state.frame = event.frame;
        state.frameAt = event.t;
      }
    } else {
      state[event.do] = event.value;
      if (event.do === "view") [state.fit, state.filled] = [event.fit, event.filled];
      if (event.do === "beside") state.how = event.how;
      // Another clip begins with its first swing; another swing with no loop.
      if (event.do === "clip") state.repetition = 0;
      if (event.do === "clip" || event.do === "repetition") state.loop = null;
    }
  }
  return state;
}

/** Where playing has got to inside the script's loop, seconds of the clip; `times` of its frames. */
export function playedIn(state, t, times) {
  const from = times[state.frame ?? 0] ?? 0;
  const played = from + (t - state.frameAt) * (state.speed ?? 1);
  const [first, last] = (state.loop ?? []).map((frame) => times[Math.min(frame, times.length - 1)]);
  return last > first && played > last ? first + ((played - first) % (last - first)) : played;
}

/** Index of the first event after `t`: where replay goes on. */
export function nextIndex(events, t) {
  const i = events.findIndex((event) => event.t > t + 1e-9);
  return i < 0 ? events.length : i;
}

/** Captions: `[{start, end, words}]` as WebVTT, and back. Empty lines are left out. */
export function toWebVTT(lines) {
  const cues = lines
    .filter((line) => line.text.trim())
    .map((line) => `${stamp(line.start)} --> ${stamp(line.end)}\n${escaped(line.text)}`);
  return ["WEBVTT", ...cues].join("\n\n") + "\n";
}

export function fromWebVTT(text) {
  return text
    .replace(/\r\n?/g, "\n")
    .split(/\n{2,}/)
    .map((block) => block.split("\n"))
    .map((rows) => {
      const at = rows.findIndex((row) => row.includes("-->"));
      if (at < 0) return null;
      const [start, end] = rows[at].split("-->").map((part) => seconds(part.trim().split(/\s/)[0]));
      return { start, end, text: unescaped(rows.slice(at + 1).join(" ").trim()) };
    })
    .filter((line) => line && Number.isFinite(line.start) && Number.isFinite(line.end));
}

function stamp(t) {
  const ms = Math.max(0, Math.round(t * 1000));
  const two = (n) => String(n).padStart(2, "0");
  const [h, m, s] = [Math.floor(ms / 3600000), Math.floor(ms / 60000) % 60, Math.floor(ms / 1000) % 60];
  return `${two(h)}:${two(m)}:${two(s)}.${String(ms % 1000).padStart(3, "0")}`;
}

function seconds(text) {
  const parts = text.split(":").map(Number);
  return parts.reduce((sum, part) => sum * 60 + part, 0);
}

function escaped(text) {
  return text.trim().replace(/\s*\n\s*/g, " ").replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/-->/g, "→");
}

function unescaped(text) {
  return text.replace(/&lt;/g, "<").replace(/&gt;/g, ">").replace(/&amp;/g, "&");
}
