// <unsent-clip data-student="pk">: a card for each clip of this student that has not arrived yet,
// with the way to send the rest; hidden where all is sent. What yields to it steps back.
import { forget, unsent } from "./clip-store.js";
import { megabytes } from "./persistence.js";

class UnsentClip extends HTMLElement {
  static observedAttributes = ["data-student"];

  attributeChangedCallback() { if (this.isConnected) this.look(); }

  async look() {
    this.hidden = true;
    const template = this.querySelector("template"), { student } = this.dataset;
    if (!template || !student || !("indexedDB" in window)) return;
    const rows = (await unsent({ student })).filter((row) => !row.refused);
    if (student !== this.dataset.student) return;
    this.querySelectorAll(".unsent").forEach((card) => card.remove());
    for (const row of rows) this.append(this.card(template, row));
    this.lead(rows);
  }

  /** One thing at a time: the first film that waits is what the page is about. */
  lead(rows) {
    this.hidden = !rows.length;
    const leads = rows.length > 0 && document.querySelector("[data-yields]");
    document.querySelectorAll("[data-films]").forEach((part) => {
      const { films, yields, behind } = /** @type {HTMLElement} */ (part).dataset;
      const same = rows.some((row) => row.angle === films);
      part.toggleAttribute("hidden", Boolean(yields !== undefined ? leads : same || (behind !== undefined && !leads)));
    });
    const heading = this.querySelector(".unsent h2");
    if (leads) heading.outerHTML = `<h1>${heading.innerHTML}</h1>`;
  }

  /** @param {HTMLTemplateElement} template */
  card(template, row) {
    const card = /** @type {HTMLElement} */ (template.content.firstElementChild.cloneNode(true));
    const fill = (name, values) => {
      const place = card.querySelector(`[data-part="${name}"]`);
      place.textContent = values.reduce((text, value, at) => text.replace(`%${at + 1}`, String(value)), place.textContent);
    };
    const day = new Date(row.at).toLocaleDateString(document.documentElement.lang, { weekday: "long" });
    const time = new Date(row.at).toLocaleTimeString(document.documentElement.lang, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    const { size } = row.file, sent = row.sent ?? 0;
    fill("heading", [day]);
    fill("label", [row.label]);
    fill("when", [day, time, megabytes(sent), megabytes(size)]);
    fill("rest", [megabytes(size - sent)]);
    card.querySelector("progress").value = size ? sent / size : 0;
    card.querySelector("a").href = row.page;
    card.querySelector("video").src = `${URL.createObjectURL(row.file)}#t=0.5`;
    card.querySelector("button").addEventListener("click", async (event) => {
      if (!confirm(/** @type {HTMLElement} */ (event.currentTarget).dataset.sure)) return;
      await forget(row.key);
      this.look();
    });
    return card;
  }
}

customElements.define("unsent-clip", UnsentClip);
