// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// Strokes in ink on the clip: each drawn twice, a pale edge under a dark line, so that it
// shows on grass and on night. Positions come in 0..1 and leave in the drawing's own units.
import { getStroke } from "../../vendor/perfect-freehand.js";

const SVG = "http://www.w3.org/2000/svg";

export class Ink {
  constructor(player, layer) {
    this.player = player;
    this.group = document.createElementNS(SVG, "g");
    this.group.classList.add(layer);
    player.ink.append(this.group);
  }

  clear() {
    this.group.replaceChildren();
  }

  remove() {
    this.group.remove();
  }

  /** Draw strokes as `judged.js` and `marks.js` make them. */
  draw({ lines = [], dashed = [], fan = null, dots = [], rings = [], ring = null, label = null, free = false }, classes = "") {
    const group = this.#add("g", { class: `stroke ${classes}` });
    if (fan) this.#shape(group, "polygon", { points: this.#list(fan) }, "fan");
    for (const line of dashed) this.#twice(group, "polyline", { points: this.#list(line) }, "dashed");
    if (label?.from) this.#leader(group, label);
    for (const line of lines) {
      if (free) this.#twice(group, "path", { d: this.#freehand(line) }, "free");
      else this.#twice(group, "polyline", { points: this.#list(line) });
    }
    for (const { centre, edge } of ring ? [...rings, ring] : rings) {
      const [c, e] = [this.#xy(centre), this.#xy(edge)];
      const r = Math.hypot(c[0] - e[0], c[1] - e[1]);
      this.#twice(group, "circle", { cx: c[0], cy: c[1], r });
    }
    for (const dot of dots) {
      const [cx, cy] = this.#xy(dot);
      this.#twice(group, "circle", { cx, cy, r: 6 }, "dot");
    }
    if (label) this.#write(group, label);
    return group;
  }

  #list(points) {
    return points.map((p) => this.#xy(p).join(",")).join(" ");
  }

  /** A thin line from a figure's own line to the number beside the body. */
  #leader(group, { at, from }) {
    const [[x1, y1], [x2, y2]] = [this.#xy(from), this.#xy(at)];
    for (const name of ["rim", "leader"]) this.#shape(group, "line", { x1, y1, x2, y2 }, name);
  }

  #shape(group, name, attributes, className) {
    const node = document.createElementNS(SVG, name);
    node.setAttribute("class", className);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    group.append(node);
  }

  #xy([x, y]) {
    return [Math.round(x * 1000 * this.player.aspect * 10) / 10, Math.round(y * 10000) / 10];
  }

  #twice(group, name, attributes, extra = "") {
    for (const layer of ["edge", "line"]) {
      const node = document.createElementNS(SVG, name);
      node.setAttribute("class", `${layer} ${extra}`);
      for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
      group.append(node);
    }
  }

  #freehand(points) {
    const outline = getStroke(points.map((p) => this.#xy(p)), {
      size: 6 / this.player.view.scale, thinning: 0.4, smoothing: 0.6, streamline: 0.3, simulatePressure: true,
    });
    return outline.length ? `M${outline.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}Z` : "";
  }

  #write(group, { at, text, from = null }) {
    const [x, y] = this.#xy(at);
    const right = from ? at[0] < from[0] : at[0] > 0.5;
    const node = document.createElementNS(SVG, "text");
    node.setAttribute("x", x + (right ? -12 : 12));
    node.setAttribute("y", Math.max(30, y - 8));
    node.setAttribute("text-anchor", right ? "end" : "start");
    node.textContent = text;
    group.append(node);
  }

  #add(name, attributes) {
    const node = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    this.group.append(node);
    return node;
  }
}
