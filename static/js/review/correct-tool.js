// <correct-tool>: put an event, a joint or the shaft where it is seen. Figures follow at once,
// the original is kept, and every correction can be taken back.
import { shaftAt, namedPoint } from "./curves.js";
import { Ink } from "./ink.js";
import { askPlaces } from "./placer.js";
import { post } from "./server.js";
import { clock } from "./time.js";

class CorrectTool extends HTMLElement {
  begin({ player, undo, tell, refreshed }) {
    Object.assign(this, { player, undo, tell, refreshed });
    this.words = JSON.parse(document.querySelector("time-strip").dataset.words || "{}");
    this.handles = new Ink(player, "handles");
    this.event = this.querySelector("[data-event]");
    this.joint = this.querySelector("[data-joint]");
    this.querySelector("[data-do-event]").addEventListener("click", () => this.#event());
    this.querySelector("[data-do-joint]").addEventListener("click", () => this.#joint());
    this.querySelector("[data-do-shaft]").addEventListener("click", () => this.#shaft());
    this.joint.addEventListener("change", () => this.#ring());
    player.addEventListener("frame", () => this.#ring());
    player.addEventListener("state", ({ detail }) => {
      if (detail.data || "repetition" in detail) this.render();
    });
    if (player.data) this.render();
  }

  render() {
    const { data, repetition } = this.player;
    const rep = data.repetitions[repetition];
    const open = data.state === "ready" && rep;
    this.querySelectorAll("button, select").forEach((node) => (node.disabled = !open));
    if (!open) return;
    const chosen = this.event.value;
    this.event.replaceChildren(...Object.keys(rep.events).map((id) => new Option(this.words[id] ?? id, id)));
    if (chosen in rep.events) this.event.value = chosen;
    const list = this.querySelector("[data-list]");
    list.replaceChildren();
    for (const correction of data.corrections) list.append(this.#row(correction));
    this.#ring();
  }

  #row(correction) {
    const item = document.createElement("li");
    const [kind, name] = correction.target.split(":");
    const what = kind === "event" ? (this.words[name] ?? name) : kind === "joint" ? this.#jointName(name) : "shaft";
    const go = Object.assign(document.createElement("button"), {
      type: "button", className: "quiet go", textContent: `${what}, ${clock(correction.time_s)}`,
    });
    go.addEventListener("click", () => this.player.toTime(correction.time_s));
    const back = Object.assign(document.createElement("button"), { type: "button", textContent: "Take back" });
    back.setAttribute("aria-label", `Take back: ${go.textContent}`);
    back.addEventListener("click", () => this.takeBack(correction.id));
    item.append(go, back);
    return item;
  }

  #jointName(name) {
    return [...this.joint.options].find((option) => option.value === name)?.text ?? name.replaceAll("_", " ");
  }

  /** A ring where the chosen joint was read, while this tool is open. */
  #ring() {
    this.handles.clear();
    if (this.closest("[hidden]") || !this.player.data || !this.joint.value) return;
    const point = namedPoint(this.player.data, this.joint.value, this.player.frame);
    if (point) this.handles.draw({ rings: [{ centre: point, edge: [point[0], point[1] + 0.018] }] });
  }

  shown() {
    this.#ring();
  }

  #event() {
    const { player } = this;
    return this.#send(`event:${this.event.value}`, { repetition: player.repetition });
  }

  async #joint() {
    const { player } = this;
    this.tell(`Tap where the ${this.#jointName(this.joint.value)} is. Arrow keys and Enter do the same.`);
    const start = namedPoint(player.data, this.joint.value, player.frame) ?? [0.5, 0.5];
    const sketch = ([point]) => ({ rings: [{ centre: point, edge: [point[0], point[1] + 0.018] }] });
    const points = await askPlaces(player, { count: 1, sketch, start, snapping: false });
    this.tell("");
    if (points) await this.#send(`joint:${this.joint.value}`, { x: points[0][0], y: points[0][1] });
  }

  async #shaft() {
    const { player } = this;
    this.tell("Tap the hands on the handle, then the club head. Arrow keys and Enter do the same.");
    const start = shaftAt(player.data, player.frame)?.[0] ?? namedPoint(player.data, "grip", player.frame) ?? [0.5, 0.5];
    const sketch = (points) => ({ lines: points.length > 1 ? [points] : [] });
    const points = await askPlaces(player, { count: 2, sketch, start, snapping: false });
    this.tell("");
    if (points) await this.#send("shaft", { grip: points[0], head: points[1] });
  }

  async #send(target, value) {
    const { player } = this;
    const started = performance.now();
    try {
      const answer = await post(`/review/video/${player.data.id}/correct`, { target, time_s: player.time, value });
      this.#apply(answer);
      this.dataset.tookMs = String(Math.round(performance.now() - started));
      this.undo.push({ what: "correction", undo: () => this.takeBack(answer.correction) });
      this.tell("Moved. The figures follow; the first reading is kept beside them.");
    } catch (error) {
      this.tell(error.message);
    }
  }

  async takeBack(id) {
    try {
      this.#apply(await post(`/review/correction/${id}/undo`));
      this.tell("Taken back: what the computer read stands again.");
    } catch (error) {
      this.tell(error.message);
    }
  }

  #apply({ html, repetitions, corrections }) {
    this.player.refresh({ repetitions, corrections });
    this.refreshed(html);
    this.dispatchEvent(new CustomEvent("review:figures", { bubbles: true, detail: { video: this.player.data.id } }));
  }
}

customElements.define("correct-tool", CorrectTool);
