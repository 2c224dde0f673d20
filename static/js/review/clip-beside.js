// <clip-beside data-clips="1,2">: the other clip of the same request beside the one in hand,
// at the same moment, where there is room for two.
import { sharedEvents, stretched } from "./align.js";
import { nearestFrame } from "./time.js";
import "./frame-player.js";
import { say, urlOf } from "./words.js";

const ROOM = "(min-width: 1101px)";

class ClipBeside extends HTMLElement {
  /** @type {any} */ player;
  /** @type {any} */ other;
  /** @type {(id: number) => void} */ open;

  begin({ player, open }) {
    Object.assign(this, { player, open });
    this.clips = this.dataset.clips.split(",").map(Number);
    this.wide = matchMedia(ROOM);
    this.wide.addEventListener("change", () => this.choose());
    player.addEventListener("frame", () => this.follow());
    player.addEventListener("state", ({ detail }) => detail.data && this.choose());
    new MutationObserver(() => this.choose()).observe(document.body, { attributeFilter: ["class"] });
    this.choose();
  }

  /** The clip beside is the first other one; none on a narrow page or while two are compared. */
  async choose() {
    const here = this.player.data?.id;
    const video = this.clips.find((clip) => clip !== here);
    this.hidden = !this.wide.matches || !video || document.body.classList.contains("comparing");
    if (this.hidden || this.other?.data?.id === video || this.loading === video) return;
    this.loading = video;
    if (!this.other) this.#make();
    await this.other.load(urlOf("data", video));
    this.loading = null;
    const switcher = document.querySelector(`[data-clip="${video}"]`);
    this.mark.textContent = switcher?.textContent.trim() ?? "";
    this.mark.title = say("work_on_this");
    this.follow();
  }

  #make() {
    this.other = document.createElement("frame-player");
    this.other.dataset.label = say("lines_beside");
    this.other.setAttribute("zooms", "");
    this.mark = Object.assign(document.createElement("button"), { type: "button", className: "tabmark" });
    this.mark.addEventListener("click", () => this.open(this.other.data.id));
    this.append(this.other, this.mark);
  }

  follow() {
    const { other, player } = this;
    if (this.hidden || !other?.data?.url || !player.data) return null;
    const pairs = sharedEvents(...[player, other].map((p) => p.data.repetitions[p.repetition]?.events));
    return other.show(nearestFrame(other.times, stretched(pairs, player.time)));
  }
}

customElements.define("clip-beside", ClipBeside);
