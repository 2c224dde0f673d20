// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// Asking for places on the picture: by taps, by a pointer that drags, or by keys alone.
import { namedPoint, shaftAt } from "./curves.js";
import { clamp, inside, snap } from "./geometry.js";
import { Ink } from "./ink.js";
import { isWriting } from "./keys.js";
import { say } from "./words.js";

const REACH = 0.025;
const STEP = 0.004;
const DRAG_PX = 10;

/** Places worth snapping to at the player's frame: joints, shaft and ball, each with a name. */
export function joints(player) {
  const { data, frame } = player;
  const named = Object.keys(data.curves.joints)
    .filter((name) => name !== "com")
    .map((name) => ({ name, point: namedPoint(data, name, frame) }));
  const shaft = shaftAt(data, frame) ?? [];
  const more = shaft.map((point, i) => ({ name: i ? "shaft_head" : "shaft_grip", point }));
  if (data.curves.ball) more.push({ name: "ball", point: data.curves.ball });
  return [...named, ...more].filter((candidate) => candidate.point);
}

/**
 * Ask for `count` places (0: a free line, from touch to lift).
 * @returns {Promise<Array|null>} points in 0..1, or null when the person thought better of it
 */
export function askPlaces(player, { count, sketch, start = [0.5, 0.5], snapping = true }) {
  return new Promise((resolve) => new Asking(player, { count, sketch, start, snapping, resolve }));
}

class Asking {
  constructor(player, options) {
    Object.assign(this, { player, ...options });
    player.tool?.stop(null);
    player.tool = this;
    player.pause();
    this.ink = new Ink(player, "asking");
    this.points = [];
    this.cross = inside(this.start);
    this.drawing = false;
    this.stopping = new AbortController();
    const { signal } = this.stopping;
    const { window: pane } = player;
    this.before = document.activeElement;
    pane.classList.add("asking");
    pane.tabIndex = 0;
    pane.setAttribute("role", "application");
    pane.setAttribute("aria-label", say("place_on_picture"));
    pane.focus({ preventScroll: true });
    pane.scrollIntoView({ block: "nearest" });
    pane.addEventListener("pointerdown", (event) => this.#down(event), { signal });
    pane.addEventListener("pointermove", (event) => this.#move(event), { signal });
    pane.addEventListener("pointerup", (event) => this.#up(event), { signal });
    document.addEventListener("keydown", (event) => this.#key(event), { signal, capture: true });
    this.show();
  }

  stop(result) {
    this.stopping.abort();
    this.ink.remove();
    const { window: pane } = this.player;
    pane.classList.remove("asking");
    pane.removeAttribute("tabindex");
    pane.removeAttribute("role");
    pane.removeAttribute("aria-label");
    if (document.activeElement === pane || document.activeElement === document.body) {
      this.before?.focus?.({ preventScroll: true }); // back to the button that asked
    }
    if (this.player.tool === this) this.player.tool = null;
    this.resolve(result);
  }

  #snapped(point) {
    if (!this.snapping || this.count === 0) return inside(point);
    const reach = REACH / this.player.view.scale;
    return (snap(point, joints(this.player), reach, this.player.aspect)?.point ?? inside(point)).slice();
  }

  #down(event) {
    if (event.button) return;
    event.preventDefault();
    this.player.window.setPointerCapture(event.pointerId);
    this.drawing = true;
    const point = this.player.pointOf(event);
    this.pressed = [event.clientX, event.clientY];
    if (this.count === 0) this.points = [inside(point)];
    else this.cross = this.#snapped(point);
    this.show();
  }

  /** A drag places its start and its end; a tap places one. */
  #dragged(event) {
    const [x, y] = this.pressed;
    return this.count - this.points.length >= 2 && Math.hypot(event.clientX - x, event.clientY - y) > DRAG_PX;
  }

  #move(event) {
    const point = this.player.pointOf(event);
    if (this.count === 0) {
      if (!this.drawing) return;
      this.points.push(inside(point));
    } else {
      if (this.drawing && this.#dragged(event)) this.points.push(this.cross);
      this.cross = this.#snapped(point);
    }
    this.show();
  }

  #up(event) {
    if (!this.drawing) return;
    this.drawing = false;
    if (this.count === 0) return this.points.length > 1 ? this.stop(this.points) : this.show();
    this.#place(this.#snapped(this.player.pointOf(event)));
  }

  #place(point) {
    this.points.push(point);
    if (this.points.length >= this.count) return this.stop(this.points);
    this.show();
  }

  #key(event) {
    if (isWriting(event.target)) return;
    const step = STEP * (event.shiftKey ? 8 : 1);
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (way) {
      const [x, y] = this.cross;
      this.cross = [clamp(x + (way[0] * step) / this.player.aspect, 0, 1), clamp(y + way[1] * step, 0, 1)];
      if (this.count === 0) this.points.push(this.cross);
    } else if (event.key === "Enter" && event.target === this.player.window) {
      if (this.count === 0) return this.points.length > 1 ? this.stop(this.points) : null;
      this.#place(this.cross);
    } else if (event.key === "Escape") {
      this.stop(null);
    } else if (event.key === "Backspace" && this.points.length) {
      this.points.pop();
    } else return;
    event.preventDefault();
    event.stopPropagation();
    if (this.player.tool === this) this.show();
  }

  show() {
    this.ink.clear();
    const { aspect } = this.player;
    const points = this.count === 0 ? this.points : [...this.points, this.cross];
    if (this.sketch) this.ink.draw(this.sketch(points), "wet");
    const [x, y] = this.cross;
    const arm = 0.02 / this.player.view.scale;
    if (this.count !== 0) {
      this.ink.draw(
        { lines: [[[x - arm / aspect, y], [x + arm / aspect, y]], [[x, y - arm], [x, y + arm]]] },
        "cross",
      );
    }
  }
}
