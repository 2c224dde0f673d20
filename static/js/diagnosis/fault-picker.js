// <fault-picker>: three letters, or the list by view, then Enter. Without script the link in
// it leads to a page with the same list.
import { asked, moved } from "./options.js";

const WAIT_MS = 90;

class FaultPicker extends HTMLElement {
  connectedCallback() {
    this.replaceChildren(this.querySelector("template").content.cloneNode(true));
    this.input = this.querySelector("input");
    this.list = this.querySelector("[role=listbox]");
    this.views = this.querySelector(".views");
    this.keys = this.querySelector(".keys");
    this.chosen = -1;
    this.view = "";
    this.input.addEventListener("input", () => this.ask(WAIT_MS));
    this.input.addEventListener("focus", () => this.open());
    this.input.addEventListener("keydown", (event) => this.key(event));
    this.list.addEventListener("pointerdown", (event) => event.preventDefault()); // keep the focus
    this.list.addEventListener("click", (event) => this.tap(event));
    this.views.addEventListener("click", (event) => this.look(event));
    this.addEventListener("focusout", (event) => {
      if (!this.contains(/** @type {Node | null} */ (event.relatedTarget))) this.close();
    });
  }

  get options() {
    return [...this.list.querySelectorAll("[role=option]:not([aria-disabled])")];
  }

  open() {
    if (!this.list.hidden) return;
    this.show(true);
    this.ask(0);
  }

  close() {
    this.show(false);
    this.choose(-1);
  }

  show(open) {
    const opens = open && this.list.hidden;
    for (const part of [this.list, this.views, this.keys]) part.hidden = !open;
    this.input.setAttribute("aria-expanded", String(open));
    // The whole list is seen, not its first two rows above the foot.
    if (opens) this.scrollIntoView({ block: "start", behavior: "instant" });
  }

  /** The list for what is typed; a later question outdates an earlier one. */
  ask(wait) {
    clearTimeout(this.timer);
    this.asking = new Promise((done) => {
      this.timer = setTimeout(async () => done(await this.fetch()), wait);
    });
  }

  async fetch() {
    const url = new URL(this.dataset.src, location.href);
    url.search = String(new URLSearchParams({ q: this.input.value.trim(), view: this.view }));
    const query = this.input.value;
    try {
      const answer = await fetch(url, { headers: { "X-Fragment": "1" } });
      const text = await answer.text();
      if (!answer.ok || query !== this.input.value) return;
      this.list.innerHTML = text;
      const found = this.list.querySelector("[data-of]");
      this.querySelector("[data-count]").textContent = query.trim() && found ? found.dataset.of : "";
      this.choose(query.trim() ? 0 : -1);
    } catch {
      this.list.replaceChildren(); // the connection is away: the list stays empty, typing stays
    }
  }

  choose(index) {
    const options = this.options;
    this.chosen = index < options.length ? index : -1;
    for (const [place, option] of options.entries()) {
      option.setAttribute("aria-selected", String(place === this.chosen));
    }
    const option = options[this.chosen];
    if (option) {
      this.input.setAttribute("aria-activedescendant", option.id);
      option.scrollIntoView({ block: "nearest" });
    } else {
      this.input.removeAttribute("aria-activedescendant");
    }
  }

  async key(event) {
    if (event.key === "Escape") {
      event.preventDefault();
      event.stopPropagation();
      this.input.value = "";
      this.close();
      return;
    }
    if (["ArrowDown", "ArrowUp"].includes(event.key)) {
      event.preventDefault();
      if (this.list.hidden) return this.open();
      this.choose(moved(this.chosen, this.options.length, event.key));
      return;
    }
    const wanted = asked(event);
    if (!wanted) return;
    event.preventDefault();
    await this.asking; // typed faster than the list came
    const option = this.options[this.chosen];
    if (option) await this.add(option, wanted.kind);
  }

  async tap(event) {
    const option = event.target.closest("[role=option]:not([aria-disabled])");
    if (option) await this.add(option, "");
  }

  look(event) {
    const button = event.target.closest("button");
    if (!button) return;
    this.view = button.dataset.view;
    for (const other of this.views.children) {
      other.setAttribute("aria-pressed", String(other === button));
    }
    this.ask(0);
  }

  async add(option, kind) {
    const part = this.closest("sidebar-part");
    const body = new FormData();
    body.set("csrfmiddlewaretoken", part.querySelector("[name=csrfmiddlewaretoken]").value);
    body.set("kind", kind);
    if (option.dataset.entry) body.set("entry", option.dataset.entry);
    else {
      body.set("text", option.dataset.text);
      body.set("kind", kind || "cause");
    }
    this.input.value = "";
    await part.post(option.dataset.entry ? this.dataset.pick : this.dataset.add, body);
    part.querySelector("fault-picker input")?.focus();
  }
}

customElements.define("fault-picker", FaultPicker);
