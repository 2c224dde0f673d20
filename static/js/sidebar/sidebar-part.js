// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// A part of the review room's sidebar: its forms answer in place, so that the clip stays
// where it is. Without script the same forms lead back to the room.
import "../diagnosis/fault-picker.js";
import { Linking } from "./linking.js";

class SidebarPart extends HTMLElement {
  connectedCallback() {
    this.linking = new Linking(this);
    this.linking.show();
    this.addEventListener("submit", (event) => this.send(event));
    this.addEventListener("click", (event) => this.follow(event));
    document.addEventListener("margin:changed", this.onChanged = (event) => {
      if (event.target !== this) this.renew();
    });
    document.addEventListener("review:figures", this.onFigures = () => this.renew());
    document.addEventListener("review:moment", this.onMoment = (event) => this.offer(event.detail));
  }

  disconnectedCallback() {
    document.removeEventListener("margin:changed", this.onChanged);
    document.removeEventListener("review:figures", this.onFigures);
    document.removeEventListener("review:moment", this.onMoment);
  }

  /** Put the figure of the moment that is shown first among those to hang a finding on. */
  offer({ event }) {
    const figures = this.querySelector("#add-figure");
    if (!figures || figures.value) return;
    for (const option of [...figures.options].reverse()) {
      if (option.dataset.event === event) figures.insertBefore(option, figures.options[1] ?? null);
    }
  }

  async send(event) {
    const form = event.target;
    // A whole page, or a question of the browser's own, is left to the browser.
    if (form.hasAttribute("data-leave") || event.submitter?.hasAttribute("data-leave")) return;
    event.preventDefault();
    const action = event.submitter?.getAttribute("formaction") || form.action;
    const body = new FormData(form, event.submitter);
    if (form.method === "get") {
      const url = new URL(action);
      url.search = new URLSearchParams(body);
      await this.load(url);
    } else {
      await this.post(action, body);
    }
  }

  async post(action, body) {
    const changed = await this.swap(action, { method: "POST", body });
    if (changed) this.dispatchEvent(new CustomEvent("margin:changed", { bubbles: true }));
  }

  async follow(event) {
    const link = event.target.closest("a[data-inside]");
    if (!link || event.metaKey || event.ctrlKey || event.shiftKey) return;
    event.preventDefault();
    await this.load(link.href);
  }

  load(url) {
    return this.swap(url, {});
  }

  /** Something elsewhere has changed. Nothing half typed is lost, and the focus stays. */
  async renew() {
    const typed = [...this.querySelectorAll("input, textarea")].some(
      (field) => field.type !== "hidden" && field.value !== field.defaultValue,
    );
    if (typed || this.querySelector(".ladder-form, [recording]")) return;
    await this.swap(this.dataset.src, {}, false);
  }

  async swap(url, options, focus = true) {
    this.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(url, { ...options, headers: { "X-Fragment": "1" }, redirect: "follow" });
      if (answer.headers.get("X-Leave")) {
        window.location.assign(answer.headers.get("X-Leave"));
        return false;
      }
      const text = await answer.text();
      if (!text.includes("<section")) throw new Error(answer.statusText);
      const open = this.openParts();
      this.innerHTML = text;
      this.reopen(open);
      this.linking.show();
      if (focus) this.focusAgain();
      return answer.ok;
    } catch {
      this.say(this.dataset.trouble || "");
      return false;
    } finally {
      this.removeAttribute("aria-busy");
    }
  }

  /** What was unfolded stays unfolded, by its first words. */
  openParts() {
    return [...this.querySelectorAll("details[open] > summary")].map((s) => s.textContent);
  }

  reopen(open) {
    for (const summary of this.querySelectorAll("details > summary")) {
      if (open.includes(summary.textContent)) summary.parentElement.open = true;
    }
  }

  focusAgain() {
    const place = this.querySelector("[role=alert]") ?? this.querySelector("h2");
    place.tabIndex = -1;
    place.focus({ preventScroll: place.tagName === "H2" });
  }

  say(text) {
    if (!text) return;
    const message = document.createElement("p");
    message.className = "stop";
    message.setAttribute("role", "alert");
    message.textContent = text;
    this.prepend(message);
  }
}

customElements.define("sidebar-part", SidebarPart);
