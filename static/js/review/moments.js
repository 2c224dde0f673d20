// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// <review-moments>: notes and drawings of a review, in order of time. Draw, write, move,
// undo; every change is kept at once and shown on the clip.
import { clock } from "./time.js";
import { moved, PURPOSES, ready, strength, strokes, touches } from "./marks.js";
import { askPlaces } from "./placer.js";
import { post, Refusal } from "./server.js";
import { say, urlOf } from "./words.js";

const WAIT_MS = 600;
const PICK = 0.018; // how near a pointer must come, in heights of the whole picture

class ReviewMoments extends HTMLElement {
  marks = [];
  #timers = new Map();

  /** The room hands over its player, layers, marks and a place to tell of what was done. */
  begin({ player, layers, strip, marks, undo, tell }) {
    Object.assign(this, { player, layers, strip, undo, tell });
    this.marks = marks;
    this.list = this.querySelector("[data-list]");
    for (const palette of document.querySelectorAll("[data-palette]")) this.#palette(palette);
    document.querySelectorAll("[data-note-here]").forEach((button) =>
      button.addEventListener("click", () => this.note()),
    );
    this.#picking();
    addEventListener("pagehide", () => [...this.#timers.keys()].forEach((key) => this.#flush(key, true)));
    this.render();
  }

  #palette(palette) {
    for (const [purpose, { label }] of Object.entries(PURPOSES)) {
      const button = document.createElement("button");
      Object.assign(button, { type: "button", textContent: label });
      button.dataset.purpose = purpose;
      button.setAttribute("aria-pressed", "false");
      button.addEventListener("click", () => this.draw(purpose, button));
      palette.append(button);
    }
  }

  async draw(purpose, button) {
    const { shape, taps, hint, wanted } = PURPOSES[purpose];
    if (this.player.tool && button?.getAttribute("aria-pressed") === "true") {
      return this.player.tool.stop(null);
    }
    this.#press(button);
    this.tell(say("hint_keys", { hint }));
    const sketch = (points) => strokes({ shape, points, text: "" }, this.player.aspect);
    const start = this.marks.at(-1)?.points.at(-1) ?? [0.5, 0.5];
    const points = await askPlaces(this.player, { count: taps, sketch, start });
    if (!points) {
      if (this.player.tool) return undefined; // another tool was taken up
      this.#press(null);
      return this.tell("");
    }
    const adding = this.add({ purpose, shape, points: ready(shape, points, this.player.aspect), wanted: Boolean(wanted) });
    // The tool stays until Escape, and does not wait for the network.
    if (purpose !== "text") return this.player.tool ? undefined : this.draw(purpose, button);
    this.#press(null);
    this.tell("");
    const mark = await adding;
    if (mark) this.#row(mark.key)?.querySelector("input").focus();
    return undefined;
  }

  /** A mark under the pointer is picked up, moved and put down again. */
  #picking() {
    const pane = this.player.window;
    pane.addEventListener(
      "pointerdown",
      (event) => {
        if (event.button || this.player.tool) return;
        const at = this.player.pointOf(event);
        const mark = this.#under(at);
        if (mark) this.#carry(mark, at, event);
      },
      { capture: true },
    );
  }

  #under(at) {
    const shown = this.marks.filter(
      (mark) => mark.video === this.player.data?.id && mark.points.length && strength(mark, this.player.time) === 1,
    );
    const reach = PICK / this.player.view.scale;
    return shown.findLast((mark) => touches(mark, at, reach, this.player.aspect));
  }

  #carry(mark, from, event) {
    event.preventDefault();
    event.stopPropagation();
    const pane = this.player.window;
    const before = mark.points;
    let changed = false;
    pane.setPointerCapture(event.pointerId);
    const stopping = new AbortController();
    const { signal } = stopping;
    pane.addEventListener(
      "pointermove",
      (move) => {
        const [x, y] = this.player.pointOf(move);
        mark.points = moved(before, null, x - from[0], y - from[1]);
        changed = true;
        this.#show();
        move.stopPropagation();
      },
      { signal, capture: true },
    );
    const drop = (end) => {
      stopping.abort();
      end.stopPropagation();
      if (!changed) return this.#row(mark.key)?.querySelector("input").focus();
      this.change(mark.key, { points: mark.points });
      this.undo.push({ what: "mark", undo: () => this.change(mark.key, { points: before }) });
    };
    pane.addEventListener("pointerup", drop, { signal, capture: true });
    pane.addEventListener("pointercancel", drop, { signal, capture: true });
  }

  #press(button) {
    document.querySelectorAll("[data-purpose]").forEach((b) => b.setAttribute("aria-pressed", String(b === button)));
  }

  async note() {
    const mark = await this.add({ shape: "note", purpose: "note", points: [] });
    if (mark) this.#row(mark.key)?.querySelector("input").focus();
  }

  async add(fields) {
    const mark = {
      key: crypto.randomUUID(), video: this.player.data.id, start_s: this.player.time, end_s: null,
      text: "", wanted: false, ...fields,
    };
    this.marks.push(mark);
    this.render();
    const stands = await this.#keep(mark, () => post(this.dataset.add, mark));
    if (!stands) return null;
    this.dispatchEvent(new CustomEvent("drawn", { detail: { key: mark.key } }));
    this.undo.push({ what: "mark", undo: () => this.remove(mark.key, false) });
    return mark;
  }

  async remove(key, undoable = true) {
    const mark = this.#find(key);
    if (!mark) return;
    this.marks = this.marks.filter((m) => m !== mark);
    this.render();
    this.dispatchEvent(new CustomEvent("drawn", { detail: { key, gone: true } }));
    if (mark.id) await this.#keep(mark, () => post(urlOf("remove_mark", mark.id)));
    if (undoable) {
      const { id, ...again } = mark;
      this.undo.push({ what: "mark", undo: () => this.add({ ...again, key: crypto.randomUUID() }) });
    }
  }

  change(key, fields, wait = 0) {
    const mark = this.#find(key);
    if (!mark) return;
    Object.assign(mark, fields);
    this.#show();
    clearTimeout(this.#timers.get(key)?.timer);
    const pending = { ...(this.#timers.get(key)?.fields ?? {}), ...fields };
    this.#timers.set(key, { fields: pending, timer: setTimeout(() => this.#flush(key), wait) });
  }

  async #flush(key, leaving = false) {
    const pending = this.#timers.get(key);
    const mark = this.#find(key);
    this.#timers.delete(key);
    if (!pending || !mark?.id) return;
    clearTimeout(pending.timer);
    const body = { ...pending.fields, revision: mark.revision };
    const url = urlOf("change_mark", mark.id);
    await this.#keep(mark, () => post(url, body, leaving ? { keepalive: true } : {}));
  }

  /** Every row that is not yet kept, kept now: before sending the review. */
  async resolve() {
    await Promise.all([...this.#timers.keys()].map((key) => this.#flush(key)));
  }

  async #keep(mark, send) {
    try {
      const answer = await send();
      if (answer?.id) Object.assign(mark, { id: answer.id, revision: answer.revision });
      return true;
    } catch (error) {
      this.tell(error.message);
      if (error instanceof Refusal && error.answer.copy) {
        Object.assign(mark, error.answer.theirs);
        this.marks.push(error.answer.copy);
      } else if (error instanceof Refusal && !mark.id) {
        this.marks = this.marks.filter((m) => m !== mark);
      } else if (!(error instanceof Refusal)) {
        this.tell(say("mark_not_kept"));
        setTimeout(() => this.#keep(mark, send), 4000);
        return true;
      }
      this.render();
      return false;
    }
  }

  #find(key) {
    return this.marks.find((mark) => mark.key === key);
  }

  #row(key) {
    return this.list.querySelector(`[data-key="${key}"]`);
  }

  #show() {
    this.layers.marks = this.marks;
    this.layers.draw();
    this.strip.marks = this.marks;
  }

  render() {
    this.#show();
    const active = document.activeElement;
    const held = active?.closest?.("[data-key]")?.dataset.key;
    const field = active?.name;
    this.list.replaceChildren();
    const here = this.marks.filter((m) => m.video === this.player.data?.id);
    for (const mark of here.sort((a, b) => a.start_s - b.start_s)) this.list.append(this.#item(mark));
    this.hidden = false;
    if (held && field) this.#row(held)?.querySelector(`[name=${field}]`)?.focus();
  }

  #item(mark) {
    const item = document.createElement("li");
    item.dataset.key = mark.key;
    const name = PURPOSES[mark.purpose]?.label ?? say("note");
    const range = mark.end_s ? say("from_to", { from: clock(mark.start_s), to: clock(mark.end_s) }) : clock(mark.start_s);
    const go = button(item, `${name}, ${range}`, () => this.player.toTime(mark.start_s));
    go.className = "quiet go";
    const text = document.createElement("input");
    Object.assign(text, { name: "text", value: mark.text, maxLength: 300, placeholder: say("what_you_see") });
    text.setAttribute("aria-label", say("words_for", { name: name.toLowerCase(), range }));
    text.addEventListener("input", () => this.change(mark.key, { text: text.value }, WAIT_MS));
    text.addEventListener("blur", () => this.#flush(mark.key));
    item.append(text);
    const actions = item.appendChild(document.createElement("div"));
    actions.className = "deeds";
    if (mark.points.length) {
      button(actions, say("move"), () => this.#move(mark));
      const wanted = button(actions, say("on_drill_page"), () => {
        this.change(mark.key, { wanted: !mark.wanted });
        this.render();
      });
      wanted.setAttribute("aria-pressed", String(mark.wanted));
    }
    button(actions, mark.end_s ? say("this_moment_only") : say("until_here"), () => {
      const end = mark.end_s ? null : this.player.time;
      if (end !== null && end <= mark.start_s) return this.tell(say("later_first"));
      this.change(mark.key, { end_s: end });
      this.render();
    });
    button(actions, say("remove"), () => this.remove(mark.key));
    return item;
  }

  /** Ask for the nearest end's new place; with keys the first point moves. */
  async #move(mark) {
    await this.player.toTime(mark.start_s);
    this.tell(say("tap_to_move"));
    const first = mark.points[0];
    const whole = (points) => moved(mark.points, null, points.at(-1)[0] - first[0], points.at(-1)[1] - first[1]);
    const sketch = (points) => strokes({ ...mark, points: whole(points) }, this.player.aspect);
    const points = await askPlaces(this.player, { count: 1, sketch, start: first });
    this.tell("");
    if (!points) return;
    const before = mark.points;
    this.change(mark.key, { points: whole(points) });
    this.undo.push({ what: "mark", undo: () => this.change(mark.key, { points: before }) });
  }
}

function button(parent, text, act) {
  const made = Object.assign(document.createElement("button"), { type: "button", textContent: text });
  made.addEventListener("click", act);
  parent.append(made);
  return made;
}

customElements.define("review-moments", ReviewMoments);
