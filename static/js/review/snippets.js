// Words said every day: one tap puts them where one writes, with the chosen figure in its place.
import { post } from "./server.js";
import { say, urlOf } from "./words.js";

/** A sentence with {measure} filled by the figure that is drawn; other open places become an ellipsis. */
export function filled(text, figure) {
  return text.replaceAll("{measure}", figure || "…").replaceAll("{target}", "…");
}

export class Snippets {
  constructor({ room, text, tell }) {
    this.room = room;
    this.text = text;
    this.tell = tell;
    this.panel = room.querySelector("[data-snippets]");
    this.panel.addEventListener("click", (event) => this.#click(event.target.closest("button")));
    room.querySelector("[data-keep-snippet]").addEventListener("click", () => this.#keep());
  }

  #figure() {
    const row = this.room.querySelector("[data-figures] li:has([aria-pressed=true])");
    return row?.querySelector(".span-words")?.textContent.trim() ?? "";
  }

  async #click(button) {
    if (button?.dataset.text !== undefined) this.text.insert(filled(button.dataset.text, this.#figure()));
    if (!button?.dataset.remove) return;
    await post(urlOf("remove_snippet", button.dataset.remove)).catch((e) => this.tell(e.message));
    button.closest("li").remove();
  }

  async #keep() {
    const { box } = this.text;
    const chosen = box.value.slice(box.selectionStart, box.selectionEnd).trim() || box.value.trim();
    try {
      const { id, title, text } = await post(this.room.dataset.snippet, { text: chosen });
      const item = document.createElement("li");
      const use = Object.assign(document.createElement("button"), { type: "button", textContent: title });
      use.dataset.text = text;
      const gone = Object.assign(document.createElement("button"), { type: "button", className: "quiet", textContent: say("forget") });
      gone.dataset.remove = id;
      gone.setAttribute("aria-label", say("forget_what", { what: title }));
      item.append(use, gone);
      this.panel.append(item);
    } catch (error) {
      this.tell(error.message);
    }
  }
}
