// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// <player-controls for="player">: steps, events, play, speed, loop, closer and brightness,
// around buttons that the server rendered: [data-do], and keys when `keys` is given.
import { actionOf, isWriting, keyMap, keyName } from "./keys.js";

export const DEEDS = {
  back: (p) => p.step(-1),
  forward: (p) => p.step(1),
  back10: (p) => p.step(-10),
  forward10: (p) => p.step(10),
  previous: (p) => p.toNeighbour(-1),
  next: (p) => p.toNeighbour(1),
  play: (p) => p.toggle(),
  slower: (p) => p.changeSpeed(-1),
  faster: (p) => p.changeSpeed(1),
  closer: (p) => p.closer(),
  farther: (p) => p.closer(1 / 1.6),
  body: (p) => p.fill(),
  whole: (p) => p.setView({ scale: 1, x: 0, y: 0 }),
  left: (p) => p.setView({ ...p.view, x: p.view.x + 0.2 }),
  right: (p) => p.setView({ ...p.view, x: p.view.x - 0.2 }),
  up: (p) => p.setView({ ...p.view, y: p.view.y + 0.2 }),
  down: (p) => p.setView({ ...p.view, y: p.view.y - 0.2 }),
};

class PlayerControls extends HTMLElement {
  keys = keyMap();
  keysOn = true;
  clicked = null; // the control that a pointer touched last

  connectedCallback() {
    this.player = document.getElementById(this.getAttribute("for"));
    this.addEventListener("click", (event) => {
      const button = event.target.closest("[data-do]");
      if (button) this.do(button.dataset.do);
    });
    this.addEventListener("change", (event) => {
      if (event.target.matches("[data-loop]")) this.#loop(true);
      if (event.target.matches("[data-speed]")) this.player.setSpeed(Number(event.target.value));
    });
    this.addEventListener("input", (event) => {
      if (event.target.matches("[data-bright]")) this.player.setBright(Number(event.target.value));
    });
    this.player.addEventListener("state", ({ detail }) => this.#reflect(detail));
    if (this.hasAttribute("keys")) {
      document.addEventListener("keydown", (event) => this.#key(event));
      document.addEventListener(
        "pointerdown",
        ({ target }) => (this.clicked = target.closest?.("button, a, summary, input")),
        { capture: true },
      );
    }
    if (this.player.data) this.#reflect({ data: true });
  }

  do(action) {
    if (action === "loop") return this.#loop(!this.player.loop);
    return DEEDS[action]?.(this.player);
  }

  #loop(on) {
    const [from, to] = ["from", "to"].map((n) => this.querySelector(`[data-loop=${n}]`));
    if (!on || !from) return this.player.setLoop(null, null);
    this.player.setLoop(from.value, to.value);
    if (this.player.loop && !this.player.playing) this.player.play();
  }

  #reflect(detail) {
    const { player } = this;
    if ("playing" in detail) {
      const play = this.querySelector("[data-do=play]");
      if (play) {
        const word = play.querySelector("span") ?? play;
        word.textContent = detail.playing ? play.dataset.pause : play.dataset.play;
        play.classList.toggle("playing", detail.playing);
      }
    }
    if ("speed" in detail) {
      const speed = this.querySelector("[data-speed]");
      if (speed) speed.value = String(detail.speed);
    }
    if ("loop" in detail) {
      this.querySelector("[data-do=loop]")?.setAttribute("aria-pressed", String(Boolean(detail.loop)));
    }
    if ("bright" in detail) {
      const bright = this.querySelector("[data-bright]");
      if (bright) bright.value = String(detail.bright);
    }
    if (detail.data || "repetition" in detail) this.#offer(player.events);
  }

  /** The events of this repetition to loop between: address to impact unless chosen. */
  #offer(events) {
    const text = JSON.parse(document.querySelector("time-strip")?.dataset.text || "{}");
    for (const [name, likely] of [["from", "top"], ["to", "impact"]]) {
      const select = this.querySelector(`[data-loop=${name}]`);
      if (!select) continue;
      const chosen = select.value || likely;
      select.replaceChildren(...events.map(({ id }) => new Option(text[id] ?? id, id)));
      if (events.some((e) => e.id === chosen)) select.value = chosen;
      else if (name === "to") select.selectedIndex = select.options.length - 1;
    }
  }

  #key(event) {
    if (!this.keysOn || event.defaultPrevented || isWriting(event.target)) return;
    const action = actionOf(this.keys, keyName(event));
    if (!action) return;
    // A control reached by keys keeps its own Space; one that was clicked does not hold it back.
    const control = event.target.closest?.("button, a, summary, input");
    if (event.key === " " && control && control !== this.clicked) return;
    if (action === "undo") document.dispatchEvent(new CustomEvent("review:undo"));
    else this.do(action);
    event.preventDefault();
  }
}

customElements.define("player-controls", PlayerControls);
