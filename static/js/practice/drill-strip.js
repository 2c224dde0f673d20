// A tap on a strip shows its positions one after the other in the first one's place.

const PACE_MS = 900;

class DrillStrip extends HTMLElement {
  connectedCallback() {
    this.items = [...this.querySelectorAll("li")];
    this.button = this.querySelector(".play");
    if (!this.button) return;
    this.button.hidden = false;
    this.button.addEventListener("click", () => (this.timer ? this.stop() : this.start()));
  }

  disconnectedCallback() {
    this.stop();
  }

  start() {
    let k = 0;
    const first = this.items[0].querySelector("img");
    this.still = first.src;
    const show = () => {
      this.items.forEach((item, i) => item.classList.toggle("seen", i === k));
      first.src = k === 0 ? this.still : this.items[k].querySelector("img").src;
      k = (k + 1) % this.items.length;
    };
    show();
    this.timer = setInterval(show, PACE_MS);
    this.button.setAttribute("aria-pressed", "true");
  }

  stop() {
    if (!this.timer) return;
    clearInterval(this.timer);
    this.timer = null;
    this.items[0].querySelector("img").src = this.still;
    for (const item of this.items) item.classList.remove("seen");
    this.button.setAttribute("aria-pressed", "false");
  }
}

customElements.define("drill-strip", DrillStrip);
