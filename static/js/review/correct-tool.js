// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// <correct-tool>: put an event, a joint or the shaft where it is seen. Figures follow at once,
// the original is kept, and every correction can be taken back.
import { shaftAt, namedPoint } from "./curves.js";
import { inside, snap } from "./geometry.js";
import { Ink } from "./ink.js";
import { askPlaces } from "./placer.js";
import { post } from "./server.js";
import { clock } from "./time.js";
import { say, urlOf } from "./words.js";

const GRAB = 0.03; // how near a pointer must come to a joint, in heights of the whole picture

class CorrectTool extends HTMLElement {
  begin({ player, undo, tell, refreshed }) {
    Object.assign(this, { player, undo, tell, refreshed });
    this.text = JSON.parse(document.querySelector("time-strip").dataset.text || "{}");
    this.handles = new Ink(player, "handles");
    this.event = this.querySelector("[data-event]");
    this.joint = this.querySelector("[data-joint]");
    this.querySelector("[data-do-event]").addEventListener("click", () => this.#event());
    this.querySelector("[data-do-joint]").addEventListener("click", () => this.#joint());
    this.querySelector("[data-do-shaft]").addEventListener("click", () => this.#shaft());
    this.joint.addEventListener("change", () => this.#ring());
    this.#dragging();
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
    this.event.replaceChildren(...Object.keys(rep.events).map((id) => new Option(this.text[id] ?? id, id)));
    if (chosen in rep.events) this.event.value = chosen;
    this.#stand();
    const list = this.querySelector("[data-list]");
    list.replaceChildren();
    for (const correction of data.corrections) list.append(this.#row(correction));
    this.#ring();
  }

  #row(correction) {
    const item = document.createElement("li");
    const [kind, name] = correction.target.split(":");
    const what = kind === "event" ? (this.text[name] ?? name) : kind === "joint" ? this.#jointName(name) : say("shaft");
    const go = Object.assign(document.createElement("button"), {
      type: "button", className: "quiet go", textContent: `${what}, ${clock(correction.time_s)}`,
    });
    go.addEventListener("click", () => this.player.toTime(correction.time_s));
    const back = Object.assign(document.createElement("button"), { type: "button", textContent: say("take_back") });
    back.setAttribute("aria-label", say("take_back_what", { what: go.textContent }));
    back.addEventListener("click", () => this.takeBack(correction.id));
    item.append(go, back);
    return item;
  }

  #jointName(name) {
    return [...this.joint.options].find((option) => option.value === name)?.text ?? name.replaceAll("_", " ");
  }

  /** Small handles on every joint and a ring on the chosen one, while this tool is open. */
  #ring() {
    this.handles.clear();
    if (this.closest("[hidden]") || !this.player.data || !this.joint.value) return;
    const dots = this.#joints().map(({ point }) => point);
    if (dots.length) this.handles.draw({ dots }, "grabs");
    const point = namedPoint(this.player.data, this.joint.value, this.player.frame);
    if (point) this.handles.draw({ rings: [{ centre: point, edge: [point[0], point[1] + 0.018] }] });
  }

  #joints() {
    return [...this.joint.options]
      .map(({ value: name }) => ({ name, point: namedPoint(this.player.data, name, this.player.frame) }))
      .filter(({ point }) => point);
  }

  shown() {
    this.#stand();
    this.#ring();
  }

  /** The moment offered first is the one the clip stands nearest to. */
  #stand() {
    let nearest = null;
    for (const event of this.player.events) {
      if (!nearest || Math.abs(event.time_s - this.player.time) < Math.abs(nearest.time_s - this.player.time)) nearest = event;
    }
    if (nearest) this.event.value = nearest.id;
  }

  // A joint is dragged from where it was read to where it is; letting go moves the figures.

  #dragging() {
    const pane = this.player.window;
    pane.addEventListener(
      "pointerdown",
      (event) => {
        if (event.button || this.player.tool || this.closest("[hidden]") || !this.player.data) return;
        const at = this.player.pointOf(event);
        const grabbed = snap(at, this.#joints(), GRAB / this.player.view.scale, this.player.aspect);
        if (grabbed) this.#carry(grabbed, event);
      },
      { capture: true },
    );
  }

  #carry({ name, point: was }, event) {
    event.preventDefault();
    event.stopPropagation();
    this.joint.value = name;
    this.player.pause();
    const pane = this.player.window;
    pane.setPointerCapture(event.pointerId);
    const stopping = new AbortController();
    const { signal } = stopping;
    let to = null;
    pane.addEventListener(
      "pointermove",
      (move) => {
        move.stopPropagation();
        to = inside(this.player.pointOf(move));
        this.handles.clear();
        this.handles.draw({ lines: [[was, to]], rings: [{ centre: to, edge: [to[0], to[1] + 0.012] }] });
      },
      { signal, capture: true },
    );
    const drop = (end) => {
      stopping.abort();
      end.stopPropagation();
      this.#ring();
      if (to && end.type === "pointerup") this.#send(`joint:${name}`, { x: to[0], y: to[1] });
    };
    pane.addEventListener("pointerup", drop, { signal, capture: true });
    pane.addEventListener("pointercancel", drop, { signal, capture: true });
  }

  #event() {
    const { player } = this;
    return this.#send(`event:${this.event.value}`, { repetition: player.repetition });
  }

  #joint() {
    return this.#place(this.joint.value);
  }

  /** Joints one after another at one moment, by finger, pointer or keys; Escape ends it. */
  async putRight(names, time) {
    await this.player.toTime(time);
    for (const name of names) {
      this.joint.value = name;
      this.#ring();
      if (!(await this.#place(name))) return;
    }
  }

  async #place(name) {
    const { player } = this;
    this.tell(say("tap_joint", { joint: this.#jointName(name) }));
    const start = namedPoint(player.data, name, player.frame) ?? [0.5, 0.5];
    const sketch = ([point]) => ({ rings: [{ centre: point, edge: [point[0], point[1] + 0.018] }] });
    const points = await askPlaces(player, { count: 1, sketch, start, snapping: false });
    this.tell("");
    if (points) await this.#send(`joint:${name}`, { x: points[0][0], y: points[0][1] });
    return Boolean(points);
  }

  async #shaft() {
    const { player } = this;
    this.tell(say("tap_shaft"));
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
      const answer = await post(urlOf("correct", player.data.id), { target, time_s: player.time, value });
      this.#apply(answer);
      this.dataset.tookMs = String(Math.round(performance.now() - started));
      this.undo.push({ what: "correction", undo: () => this.takeBack(answer.correction) });
      this.tell(say("moved_figures"));
    } catch (error) {
      this.tell(error.message);
    }
  }

  async takeBack(id) {
    try {
      this.#apply(await post(urlOf("undo", id)));
      this.tell(say("taken_back_reading"));
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
