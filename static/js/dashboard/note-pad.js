// <note-pad>: notes saved while they are written; without script the form's button saves them.
class NotePad extends HTMLElement {
  connectedCallback() {
    const form = this.querySelector("form");
    const [area, revision] = [form?.querySelector("textarea"), form?.querySelector("[name=revision]")];
    const state = this.querySelector("[role=status]");
    if (!form || !area || !state || !(revision instanceof HTMLInputElement)) return;
    form.querySelector("button")?.setAttribute("hidden", "");
    let waiting = 0;
    let going = Promise.resolve();
    const save = async () => {
      const body = new FormData(form);
      try {
        const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
        const said = await answer.json();
        if (answer.ok) revision.value = said.revision;
        state.textContent = answer.ok ? `${this.dataset.saved} ${said.at}` : said.detail;
      } catch {
        state.textContent = this.dataset.away ?? "";
      }
      if (!state.textContent?.startsWith(this.dataset.saved ?? " ")) form.querySelector("button")?.removeAttribute("hidden");
    };
    const soon = () => {
      clearTimeout(waiting);
      waiting = window.setTimeout(() => (going = going.then(save)), 700);
    };
    area.addEventListener("input", soon);
    area.addEventListener("blur", () => waiting && (clearTimeout(waiting), (waiting = 0), (going = going.then(save))));
  }
}

customElements.define("note-pad", NotePad);
