// <compare-tool>: another clip of the same student beside this one; one slider moves both.
import { atEvent, sharedEvents, stretched } from "./align.js";
import { fragment } from "./server.js";
import { nearestFrame } from "./time.js";
import "./frame-player.js";
import { Layers } from "./layers.js";

class CompareTool extends HTMLElement {
  begin({ player, layers, tell, beside, open = () => {} }) {
    Object.assign(this, { player, layers, tell, beside, open });
    this.clip = this.querySelector("[data-other]");
    this.how = this.querySelector("[data-how]");
    this.words = JSON.parse(document.querySelector("time-strip").dataset.words || "{}");
    this.clip?.addEventListener("change", () => this.choose(this.clip.value));
    this.how?.addEventListener("change", () => this.align());
    this.querySelector("[data-stop]")?.addEventListener("click", () => this.choose(""));
    player.addEventListener("frame", () => this.follow());
    player.addEventListener("state", ({ detail }) => {
      if (!detail.data && !("repetition" in detail)) return;
      this.align();
      if (this.other?.data && !this.beside.hidden) this.#differences();
    });
    layers.player.addEventListener("state", ({ detail }) => {
      if ("overlay" in detail) this.otherLayers?.toggle(detail.overlay, detail.on);
    });
  }

  async choose(video) {
    this.beside.hidden = !video;
    this.classList.toggle("comparing", Boolean(video));
    document.body.classList.toggle("comparing", Boolean(video));
    const told = this.querySelector("[data-differences]");
    told.replaceChildren();
    if (!video) {
      this.clip.value = "";
      return;
    }
    if (!this.other) {
      this.other = document.createElement("frame-player");
      this.other.dataset.label = "Lines on the other clip";
      this.beside.querySelector("[data-player]").append(this.other);
      this.otherLayers = new Layers(this.other);
    }
    this.beside.querySelector("[data-title]").textContent = this.clip.selectedOptions[0]?.text ?? "";
    await this.other.load(`/review/video/${video}/data`);
    this.otherLayers.on = new Set(this.layers.on);
    const mirrored = this.other.data.handedness !== this.player.data.handedness;
    this.other.classList.toggle("mirrored", mirrored);
    this.align();
    await this.#differences();
  }

  /** What changed, in words, for the swing in hand. */
  async #differences() {
    const [a, b] = [this.other.data.id, this.player.data.id];
    const url = `/review/compare/?a=${a}&b=${b}&rep=${this.player.repetition}`;
    this.querySelector("[data-differences]").innerHTML = await fragment(url);
  }

  get pairs() {
    const [a, b] = [this.player, this.other].map((p) => p.data.repetitions[p.repetition]?.events);
    return sharedEvents(a, b);
  }

  align() {
    if (!this.other?.data || this.beside.hidden) return;
    const chosen = this.how.value;
    const options = [new Option("event by event, stretched", "stretched")];
    for (const { id } of this.pairs) options.push(new Option(`laid over each other at ${this.words[id] ?? id}`, id));
    this.how.replaceChildren(...options);
    if (options.some((o) => o.value === chosen)) this.how.value = chosen;
    this.follow();
  }

  follow() {
    if (!this.other?.data?.url || this.beside.hidden) return;
    const { pairs } = this;
    const time = this.player.time;
    const there = this.how.value === "stretched" ? stretched(pairs, time) : atEvent(pairs, this.how.value, time);
    return this.other.show(nearestFrame(this.other.times, there));
  }
}

customElements.define("compare-tool", CompareTool);
