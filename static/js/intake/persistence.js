// How long to wait, when a line counts as dead, and what an answer means. Pure.

const PAUSES_S = [2, 5, 10, 20, 40, 60, 120];
export const SILENCE_MS = 30000; // the server lets a silent line go after as long

/** Seconds before the next try after so many failures in a row (1, 2, …); it never gives up. */
export function pauseAfter(failures) {
  return PAUSES_S[Math.min(Math.max(failures, 1), PAUSES_S.length) - 1];
}

/**
 * What to do after a failed request.
 *
 * @param {{status: number, code?: string, detail?: string}} answer status 0: no answer came
 * @returns {"again"|"anew"|"sign_in"|"refused"} anew: the server threw the half-sent clip away
 */
export function whatNow({ status, code, detail }) {
  if (status === 401 || (status === 403 && !code)) return "sign_in";
  if (status === 410) return "anew";
  if ([408, 409, 423, 425, 429, 460].includes(status)) return "again";
  return status >= 400 && status < 500 && detail ? "refused" : "again";
}

/**
 * Calls `onSilence` once when nothing has moved for `limit`: a line can die without the radio
 * saying so, and then no error ever comes.
 */
export function watchdog(onSilence, { limit = SILENCE_MS, later = setTimeout, never = clearTimeout } = {}) {
  let timer;
  const stop = () => never(timer);
  return {
    moved() { stop(); timer = later(onSilence, limit); },
    stop,
  };
}

/** `38` of bytes, in whole megabytes but never 0 of something. */
export const megabytes = (bytes) => (bytes < 1e6 ? Math.max(bytes && 0.1, Math.round(bytes / 1e5) / 10) : Math.round(bytes / 1e6));
