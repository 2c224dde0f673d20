// <waiting-list>: opens a row beside the list without a new page, finds as one types, and
// answers keys. Every link and form in it works without this.
const PATIENCE_MS = 180;

class WaitingList extends HTMLElement {
  connectedCallback() {
    this.list = this.querySelector(".list");
    this.pane = this.querySelector(".pane");
    this.asked = 0;
    this.opened = this.dataset.at;
    this.addEventListener("click", (event) => this.clicked(event));
    this.addEventListener("input", (event) => this.typed(event));
    this.onkey = (event) => this.key(event);
    document.addEventListener("keydown", this.onkey);
    window.addEventListener("popstate", () => location.reload());
    this.dress();
    this.line()?.scrollIntoView({ block: "nearest" });
  }

  disconnectedCallback() {
    document.removeEventListener("keydown", this.onkey);
  }

  // What only works with a script is shown by it.
  dress() {
    for (const hidden of this.querySelectorAll("[data-into][hidden], .keys[hidden]")) hidden.hidden = false;
  }

  get lines() {
    return [...this.list.querySelectorAll(".line")];
  }

  line() {
    return this.list.querySelector(".line.current");
  }

  get wide() {
    return matchMedia("(min-width: 761px)").matches;
  }

  clicked(event) {
    const into = event.target.closest("[data-into]");
    if (into) return this.put(into);
    if (event.target.closest(".keys")) return this.querySelector(".key-map").showModal();
    const link = event.target.closest(".line .mid");
    if (!link || event.metaKey || event.ctrlKey || event.shiftKey) return;
    event.preventDefault();
    const line = link.closest(".line");
    if (this.wide && line === this.line()) return; // it stands there already
    this.open(line);
  }

  put(button) {
    const field = this.querySelector(`#${button.dataset.into}`);
    field.value = button.dataset.text;
    field.focus();
  }

  async open(line, { push = true } = {}) {
    const link = line.querySelector(".mid");
    const html = await this.fetch(link.href, "pane");
    if (html === null) return;
    this.opened = line.dataset.key;
    this.mark();
    this.pane.innerHTML = html;
    this.dress();
    this.classList.add("open");
    if (push) history.pushState({}, "", link.href);
    if (!this.wide) scrollTo(0, 0);
    line.scrollIntoView({ block: "nearest" });
  }

  // Only the row that stands beside the list is marked in it.
  mark() {
    for (const line of this.lines) {
      const here = line.dataset.key === this.opened;
      line.classList.toggle("current", here);
      const mid = line.querySelector(".mid");
      if (here) mid.setAttribute("aria-current", "true");
      else mid.removeAttribute("aria-current");
    }
  }

  // The newest question wins; a page that cannot be fetched is opened as a page.
  async fetch(href, part) {
    const asked = ++this.asked;
    const url = new URL(href, location.href);
    url.searchParams.set("part", part);
    try {
      const answer = await fetch(url, { headers: { "X-Requested-With": "fetch" } });
      if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
      const html = await answer.text();
      return asked === this.asked ? html : null;
    } catch {
      if (asked === this.asked && part === "pane") location.href = href;
      return null;
    }
  }

  typed(event) {
    if (event.target.id !== "words") return;
    clearTimeout(this.waits);
    this.waits = setTimeout(() => this.find(event.target), PATIENCE_MS);
  }

  async find(field) {
    const url = new URL(location.href);
    for (const name of ["at", "page"]) url.searchParams.delete(name);
    if (field.value.trim()) url.searchParams.set("text", field.value);
    else url.searchParams.delete("text");
    const html = await this.fetch(url, "list");
    if (html === null) return;
    const { selectionStart: start, value } = field;
    this.list.innerHTML = html;
    history.replaceState({}, "", url);
    const again = this.list.querySelector("#words");
    again.value = value;
    again.focus();
    again.setSelectionRange(start, start);
    this.mark();
    this.dress();
  }

  step(by) {
    const lines = this.lines;
    const now = lines.indexOf(this.line());
    const next = lines[Math.min(Math.max(now + by, 0), lines.length - 1)];
    if (next && next !== this.line()) this.open(next);
  }

  key(event) {
    if (event.ctrlKey && event.key === "Enter") return this.send(event);
    if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented) return;
    // A dialog just closed may hold the focus until the next frame is drawn: only an open one counts.
    const writing = event.target.closest("input:not([type=checkbox]), textarea, select, dialog[open]");
    if (writing) {
      if (event.key === "Escape" && !event.target.closest("dialog")) event.target.blur();
      return;
    }
    const deed = this.deed(event);
    if (!deed) return;
    event.preventDefault();
    deed();
  }

  deed(event) {
    const press = (selector) => this.pane.querySelector(selector)?.click();
    const digit = /^[1-4]$/.test(event.key) && this.pane.querySelector(`[data-press="${event.key}"]`);
    if (digit) return () => digit.click();
    // The row that was clicked keeps the focus, and stands open already: Enter goes on from it.
    const onControl = !event.target.closest(".line.current .mid") && event.target.closest("a, button, summary");
    return {
      j: () => this.step(1),
      k: () => this.step(-1),
      Enter: onControl ? null : () => press("[data-open]"),
      r: () => this.pane.querySelector("textarea")?.focus(),
      e: () => press("[data-done]"),
      z: () => this.putOff(),
      x: () => this.line()?.querySelector(".pick").click(),
      u: () => document.querySelector(".toast button, undo-for button")?.click(),
      "/": () => this.list.querySelector("#words").focus(),
      "?": () => this.querySelector(".key-map").showModal(),
    }[event.key];
  }

  putOff() {
    const menu = this.pane.querySelector(".later");
    if (!menu) return;
    menu.open = true;
    menu.querySelector(".menu button").focus();
  }

  send(event) {
    const form = event.target.closest("form");
    if (form && this.contains(form)) form.requestSubmit();
  }
}

customElements.define("waiting-list", WaitingList);
