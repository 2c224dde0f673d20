// <review-read>: a sent review for the student. Clip, marks, and what the coach said,
// replayed over the clip; pause to look around, go on to follow again.
import "./frame-player.js";
import "./time-strip.js";
import "./player-controls.js";
import { Layers, overlaySwitches } from "./layers.js";
import { get } from "./server.js";
import { WalkReplay } from "./walk-replay.js";

class ReviewRead extends HTMLElement {
  async connectedCallback() {
    this.player = this.querySelector("frame-player");
    if (!this.player) return; // a review in words alone
    this.layers = new Layers(this.player);
    const { marks, walks } = await get(this.dataset.review);
    await this.player.ready;
    this.layers.marks = marks;
    this.strip = this.querySelector("time-strip");
    this.strip.marks = marks;
    this.#lines();
    this.addEventListener("click", (event) => {
      const go = event.target.closest("[data-go]");
      if (go) this.#goto(Number(go.dataset.video), Number(go.dataset.go));
      const clip = event.target.closest("[data-clip]");
      if (clip) this.open(Number(clip.dataset.clip));
    });
    this.querySelectorAll("[data-walk]").forEach((place) => {
      const walk = walks.find((w) => w.id === Number(place.dataset.walk));
      const audio = place.querySelector("audio");
      if (!walk || !audio) return;
      new WalkReplay({
        walk, player: this.player, layers: this.layers, audio,
        caption: place.querySelector("[data-caption]"), onClip: (video) => this.open(video),
      });
      place.addEventListener("click", (event) => {
        const button = event.target.closest("[data-play-walk]");
        if (!button) return;
        if (audio.paused) {
          this.player.scrollIntoView({ block: "start", behavior: "smooth" });
          audio.play();
        } else audio.pause();
      });
      const button = place.querySelector("[data-play-walk]");
      const show = () => button && (button.textContent = audio.paused ? button.dataset.play : button.dataset.pause);
      for (const name of ["play", "pause", "ended"]) audio.addEventListener(name, show);
    });
    this.toggleAttribute("ready", true);
  }

  async open(video) {
    if (this.player.data?.id === video) return;
    this.querySelectorAll("[data-clip]").forEach((b) => {
      if (Number(b.dataset.clip) === video) b.setAttribute("aria-current", "true");
      else b.removeAttribute("aria-current");
    });
    await this.player.load(`/review/video/${video}/data`);
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
