// <step-preview>: the step one writes in, as its student will read it. The server words and draws it;
// of two answers only the newer one is shown.

const REST_MS = 250;

class StepPreview extends HTMLElement {
  #timer = 0;
  #asking = new AbortController();
  #place = "0";

  connectedCallback() {
    const form = this.closest("form") ?? document.querySelector("form.drill-form");
    if (!(form instanceof HTMLFormElement)) return;
    form.addEventListener("focusin", (event) => this.#stand(form, event.target));
    for (const name of ["input", "ladder:changed"]) form.addEventListener(name, () => this.#soon(form));
  }

  /** The step that the keyboard or the pointer went into is the one shown. */
  #stand(form, target) {
    const place = target instanceof Element ? target.closest(".step")?.getAttribute("data-place") : null;
    if (!place || place === this.#place) return;
    this.#place = place;
    this.#soon(form);
  }

  #soon(form) {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#ask(form), REST_MS);
  }

  async #ask(form) {
    this.#asking.abort();
    this.#asking = new AbortController();
    const typed = new FormData(form);
    for (const file of form.querySelectorAll("[type=file]")) typed.delete(file.name);
    typed.set("place", this.#place);
    try {
      const answer = await fetch(this.dataset.url ?? "", { method: "POST", body: typed, signal: this.#asking.signal });
      if (answer.ok) this.innerHTML = await answer.text();
    } catch {
      // Away, or overtaken by a newer question: what stands there stays.
    }
  }
}

customElements.define("step-preview", StepPreview);
