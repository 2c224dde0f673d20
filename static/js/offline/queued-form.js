// <queued-form data-what="pain|words">: around a form. Where the server cannot be reached, what
// was written is kept and sent later, and says so; else the form goes as ever.
import { add, reachable } from "./queue.js";

class QueuedForm extends HTMLElement {
  connectedCallback() {
    const form = this.querySelector("form");
    if (!form || !("indexedDB" in window)) return;
    form.addEventListener("submit", async (event) => {
      if (this.sure) return;
      event.preventDefault();
      const by = /** @type {HTMLButtonElement | null} */ (event.submitter);
      if (await reachable()) {
        this.sure = true;
        form.requestSubmit(by);
        return;
      }
      const fields = Object.fromEntries([...new FormData(form, by)].filter(([name, value]) => name !== "csrfmiddlewaretoken" && typeof value === "string"));
      const kept = await add({ url: new URL(form.action).pathname, fields, what: this.dataset.what }).then(() => true, () => false);
      if (kept) form.reset();
      this.tell(kept);
    });
  }

  tell(kept) {
    const note = this.querySelector("[data-part=queued]") ?? this.appendChild(Object.assign(document.createElement("p"), { className: "note warn" }));
    note.setAttribute("data-part", "queued");
    note.setAttribute("role", "status");
    note.textContent = kept ? this.dataset.saved : this.dataset.lost;
    note.scrollIntoView({ block: "center" });
    this.dispatchEvent(new CustomEvent("queued", { bubbles: true }));
  }
}

customElements.define("queued-form", QueuedForm);
