// Filming alone: when to start, how many repetitions were made, when to stop. Pure: landmarks in,
// what to do out; the camera and the voice are film-camera.js.
import { Framing } from "./framing.js";

const HIGH = 0.9, LOW = 0.45; // of the hands: 0 at the hips, 1 at the shoulders
const THROUGH = 0.65; // on the way through the ball: a slow phone sees hands only near the hips there
const DOWN_S = 0.4; // hands that stay low so long have come back to the ball, not gone past it
const START_STILL_S = 1.2, COUNT_S = 3, BLIND_COUNT_S = 10, AFTER_S = 1.5; // blind: time to walk there
const LONGEST_S = 170; // the server takes three minutes
const TURNED = 0.2; // of the breadth: a turn with a held club shows as that much change

/** Counts repetitions of one kind of film. `push` says true when one is complete. */
export class Repetitions {
  #state = "low";
  #since = 0;
  #base = undefined;

  /** @param {string} kind swing, rehearsal, hold, setup or bar */
  constructor(kind) { this.kind = kind; }

  /** @param {number} t seconds @param {{hands: number, breadth: number} | undefined} seen @param {number} still seconds */
  push(t, seen, still) {
    if (!seen) return false;
    if (this.kind === "setup") return this.#once("held", still >= 3, still === 0);
    if (this.kind === "hold") return this.#once("held", seen.hands > HIGH && still >= 1, seen.hands < LOW);
    if (this.kind === "bar") return this.#turn(seen, still);
    return this.#swing(t, seen.hands, still);
  }

  #once(name, reached, over) {
    if (this.#state !== name && reached) { this.#state = name; return true; }
    if (over) this.#state = "low";
    return false;
  }

  #turn(seen, still) {
    if (this.#base === undefined) { if (still >= 0.5) this.#base = seen.breadth; return false; }
    const off = Math.abs(seen.breadth - this.#base);
    return this.#once("turned", off > TURNED && still >= 0.8, off < TURNED / 2);
  }

  // Up, down through the ball, up again: the finish ends a swing. A quick ball may be missed
  // between two looks, so standing down and still after having been up ends it too.
  #swing(t, hands, still) {
    const to = (state) => { this.#state = state; this.#since = t; };
    if (this.#state === "low" && hands > HIGH) to("up");
    else if (this.#state === "up" && hands < THROUGH) to("down");
    else if (this.#state === "down" && hands > HIGH) to("finish");
    else if (this.#state === "down" && still >= 0.6 && hands < LOW) { to("low"); return true; }
    else if (this.#state === "finish" && (hands < LOW || t - this.#since >= 0.5)) { to("counted"); return true; }
    else if (this.#state === "counted" && hands < LOW) to("lowering");
    else if (this.#state === "lowering" && hands >= LOW) to("counted");
    else if (this.#state === "lowering" && (still >= 0.3 || t - this.#since >= DOWN_S)) to("low");
    return false;
  }
}

/** The whole of it: check, countdown, film, done. */
export class HandsFree {
  #since = 0;
  #lost = 0;

  /** @param {{view: string, hand: string, kind: string, repetitions: number, blind?: boolean}} asked blind: nothing sees the golfer */
  constructor(asked) {
    this.asked = asked;
    this.countdown = asked.blind ? BLIND_COUNT_S : COUNT_S;
    this.framing = new Framing({ ...asked, width: 0, height: 0 });
    this.phase = "check";
    this.count = 0;
  }

  /** Start without waiting for a good picture; the golfer knows why. */
  begin(t) { if (this.phase === "check") this.#go("countdown", t); }
  stop(t) { this.#go("done", t); }

  #go(phase, t) { this.phase = phase; this.#since = t; if (phase === "film") this.reps = new Repetitions(this.asked.kind); }

  /**
   * @param {number} t seconds @param {any} marks @param {{width: number, height: number, light?: number, tilt?: number, near?: boolean}} picture
   * @returns what `Framing.look` gives, with `phase`, `count`, `counted` (just now) and `left` (of the countdown)
   */
  see(t, marks, picture) {
    const look = this.framing.look(t, marks, picture);
    let counted = false;
    const passed = t - this.#since;
    if (this.phase === "check") {
      if (look.help === "good" && look.good && look.still >= START_STILL_S) this.#go("countdown", t);
    } else if (this.phase === "countdown") {
      const gone = !this.asked.blind && (look.help === "nobody" || look.help === "turn_phone");
      this.#lost = gone ? this.#lost + 1 : 0;
      if (this.#lost >= 3) this.#go("check", t);
      else if (passed >= this.countdown) this.#go("film", t);
    } else if (this.phase === "film") {
      if (this.reps.push(t, look.seen, Math.min(look.still, passed))) { this.count += 1; counted = true; this.#lost = t; }
      const enough = this.count >= this.asked.repetitions && t - this.#lost >= AFTER_S;
      if (enough || passed >= LONGEST_S) this.#go("done", t);
    }
    const left = this.phase === "countdown" ? Math.max(1, Math.ceil(this.countdown - (t - this.#since))) : 0;
    return { ...look, phase: this.phase, count: this.count, counted, left };
  }
}
