// <auto-save data-url data-revision>: keeps a textarea as it is typed. A second window that
// was faster never wins silently: both versions stand side by side until one is chosen.
import { post, Refusal, token } from "./server.js";

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
    sessionStorage.setItem(this.#place, this.box.value);
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.save(), WAIT_MS);
  }

  insert(words) {
    const { box } = this;
    const at = box.selectionStart ?? box.value.length;
    const before = box.value.slice(0, at);
    box.setRangeText((before && !/\s$/.test(before) ? " " : "") + words, at, box.selectionEnd ?? at, "end");
    this.changed();
  }

  async save() {
    clearTimeout(this.#timer);
    if (this.#saving) await this.#saving;
    if (!this.dirty || this.conflict) return;
    this.#saving = this.#send().finally(() => {
      this.#saving = null;
    });
    return this.#saving;
  }

  async #send() {
    const words = this.box.value;
    try {
      const { revision } = await post(this.dataset.url, { words, revision: this.revision });
      this.revision = revision;
      this.kept = words;
      sessionStorage.removeItem(this.#place);
      this.#say("Kept");
      if (this.dirty) this.changed();
    } catch (error) {
      if (error instanceof Refusal && error.status === 409 && "theirs" in error.answer) {
        this.#choose(error);
      } else if (error instanceof Refusal && error.status < 500) {
        this.#say(error.message);
      } else {
        this.#say("Not kept yet, no connection. Your words stay here; trying again.");
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
    for (const [title, words, joined] of [
      ["From the other window", theirs, theirs],
      ["From this window", yours, yours],
      ["Both, one after the other", null, `${theirs}\n\n${yours}`],
    ]) {
      const part = document.createElement("div");
      if (words !== null) {
        const quote = document.createElement("blockquote");
        quote.className = "said";
        quote.textContent = words || "(empty)";
        part.append(Object.assign(document.createElement("h3"), { textContent: title }), quote);
      }
      const button = Object.assign(document.createElement("button"), {
        type: "button", textContent: words === null ? "Keep both" : "Keep this",
      });
      button.addEventListener("click", () => this.#settle(both, joined, theirs, version));
      part.append(button);
      both.append(part);
    }
    this.append(both);
  }

  async #settle(both, words, theirs, version) {
    this.conflict = false;
    this.box.value = words;
    this.kept = theirs;
    both.remove();
    await this.save();
    if (!this.dirty) await post(`/review/version/${version}/settle`);
    this.#say("Kept");
    this.box.focus();
  }

  /** Words of an earlier race that nobody settled: still here to be taken up. */
  #offer(node) {
    node.addEventListener("click", async (event) => {
      const button = event.target.closest("button");
      if (!button) return;
      if (button.dataset.take !== undefined) this.insert(node.querySelector(".said").textContent);
      await post(`/review/version/${node.dataset.version}/settle`);
      node.remove();
    });
  }

  get #place() {
    return `words ${this.dataset.url}`;
  }

  #restore() {
    const left = sessionStorage.getItem(this.#place);
    if (left !== null && left !== this.box.value) {
      this.box.value = left;
      this.changed();
    }
  }

  #leave() {
    if (!this.dirty) return;
    fetch(this.dataset.url, {
      method: "POST",
      keepalive: true,
      headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
      body: JSON.stringify({ words: this.box.value, revision: this.revision }),
    });
  }

  #say(words) {
    if (this.status) this.status.textContent = words;
  }
}

customElements.define("auto-save", AutoSave);
