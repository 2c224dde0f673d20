// Saying what is there because of what: press the button of an effect, then its cause; or
// drag from one to the other. The same by keys: Enter on both, Escape to give up.

export class Linking {
  constructor(part) {
    this.part = part;
    this.effect = null;
    part.addEventListener("click", (event) => this.press(event));
    part.addEventListener("keydown", (event) => event.key === "Escape" && this.stop());
    part.addEventListener("pointerdown", (event) => this.grab(event));
  }

  /** The buttons work only with script, so script shows them. */
  show() {
    const linkers = this.part.querySelectorAll(".linker");
    for (const button of linkers) button.hidden = linkers.length < 2;
    this.effect = null;
  }

  press(event) {
    const row = event.target.closest(".finding");
    const button = event.target.closest(".linker");
    if (!this.effect) {
      if (button) this.start(row, button);
      return;
    }
    if (!row) return;
    event.preventDefault();
    if (row === this.effect.row) this.stop();
    else this.finish(row);
  }

  start(row, button) {
    this.effect = { row, button, text: button.textContent };
    row.classList.add("linking");
    this.part.classList.add("linking-now");
    button.setAttribute("aria-pressed", "true");
  }

  stop() {
    if (!this.effect) return;
    this.effect.row.classList.remove("linking");
    this.effect.button.removeAttribute("aria-pressed");
    this.part.classList.remove("linking-now");
    this.effect = null;
  }

  finish(row) {
    const { row: effect, button } = this.effect;
    this.stop();
    const body = new FormData();
    body.set("csrfmiddlewaretoken", this.part.querySelector("[name=csrfmiddlewaretoken]").value);
    body.set("effect", effect.dataset.finding);
    body.set("cause", row.dataset.finding);
    this.part.post(button.dataset.link, body);
  }

  /** Dragging from the button of an effect to the row of its cause. */
  grab(event) {
    const button = event.target.closest(".linker");
    if (!button || this.effect) return;
    const from = { x: event.clientX, y: event.clientY };
    const drop = (end) => {
      window.removeEventListener("pointerup", drop);
      const far = Math.hypot(end.clientX - from.x, end.clientY - from.y) > 24;
      const under = document.elementFromPoint(end.clientX, end.clientY);
      const row = under?.closest(".finding");
      const own = button.closest(".finding");
      if (!far || !row || row === own || !this.part.contains(row)) return;
      this.start(own, button);
      this.finish(row);
    };
    window.addEventListener("pointerup", drop);
  }
}
