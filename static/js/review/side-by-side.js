// Two clips of one student together. The one beside follows the one in hand: at the moment that
// belongs to it, its golfer as large and standing on the same place; side by side, one wiped
// over the other, or both at once. Tells by `change` what was done: {beside, how}, {lie},
// {share} or {then}.
import { atEvent, sharedEvents, stretched } from "./align.js";
import { namedPoint } from "./curves.js";
import { toFrame } from "./geometry.js";
import { Layers } from "./layers.js";
import { nearestFrame } from "./time.js";
import "./frame-player.js";
import { say, urlOf } from "./words.js";

/** Between the heels at address: where a golfer stands, in 0..1 of the picture. */
function standing({ data, repetition }) {
  const address = data.repetitions[repetition]?.events.address?.time_s;
  if (address == null || !data.stature_share) return null;
  return namedPoint(data, "mid_heel", nearestFrame(data.frame_times_s, address));
}

export class SideBySide extends EventTarget {
  /** @type {any} */ player;
  /** @type {any} */ first; // what is drawn on the clip in hand
  /** @type {any} */ place;
  /** @type {any} */ other = null;
  /** @type {any} */ layers = null; // what is drawn on the clip beside
  /** @type {number | null} */ video = null;
  how = "stretched";
  way = "side";
  share = 0.5;

  /** `place` is hidden until a clip is opened beside; its parent holds both. */
  constructor({ player, layers, place }) {
    super();
    Object.assign(this, { player, place, first: layers });
    player.addEventListener("frame", () => this.follow());
    player.addEventListener("state", ({ detail }) => {
      if ("view" in detail) this.match();
      if ("overlay" in detail) this.layers?.toggle(detail.overlay, detail.on);
      if (detail.data || "repetition" in detail) this.follow();
    });
  }

  get shown() {
    return Boolean(this.video && this.other?.data?.url && !this.place.hidden);
  }

  async open(video, how = this.how) {
    this.video = video || null;
    this.how = how;
    this.place.hidden = !video;
    document.body.classList.toggle("comparing", Boolean(video));
    this.#tell({ beside: this.video, how });
    if (!video) {
      this.point(null);
      return this.lie("side");
    }
    if (!this.other) this.#make();
    if (this.other.data?.id !== video) await this.other.load(urlOf("data", video));
    if (this.video !== video) return undefined; // another was wished for meanwhile
    this.other.style.setProperty("--aspect", String(this.player.aspect)); // windows of one shape
    this.layers.on = new Set(this.first.on);
    this.other.classList.toggle("mirrored", this.other.data.handedness !== this.player.data.handedness);
    this.match();
    return this.follow();
  }

  #make() {
    this.other = document.createElement("frame-player");
    this.other.dataset.label = say("lines_other");
    this.place.querySelector("[data-player]").append(this.other);
    this.layers = new Layers(this.other);
  }

  align(how) {
    this.how = how;
    if (this.video) this.#tell({ beside: this.video, how });
    return this.follow();
  }

  lie(way) {
    this.way = way;
    for (const name of ["wipe", "ghost"]) this.place.parentElement.classList.toggle(name, way === name);
    this.#tell({ lie: way });
  }

  /** How much of the picture the clip beside takes (wipe), or how little it shows (both at once). */
  setShare(share) {
    this.share = share;
    this.place.parentElement.style.setProperty("--share", `${100 * share}%`);
    this.#tell({ share });
  }

  point(figure) {
    this.layers?.point(figure);
    this.#tell({ then: figure });
  }

  /** The other golfer as large as this one, and standing on the same place. */
  match() {
    const { player, other } = this;
    if (!this.shown) return;
    const [here, there] = [player, other].map(standing);
    if (!here || !there) return;
    const scale = (player.view.scale * player.fit[1] * player.data.stature_share.y) / (other.fit[1] * other.data.stature_share.y);
    const [x, y] = toFrame(player.view, here, player.fit);
    other.setView({ scale, x: x - there[0] * scale * other.fit[0], y: y - there[1] * scale * other.fit[1] });
  }

  get pairs() {
    const [a, b] = [this.player, this.other].map((p) => p.data.repetitions[p.repetition]?.events);
    return sharedEvents(a, b);
  }

  follow() {
    if (!this.shown) return undefined;
    const { pairs } = this;
    const time = this.player.time;
    const there = this.how === "stretched" ? stretched(pairs, time) : atEvent(pairs, this.how, time);
    return this.other.show(nearestFrame(this.other.times, there));
  }

  #tell(detail) {
    this.dispatchEvent(new CustomEvent("change", { detail }));
  }
}
