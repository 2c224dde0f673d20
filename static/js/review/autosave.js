// <auto-save data-url data-revision>: keeps a textarea as it is typed. A second window that
// was faster never wins silently: both versions stand side by side until one is chosen.
import { post, Refusal, token } from "./server.js";
import { say, urlOf } from "./words.js";

const WAIT_MS = 700;
const AGAIN_MS = 4000;

class AutoSave extends HTMLElement {
  #timer = 0;
  #saving = null;

  connectedCallback() {
    this.box = this.querySelector("textarea");
    this.status = this.querySelector("[role=status]");
    this.revision = Number(this.dataset.revision);
    this.kept = this.box.value;
    this.#restore();
    this.box.addEventListener("input", () => this.changed());
    this.box.addEventListener("blur", () => this.save());
    addEventListener("pagehide", () => this.#leave());
    addEventListener("online", () => this.save());
    for (const version of this.querySelectorAll("[data-version]")) this.#offer(version);
  }

  get dirty() {
    return this.box.value !== this.kept;
  }

  changed() {
    this.#say("…");
    this.#hold();
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.save(), WAIT_MS);
  }

  insert(text) {
    const { box } = this;
    const at = box.selectionStart ?? box.value.length;
    const before = box.value.slice(0, at);
    box.setRangeText((before && !/\s$/.test(before) ? " " : "") + text, at, box.selectionEnd ?? at, "end");
    this.changed();
  }

  async save() {
    clearTimeout(this.#timer);
    if (this.#saving) await this.#saving;
    if (this.conflict) return;
    if (!this.dirty) return this.#settled();
    this.#saving = this.#send().finally(() => {
      this.#saving = null;
    });
    return this.#saving;
  }

  /** Typed and typed back: there is nothing to send, and nothing is under way. */
  #settled() {
    if (this.status.textContent === "…") this.#say(say("kept"));
  }

  async #send() {
    const text = this.box.value;
    try {
      const { revision } = await post(this.dataset.url, { text, revision: this.revision });
      this.revision = revision;
      this.kept = text;
      sessionStorage.removeItem(this.#place);
      this.#say(say("kept"));
      if (this.dirty) this.changed();
    } catch (error) {
      if (error instanceof Refusal && error.status === 409 && "theirs" in error.answer) {
        this.#choose(error);
      } else if (error instanceof Refusal && error.status < 500) {
        this.#say(error.message);
      } else {
        this.#say(say("words_not_kept"));
        this.#timer = setTimeout(() => this.save(), AGAIN_MS);
      }
    }
  }

  #choose(error) {
    this.conflict = true;
    this.revision = error.answer.revision;
    const { theirs, yours, version } = error.answer;
    this.#say(error.message);
    const both = document.createElement("div");
    both.className = "conflict";
    for (const [title, text, joined] of [
      [say("from_other_window"), theirs, theirs],
      [say("from_this_window"), yours, yours],
      [say("both_in_turn"), null, `${theirs}\n\n${yours}`],
    ]) {
      const part = document.createElement("div");
      if (text !== null) {
        const quote = document.createElement("blockquote");
        quote.className = "said";
        quote.textContent = text || say("empty");
        part.append(Object.assign(document.createElement("h3"), { textContent: title }), quote);
      }
      const button = Object.assign(document.createElement("button"), {
        type: "button", textContent: text === null ? say("keep_both") : say("keep_this"),
      });
      button.addEventListener("click", () => this.#resolve(both, joined, theirs, version));
      part.append(button);
      both.append(part);
    }
    this.append(both);
  }

  async #resolve(both, text, theirs, version) {
    this.conflict = false;
    this.box.value = text;
    this.kept = theirs;
    both.remove();
    await this.save();
    if (!this.dirty) await post(urlOf("resolve", version));
    this.#say(say("kept"));
    this.box.focus();
  }

  /** Words of an earlier race that nobody settled: still here to be taken up. */
  #offer(node) {
    node.addEventListener("click", async (event) => {
      const button = event.target.closest("button");
      if (!button) return;
      if (button.dataset.take !== undefined) this.insert(node.querySelector(".said").textContent);
      await post(urlOf("resolve", node.dataset.version));
      node.remove();
    });
  }

  get #place() {
    return `text ${this.dataset.key ?? this.dataset.url}`;
  }

  /** Words are held with the revision they replace: without it nobody could tell later
      whether another window was faster. */
  #hold() {
    sessionStorage.setItem(this.#place, JSON.stringify({ text: this.box.value, revision: this.revision }));
  }

  #restore() {
    const left = heldIn(sessionStorage.getItem(this.#place));
    if (left === null) return;
    if (left.text === this.box.value) return sessionStorage.removeItem(this.#place);
    this.box.value = left.text;
    this.revision = left.revision;
    this.changed();
  }

  #leave() {
    if (!this.dirty) return;
    fetch(this.dataset.url, {
      method: "POST",
      keepalive: true,
      headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
      body: JSON.stringify({ text: this.box.value, revision: this.revision }),
    });
  }

  #say(text) {
    if (this.status) this.status.textContent = text;
  }
}

/** What was held: words and revision. Words alone are older than any revision. */
function heldIn(text) {
  if (text === null) return null;
  try {
    const { text: held, revision } = JSON.parse(text);
    if (typeof held === "string" && Number.isInteger(revision)) return { text: held, revision };
  } catch {
    // Not ours, or from before revisions were held.
  }
  return { text, revision: 0 };
}

customElements.define("auto-save", AutoSave);
