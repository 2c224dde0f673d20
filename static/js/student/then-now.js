// <then-now>: two stills of the same moment on top of each other; the range moves the cut.
class ThenNow extends HTMLElement {
  connectedCallback() {
    const range = /** @type {HTMLInputElement | null} */ (this.querySelector("input[type=range]"));
    range?.addEventListener("input", () => this.style.setProperty("--cut", `${range.value}%`));
  }
}

customElements.define("then-now", ThenNow);
