// What is drawn over a player: overlays switched one by one, and the marks of a review.
import { Ink } from "./ink.js";
import { figureStrokes } from "./figure-drawing.js";
import { overlay, overlaysFor, OVERLAYS } from "./judged.js";
import { strength, strokes } from "./marks.js";

export class Layers {
  on = new Set();
  figure = null; // the one figure of the sidebar that is looked at
  marks = [];
  // While a walk-through is replayed, only the marks drawn so far are shown.
  only = null;

  constructor(player) {
    this.player = player;
    this.judged = new Ink(player, "judged");
    this.drawn = new Ink(player, "drawn");
    player.addEventListener("frame", () => this.draw());
    player.addEventListener("state", ({ detail }) => {
      if (detail.data || detail.repetition !== undefined) this.draw();
    });
  }

  get choices() {
    return overlaysFor(this.player.data?.view);
  }

  toggle(id, on = !this.on.has(id)) {
    if (on) this.on.add(id);
    else this.on.delete(id);
    this.draw();
    this.player.dispatchEvent(new CustomEvent("state", { detail: { overlay: id, on } }));
  }

  /** Draw one figure on the golfer: `{id, sd, text, segments}`, or none. */
  point(figure) {
    if (!figure && !this.figure) return;
    this.figure = figure;
    this.draw();
    this.player.dispatchEvent(new CustomEvent("state", { detail: { figure } }));
  }

  draw() {
    const { player } = this;
    this.judged.clear();
    this.drawn.clear();
    if (!player.data) return;
    const where = { frame: player.frame, repetition: player.repetition };
    if (this.figure) this.judged.draw(figureStrokes(player.data, this.figure, { ...where, aspect: player.aspect }), "figure");
    for (const id of this.choices.filter((choice) => this.on.has(choice))) {
      const made = overlay(id, player.data, where);
      this.judged.draw(made, made.frozen ? "frozen" : "");
    }
    for (const mark of this.marks) {
      if (mark.video !== player.data.id) continue;
      if (this.only && !this.only.has(mark.key)) continue;
      const strong = strength(mark, player.time);
      if (!strong) continue;
      this.drawn.draw(strokes(mark, player.aspect), `${strong < 1 ? "faint" : ""} ${mark.chosen ? "chosen" : ""} ${mark.wanted ? "wanted" : ""}`);
    }
  }
}

/** One switch for every overlay that this clip can show. */
export function overlaySwitches(layers, panel, changed = () => {}) {
  panel.replaceChildren();
  for (const id of layers.choices) {
    const button = Object.assign(document.createElement("button"), { type: "button", textContent: OVERLAYS[id].label });
    const show = () => button.setAttribute("aria-pressed", String(layers.on.has(id)));
    button.addEventListener("click", () => {
      layers.toggle(id);
      show();
      changed();
    });
    show();
    panel.append(button);
  }
  layers.draw();
}
