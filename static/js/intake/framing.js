// Is the phone standing right? Pure: from the network's landmarks to one instruction.
// Shares of the picture; x to the right, y down, as the network gives them.

const [NOSE, EARS, SHOULDERS, WRISTS, HIPS, ANKLES, HEELS, TOES] = [0, [7, 8], [11, 12], [15, 16], [23, 24], [27, 28], [29, 30], [31, 32]];
const SEEN = 0.5;
// Room above the head for hands and club; the same limits as the check after sending.
const TALLEST = 0.72, SMALLEST = 0.28, EDGE = 0.02, ASIDE = 0.2;
// Breadth of shoulders and hips over the trunk's length: wide from the front, narrow from behind.
const NARROWEST_FRONT = 0.4, WIDEST_BEHIND = 0.75;
const LEANING_DEG = 14; // legs off the picture's upright: the phone is tilted, nobody stands so
const DARKEST = 0.1; // mean brightness, 0 to 1

/** @typedef {{x: number, y: number, visibility?: number}} Mark */
/** @typedef {{view: string, hand?: string, width: number, height: number, light?: number, tilt?: number, near?: boolean}} Asked */
/** @typedef {"turn_phone"|"dark"|"nobody"|"back"|"closer"|"aim_left"|"aim_right"|"level"|"wrong_view"|"hold_still"|"good"} Help */

/** @param {Mark[]} points */
const middle = (points) => ({
  x: points.reduce((sum, p) => sum + p.x, 0) / points.length,
  y: points.reduce((sum, p) => sum + p.y, 0) / points.length,
});

/** What one picture tells; undefined where nobody is in it. @param {Mark[] | undefined} marks */
export function body(marks, { width, height }) {
  if (!marks?.length) return undefined;
  const pick = (indices) => indices.map((i) => marks[i]);
  const seen = (indices) => pick(indices).every((p) => (p.visibility ?? 1) >= SEEN);
  if (!seen(SHOULDERS) && !seen(HIPS)) return undefined;
  const top = Math.min(...pick([NOSE, ...EARS]).map((p) => p.y));
  const bottom = Math.max(...pick([...HEELS, ...TOES]).map((p) => p.y));
  const [shoulders, hips, ankles, wrists] = [SHOULDERS, HIPS, ANKLES, WRISTS].map((pair) => middle(pick(pair)));
  const trunk = Math.hypot((shoulders.x - hips.x) * width, (shoulders.y - hips.y) * height);
  const [ls, rs] = pick(SHOULDERS), [lh, rh] = pick(HIPS);
  return {
    top, bottom, tall: bottom - top, hips, shoulders, wrists, ankles,
    feet: pick(ANKLES).some((p) => (p.visibility ?? 1) >= SEEN), // one leg hides the other
    // Signed: positive with the golfer's face to the camera.
    breadth: ((ls.x - rs.x + lh.x - rh.x) * width) / trunk,
    // Of the toes from the heels, in body heights; positive to the right of the picture.
    toes: ((middle(pick(TOES)).x - middle(pick(HEELS)).x) * width) / ((bottom - top) * height),
    lean: (Math.atan2((hips.x - ankles.x) * width, (ankles.y - hips.y) * height) * 180) / Math.PI,
    hands: (hips.y - wrists.y) / (hips.y - shoulders.y || 1), // 0 at the hips, 1 at the shoulders
  };
}

/**
 * Whether the view is the asked one; only worth asking while the golfer stands still.
 *
 * @param {ReturnType<typeof body>} seen @param {Asked} asked
 */
export function rightSide(seen, { view, hand = "right" }) {
  const side = hand === "left" ? -1 : 1;
  if (view === "face_on") return seen.breadth >= NARROWEST_FRONT;
  if (view === "down_the_line") return Math.abs(seen.breadth) <= WIDEST_BEHIND && seen.toes * side > -0.02;
  return true; // rear, overhead and others are for looking at: never "wrong"
}

/** What a picture says with nobody looked for: while the network loads. @param {Asked} picture @returns {Help | ""} */
export function atOnce({ width, height, light, tilt }) {
  if (width > height) return "turn_phone";
  if (light !== undefined && light < DARKEST) return "dark";
  return Math.abs(tilt ?? 0) > LEANING_DEG ? "level" : "";
}

/**
 * What to say, one thing at a time, the most important first; the side is left to `Framing`.
 *
 * @param {ReturnType<typeof body>} seen @param {Asked} asked @returns {Help}
 */
export function instruction(seen, { view, width, height, light, tilt, near }) {
  if (width > height) return "turn_phone";
  if (light !== undefined && light < DARKEST) return "dark";
  if (near) return "back";
  if (!seen) return "nobody";
  if (seen.top < EDGE || seen.bottom > 1 - EDGE || !seen.feet || seen.tall > TALLEST) return "back";
  // Before what is read off a picture that leans: its heights and places are not to be trusted.
  const measured = view === "face_on" || view === "down_the_line";
  if (Math.abs(tilt ?? 0) > LEANING_DEG || (measured && Math.abs(seen.lean) > LEANING_DEG)) return "level";
  if (seen.tall < SMALLEST) return "closer";
  if (seen.hips.x < 0.5 - ASIDE) return "aim_left";
  if (seen.hips.x > 0.5 + ASIDE) return "aim_right";
  return "good";
}

const SPAN_S = 0.8, STILL = 0.06; // no joint wanders further than this share of the body in SPAN_S

/** Is the golfer nearly still? `push` picture by picture. */
export class Stillness {
  #past = [];
  #since = undefined;

  /** @returns {number} seconds that nothing has moved, 0 while it moves */
  push(t, seen) {
    if (!seen) { this.#past = []; this.#since = undefined; return 0; }
    // Not the feet: the network takes one leg for the other and back.
    this.#past.push({ t, points: [seen.hips, seen.shoulders, seen.wrists] });
    while (this.#past.length > 2 && this.#past[1].t <= t - SPAN_S) this.#past.shift();
    const whole = t - this.#past[0].t >= SPAN_S * 0.8;
    const wander = Math.max(...[0, 1, 2].map((n) => {
      const xs = this.#past.map((p) => p.points[n].x), ys = this.#past.map((p) => p.points[n].y);
      return Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys));
    })) / seen.tall;
    if (!whole || wander > STILL) { this.#since = undefined; return 0; }
    this.#since ??= this.#past[0].t;
    return t - this.#since;
  }
}

const LATCH_S = 3, HOLD = 3; // looks that a help must hold before it is said

/** Looks one after another: judges the side only while still, holds *good*, never chatters. */
export class Framing {
  #still = new Stillness();
  #side = undefined;
  #wanted = "";
  #count = 0;
  #goodUntil = -1;
  said = "";

  /** @param {Asked} asked */
  constructor(asked) { this.asked = asked; }

  /**
   * @param {number} t seconds @param {Mark[] | undefined} marks 33 landmarks, or nobody
   * @param {{width: number, height: number, light?: number, tilt?: number, near?: boolean}} picture
   * @returns {{help: Help, said: string, fresh: boolean, good: boolean, still: number, seen: any, ticks: {feet: boolean, room: boolean, side: boolean}}}
   */
  look(t, marks, picture) {
    const asked = { ...this.asked, ...picture };
    const seen = body(marks, asked);
    const still = this.#still.push(t, seen);
    let help = instruction(seen, asked);
    if (help === "nobody") this.#side = undefined;
    if (still > 0 && help === "good") this.#side = rightSide(seen, asked);
    if (help === "good" && this.#side !== true) help = this.#side === undefined ? "hold_still" : "wrong_view";
    this.#count = help === this.#wanted ? this.#count + 1 : 1;
    this.#wanted = help;
    const settled = this.#count >= HOLD;
    if (settled && help === "good") this.#goodUntil = t + LATCH_S;
    // A swing or a look around takes nothing back: only what lasts longer than the latch does.
    const latched = t <= this.#goodUntil && help !== "turn_phone";
    const fresh = settled && help !== this.said && !(latched && help !== "good");
    if (fresh) this.said = help;
    return {
      help, said: this.said, fresh, good: latched, still, seen,
      ticks: { feet: Boolean(seen?.feet), room: Boolean(seen) && !["back", "turn_phone", "closer"].includes(help), side: this.#side === true },
    };
  }
}
