// <unsent-clip data-student="pk">: a card for each clip of this student that has not arrived yet,
// with the way to send the rest. Empty and hidden where all is sent. On a page that asks for
// something else it leads: what yields to it steps back, what asks for the same film goes.
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
    const leads = rows.length > 0 && document.querySelector("[data-yields]") !== null;
    const waiting = new Set(rows.map((row) => row.angle));
    for (const part of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll("[data-films]"))) {
      const { films, yields, behind } = part.dataset, asksTheSame = waiting.has(films);
      if (yields !== undefined) part.hidden = leads;
      else part.hidden = asksTheSame || (behind !== undefined && !leads);
    }
    const heading = this.querySelector(".unsent [data-part=heading]");
    if (!leads || !heading) return;
    const first = document.createElement("h1");
    first.append(...heading.childNodes);
    heading.replaceWith(first);
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
