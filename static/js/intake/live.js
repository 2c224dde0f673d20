// <live-part src>: fetches itself anew until its content says data-done. Slower when nobody looks.
const QUICK = 1500, SLOW = 15000, SLOWEST = 60000;

class LivePart extends HTMLElement {
  connectedCallback() {
    this.misses = 0;
    this.onVisible = () => document.hidden || this.plan(0);
    document.addEventListener("visibilitychange", this.onVisible);
    this.plan(QUICK);
  }

  disconnectedCallback() {
    clearTimeout(this.timer);
    document.removeEventListener("visibilitychange", this.onVisible);
  }

  get done() {
    return this.querySelector("[data-done]") !== null;
  }

  plan(delay) {
    clearTimeout(this.timer);
    if (!this.done) this.timer = setTimeout(() => this.renew(), delay);
  }

  async renew() {
    const before = this.querySelector("[data-state]")?.dataset.state;
    try {
      const answer = await fetch(this.getAttribute("src"), { headers: { Accept: "text/html" } });
      if (answer.redirected || answer.status === 404) return; // signed out, or gone
      if (!answer.ok) throw new Error(String(answer.status));
      this.misses = 0;
      this.show(await answer.text(), before);
    } catch {
      this.misses += 1;
    }
    const calm = document.hidden ? SLOW : QUICK;
    this.plan(Math.min(calm * 2 ** this.misses, SLOWEST));
  }

  // Nothing is replaced under somebody's fingers: the same state only moves its bar.
  show(html, before) {
    const page = new DOMParser().parseFromString(html, "text/html");
    const now = page.querySelector("[data-state]")?.dataset.state;
    const bar = this.querySelector("progress"), moved = page.querySelector("progress");
    if (now === before && !page.querySelector("[data-done]")) {
      if (bar && moved) bar.value = moved.value;
      return;
    }
    this.replaceChildren(...page.body.childNodes);
    if (this.done) this.dispatchEvent(new Event("done", { bubbles: true }));
  }
}

customElements.define("live-part", LivePart);
