// <review-read>: a sent review for the student. Clip, marks, and what the coach said,
// replayed over the clip; pause to look around, go on to follow again.
import "./frame-player.js";
import "./time-strip.js";
import "./player-controls.js";
import { Layers, overlaySwitches } from "./layers.js";
import { get } from "./server.js";
import { SideBySide } from "./side-by-side.js";
import { WalkReplay } from "./walk-replay.js";
import { urlOf } from "./words.js";

class ReviewRead extends HTMLElement {
  async connectedCallback() {
    this.querySelector("[data-print]")?.addEventListener("click", () => print());
    this.player = this.querySelector("frame-player");
    if (!this.player) return; // a review in words alone
    this.layers = new Layers(this.player);
    this.pair = new SideBySide({ player: this.player, layers: this.layers, place: this.querySelector("[data-beside]") });
    const { marks, walks } = await get(this.dataset.review);
    await this.player.ready;
    this.layers.marks = marks;
    this.strip = this.querySelector("time-strip");
    this.strip.marks = marks;
    this.#lines();
    this.addEventListener("click", (event) => this.#click(event.target));
    this.player.addEventListener("state", ({ detail }) => this.#reflect(detail));
    this.querySelectorAll("[data-walk]").forEach((place) => this.#walk(place, walks));
    this.#offer();
    this.toggleAttribute("ready", true);
  }

  #walk(place, walks) {
    const walk = walks.find((w) => w.id === Number(place.dataset.walk));
    const audio = place.querySelector("audio");
    if (!walk || !audio) return;
    new WalkReplay({
      walk, player: this.player, layers: this.layers, pair: this.pair, audio,
      caption: this.querySelector("[data-caption]"), onClip: (video) => this.open(video),
    });
    const button = this.querySelector(`[data-play-walk="${walk.id}"]`);
    const show = () => button && (button.textContent = audio.paused ? button.dataset.play : button.dataset.pause);
    for (const name of ["play", "pause", "ended"]) audio.addEventListener(name, show);
    button?.addEventListener("click", () => this.#say(audio));
    const first = this.querySelector("[data-play-first]");
    if (first && !this.said) {
      this.said = audio;
      first.addEventListener("click", () => this.#say(audio));
    }
  }

  /** Film, voice and lines start together, with the picture in sight. */
  #say(audio) {
    if (!audio.paused) return audio.pause();
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.player.scrollIntoView({ block: "start", behavior: still ? "auto" : "smooth" });
    return audio.play();
  }

  #click(target) {
    const go = target.closest("[data-go]");
    if (go) this.#goto(Number(go.dataset.video), Number(go.dataset.go));
    const clip = target.closest("[data-clip]");
    if (clip) this.open(Number(clip.dataset.clip));
    const mark = target.closest("[data-mark]");
    if (mark) this.#toMark(mark.dataset.mark);
    if (target.closest("[data-toggle]")) this.player.toggle();
    if (target.closest("[data-half]")) this.player.setSpeed(this.player.speed === 0.5 ? 1 : 0.5);
  }

  #reflect(detail) {
    const play = this.querySelector("[data-toggle]");
    if ("playing" in detail && play) play.textContent = detail.playing ? play.dataset.pause : play.dataset.play;
    if ("speed" in detail) this.querySelector("[data-half]")?.setAttribute("aria-pressed", String(detail.speed === 0.5));
    if (detail.data || "repetition" in detail) this.#offer();
  }

  /** Only moments that were found in this film are offered. */
  #offer() {
    const there = new Set(this.player.events.map((event) => event.id));
    this.querySelectorAll("[data-mark]").forEach((button) => { button.disabled = !there.has(button.dataset.mark); });
  }

  #toMark(name) {
    const event = this.player.events.find((e) => e.id === name);
    this.querySelectorAll("audio").forEach((audio) => audio.pause());
    if (event) this.player.toTime(event.time_s);
  }

  async open(video) {
    if (this.player.data?.id === video) return;
    this.querySelectorAll("[data-clip]").forEach((b) => {
      if (Number(b.dataset.clip) === video) b.setAttribute("aria-current", "true");
      else b.removeAttribute("aria-current");
    });
    await this.player.load(urlOf("data", video));
    this.#lines();
  }

  #lines() {
    overlaySwitches(this.layers, this.querySelector("[data-overlays]"));
  }

  async #goto(video, time) {
    this.querySelectorAll("audio").forEach((audio) => audio.pause());
    await this.open(video);
    await this.player.toTime(time);
    this.player.scrollIntoView({ block: "nearest" });
  }
}

customElements.define("review-read", ReviewRead);
