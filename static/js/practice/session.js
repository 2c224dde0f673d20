// A series of repetitions, alone: when the golfer stands well, when to go, what was made, when it
// is enough. Pure: landmarks in, what to say out; the camera and the voice are practice-camera.js.
import { Framing } from "../intake/framing.js";
import { Repetitions } from "../intake/hands-free.js";
import { judge } from "./figures.js";

export const SERIES = 10;
const READY_S = 1; // still so long: ready for the next
const PACE_S = { setup: 6, hold: 6, bar: 6, rehearsal: 7, swing: 12 }; // from one "go" to the next, at least
const HIGH = 0.9, LOW = 0.45, THROUGH = 0.65; // of the hands, as in hands-free.js
const KEPT = 8; // looks of the address, a tenth of a second apart

/** @typedef {{view: string, hand: string, kind: string, criteria: any[], stature: number, left: number, take: number}} Asked left: repetitions that today still holds; take: of one film */

export class Session {
  #standing = []; // looks at address
  #rising = []; // looks since the hands left it
  #address = undefined;
  #went = -Infinity;
  #scores = [];

  /** @param {Asked} asked */
  constructor(asked) {
    this.asked = asked;
    this.framing = new Framing({ view: asked.view, hand: asked.hand, width: 0, height: 0 });
    this.reps = new Repetitions(asked.kind);
    this.phase = "check";
    this.count = 0; // of this series
    this.total = 0;
    this.size = Math.min(SERIES, asked.left);
  }

  /** The golfer goes on with another series. */
  again() {
    this.size = Math.min(SERIES, this.asked.left - this.total);
    this.count = 0;
    this.#went = -Infinity;
    this.phase = "practise";
  }

  /**
   * @param {number} t seconds @param {any} marks @param {any} picture as for `Framing.look`
   * @returns what `Framing.look` gives, with `phase`, `count`, `counted` (just now), `verdict`, `go`
   *   (say so now) and `take` (how good the film is that ends now, else undefined)
   */
  see(t, marks, picture) {
    const look = this.framing.look(t, marks, picture);
    let counted = false, go = false, verdict = "", take;
    if (this.phase === "check" && look.help === "good" && look.good && look.still >= READY_S) this.phase = "practise";
    if (this.phase === "practise") {
      this.#remember(look, marks);
      counted = this.reps.push(t, look.seen, look.still);
      if (counted) {
        verdict = this.#judged(picture);
        this.count += 1;
        this.total += 1;
        this.#scores.push({ there: 1, not_yet: -1 }[verdict] ?? 0);
        if (this.#scores.length === this.asked.take) { take = this.#scores.reduce((sum, one) => sum + one, 0); this.#scores = []; }
        if (this.count >= this.size) this.phase = this.total >= this.asked.left ? "enough" : "rest";
      } else if (look.still >= READY_S && look.seen.hands < LOW && t - this.#went >= PACE_S[this.asked.kind]) {
        this.#went = t;
        go = true;
      }
    }
    return { ...look, phase: this.phase, count: this.count, counted, verdict, go, take };
  }

  #remember({ seen, still }, marks) {
    if (!seen) return;
    if (seen.hands < LOW && still > 0) {
      this.#standing = [...this.#standing, marks].slice(-KEPT);
      this.#rising = [];
    } else {
      if (this.#standing.length >= KEPT / 2) this.#address = mean(this.#standing);
      this.#standing = [];
      this.#rising.push({ hands: seen.hands, marks });
    }
  }

  #judged({ width, height }) {
    const { criteria, view, hand, stature, kind } = this.asked;
    const address = kind === "setup" ? this.#standing.length && mean(this.#standing) : this.#address;
    const top = topOf(this.#rising);
    this.#rising = [];
    return address ? judge(criteria, view, { address, top, hand, width, height, stature }) : "";
  }
}

/** The look with the highest hands before they come down. */
export function topOf(looks) {
  const up = looks.findIndex(({ hands }) => hands > HIGH);
  if (up < 0) return undefined;
  const down = looks.findIndex(({ hands }, n) => n > up && hands < THROUGH);
  const part = looks.slice(up, down < 0 ? undefined : down);
  return part.reduce((best, look) => (look.hands > best.hands ? look : best)).marks;
}

const mean = (looks) => looks[0].map((_, i) => ({
  x: looks.reduce((sum, marks) => sum + marks[i].x, 0) / looks.length,
  y: looks.reduce((sum, marks) => sum + marks[i].y, 0) / looks.length,
}));
