// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// <compare-tool>: another clip of the same student beside this one; one slider moves both.
import { fragment } from "./server.js";
import { SideBySide } from "./side-by-side.js";
import { say, urlOf } from "./words.js";

class CompareTool extends HTMLElement {
  begin({ player, layers, tell, beside, open = () => {} }) {
    Object.assign(this, { player, layers, tell, beside, open });
    this.pair = new SideBySide({ player, layers, place: beside });
    this.clip = this.querySelector("[data-other]");
    this.how = this.querySelector("[data-how]");
    this.text = JSON.parse(document.querySelector("time-strip").dataset.text || "{}");
    this.clip?.addEventListener("change", () => this.choose(this.clip.value));
    this.how?.addEventListener("change", () => this.pair.align(this.how.value));
    this.querySelector("[data-stop]")?.addEventListener("click", () => this.choose(""));
    this.querySelectorAll("[data-lie]").forEach((b) => b.addEventListener("click", () => this.lie(b.dataset.lie)));
    const share = this.querySelector("#compare-share");
    share?.addEventListener("input", () => this.pair.setShare(share.value / 100));
    this.#looking();
    player.addEventListener("state", ({ detail }) => {
      if ((!detail.data && !("repetition" in detail)) || !this.pair.shown) return;
      this.ways();
      this.#differences();
    });
  }

  async choose(video) {
    this.classList.toggle("comparing", Boolean(video));
    this.querySelector("[data-differences]").replaceChildren();
    this.querySelector("[data-look]")?.toggleAttribute("hidden", !video);
    this.clip.value = video;
    this.layers.point(null);
    this.pair.point(null);
    this.beside.querySelector("[data-title]").textContent = video ? (this.clip.selectedOptions[0]?.text ?? "") : "";
    await this.pair.open(Number(video) || null);
    if (!video) return this.lie("side");
    this.ways();
    return this.#differences();
  }

  lie(way) {
    this.querySelectorAll("[data-lie]").forEach((b) => b.setAttribute("aria-pressed", String(b.dataset.lie === way)));
    this.querySelector("[data-share]")?.toggleAttribute("hidden", way === "side");
    this.pair.lie(way);
  }

  /** The pressed change is drawn on both golfers, at its moment. */
  #looking() {
    this.querySelector("[data-differences]").addEventListener("click", (event) => {
      const look = event.target.closest("[data-now]");
      if (!look) return;
      const on = look.getAttribute("aria-pressed") !== "true";
      this.querySelectorAll("[data-now]").forEach((b) => b.setAttribute("aria-pressed", String(on && b === look)));
      this.layers.point(on ? JSON.parse(look.dataset.now) : null);
      this.pair.point(on && look.dataset.then ? JSON.parse(look.dataset.then) : null);
      if (on) this.player.toEvent(look.dataset.event);
    });
  }

  /** What changed, in words, for the swing in hand. */
  async #differences() {
    const [a, b] = [this.pair.video, this.player.data.id];
    const url = `${urlOf("compare", "")}?a=${a}&b=${b}&rep=${this.player.repetition}`;
    this.querySelector("[data-differences]").innerHTML = await fragment(url);
  }

  /** The ways in which both can be moved together: events that both have. */
  ways() {
    const chosen = this.how.value;
    const options = [new Option(say("event_by_event"), "stretched")];
    for (const { id } of this.pair.pairs) options.push(new Option(say("laid_over", { event: this.text[id] ?? id }), id));
    this.how.replaceChildren(...options);
    if (options.some((o) => o.value === chosen)) this.how.value = chosen;
    if (this.how.value !== this.pair.how) this.pair.align(this.how.value);
  }
}

customElements.define("compare-tool", CompareTool);
