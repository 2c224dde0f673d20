// Finds the golfer. Whoever stands too near to fit has no head in the picture, and the network
// finds nobody: then it looks at the picture set small into a grey margin. Whoever is found there
// only is too near; their joints, half of them outside, are not to be trusted.
//
// What one margin hides another shows: how much of a body the picture holds decides how small it
// must be and how much room it needs above, where the head would be. So margins take turns.

/** @typedef {{share: number, down: number}} Margin the picture's share of breadth and height; 0 at the top, 1 at the bottom */
/** @type {Margin[]} */
export const MARGINS = [{ share: 0.5, down: 0.5 }, { share: 0.7, down: 1 }, { share: 0.33, down: 0.85 }];
const GREY = "#808080", WIDE = 360; // pixels; the network itself looks at 256

/** Look by look; the plain picture and a margin take turns while nobody is found in the plain one. */
export class Finder {
  #margin = false;
  #turn = 0;
  #missed = 0;
  #near = false;

  /** @param {(source: any, margin: Margin | undefined) => any[] | undefined} detect the network: on the plain picture, or in a margin */
  constructor(detect) { this.detect = detect; }

  /** @returns {{marks: any[] | undefined, near: boolean}} landmarks of the plain picture */
  find(source) {
    const small = this.#margin;
    const found = this.detect(source, small ? MARGINS[this.#turn] : undefined);
    this.#margin = !small && !found;
    if (found) {
      this.#near = small;
      this.#missed = 0;
    } else if (small) {
      this.#turn = (this.#turn + 1) % MARGINS.length; // one that shows somebody is looked at again
      this.#missed += 1;
      if (this.#missed >= MARGINS.length) this.#near = false; // in none of them
    }
    return { marks: small ? undefined : found, near: this.#near };
  }
}

/** The picture in a margin, drawn on one canvas again and again. */
export function marginOf() {
  const canvas = document.createElement("canvas"), pen = canvas.getContext("2d");
  return (/** @type {HTMLVideoElement} */ video, /** @type {Margin} */ { share, down }) => {
    const high = Math.round((WIDE * video.videoHeight) / video.videoWidth);
    if (canvas.height !== high || canvas.width !== WIDE) Object.assign(canvas, { width: WIDE, height: high });
    pen.fillStyle = GREY;
    pen.fillRect(0, 0, WIDE, high);
    pen.drawImage(video, (WIDE * (1 - share)) / 2, high * (1 - share) * down, WIDE * share, high * share);
    return canvas;
  };
}
