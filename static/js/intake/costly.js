// Whether megabytes are asked about before they are loaded, and how long they take. Pure.

const SLOW = new Set(["slow-2g", "2g", "3g"]), SLOW_MBIT = 2;

/** @typedef {{saveData?: boolean, effectiveType?: string, downlink?: number}} Line as `navigator.connection` tells it, where it does */

/** Why to ask first: "saves" data, a "slow" line, or "" where nothing speaks against loading. @param {Line | undefined} line */
export function costly(line) {
  if (line?.saveData) return "saves";
  const slow = SLOW.has(line?.effectiveType ?? "") || (line?.downlink ?? Infinity) < SLOW_MBIT;
  return slow ? "slow" : "";
}

/** Seconds for so many bytes, in fives and never too few; undefined where the phone tells no speed. @param {Line | undefined} line */
export function secondsFor(bytes, line) {
  return line?.downlink ? inFives((bytes * 8) / (line.downlink * 1e6)) : undefined;
}

/** Seconds left of a loading of which `done` took `passed`; undefined while that says little. */
export function secondsLeft(passed, done, all) {
  return passed >= 2 && done >= all * 0.05 && done < all ? inFives((passed * (all - done)) / done) : undefined;
}

const inFives = (seconds) => Math.max(5, Math.ceil(seconds / 5) * 5);
