// <review-moments>: notes and drawings of a review, in order of time. Draw, write, move,
// undo; every change is kept at once and shown on the clip.
import { clock } from "./time.js";
import { moved, PURPOSES, ready, strokes } from "./marks.js";
import { askPlaces } from "./placer.js";
import { post, Refusal } from "./server.js";

const WAIT_MS = 600;

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
    this.tell(`${hint} Arrow keys and Enter do the same; Escape stops.`);
    const sketch = (points) => strokes({ shape, points, words: "" }, this.player.aspect);
    const start = this.marks.at(-1)?.points.at(-1) ?? [0.5, 0.5];
    const points = await askPlaces(this.player, { count: taps, sketch, start });
    this.#press(null);
    this.tell("");
    if (!points) return;
    const mark = await this.add({ purpose, shape, points: ready(shape, points, this.player.aspect), wanted: Boolean(wanted) });
    if (mark && purpose === "words") this.#row(mark.key)?.querySelector("input").focus();
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
      words: "", wanted: false, ...fields,
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
    if (mark.id) await this.#keep(mark, () => post(`/review/mark/${mark.id}/remove`));
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
    const url = `/review/mark/${mark.id}/change`;
    await this.#keep(mark, () => post(url, body, leaving ? { keepalive: true } : {}));
  }

  /** Every row that is not yet kept, kept now: before sending the review. */
  async settle() {
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
        this.tell("Not kept yet, no connection. It stays on this page; trying again.");
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
    const name = PURPOSES[mark.purpose]?.label ?? "Note";
    const range = mark.end_s ? `${clock(mark.start_s)} to ${clock(mark.end_s)}` : clock(mark.start_s);
    const go = button(item, `${name}, ${range}`, () => this.player.toTime(mark.start_s));
    go.className = "quiet go";
    const words = document.createElement("input");
    Object.assign(words, { name: "words", value: mark.words, maxLength: 300, placeholder: "What you see here" });
    words.setAttribute("aria-label", `Words for ${name.toLowerCase()} at ${range}`);
    words.addEventListener("input", () => this.change(mark.key, { words: words.value }, WAIT_MS));
    words.addEventListener("blur", () => this.#flush(mark.key));
    item.append(words);
    const actions = item.appendChild(document.createElement("div"));
    actions.className = "deeds";
    if (mark.points.length) {
      button(actions, "Move", () => this.#move(mark));
      const wanted = button(actions, "On the drill page", () => {
        this.change(mark.key, { wanted: !mark.wanted });
        this.render();
      });
      wanted.setAttribute("aria-pressed", String(mark.wanted));
    }
    button(actions, mark.end_s ? "This moment only" : "Until here", () => {
      const end = mark.end_s ? null : this.player.time;
      if (end !== null && end <= mark.start_s) return this.tell("Step to a later moment first.");
      this.change(mark.key, { end_s: end });
      this.render();
    });
    button(actions, "Remove", () => this.remove(mark.key));
    return item;
  }

  /** Ask for the nearest end's new place; with keys the first point moves. */
  async #move(mark) {
    await this.player.toTime(mark.start_s);
    this.tell("Tap where it should go. Arrow keys and Enter do the same.");
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
