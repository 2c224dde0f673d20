// <keep-draft data-key="…"> keeps what is being written in its text area until it was sent:
// a phone that locks, a page that closes or a lost connection loses nothing. `data-fresh`:
// the server sent the words back, so they are newer than the kept ones.
class KeepDraft extends HTMLElement {
  connectedCallback() {
    const area = this.querySelector("textarea");
    const form = area?.closest("form");
    if (!form) return;
    const key = `draft:${this.dataset.key}`;
    // After sending, the page opens at the new entry.
    if (read(`${key}:sending`) && location.hash.startsWith("#entry-")) write(key, "");
    write(`${key}:sending`, "");
    if (!("fresh" in this.dataset) && !area.value) area.value = read(key);
    area.addEventListener("input", () => write(key, area.value));
    form.addEventListener("submit", () => write(`${key}:sending`, "1"));
  }
}

function read(key) {
  try { return localStorage.getItem(key) ?? ""; } catch { return ""; }
}

function write(key, text) {
  try {
    if (text) localStorage.setItem(key, text);
    else localStorage.removeItem(key);
  } catch { /* private windows keep nothing */ }
}

customElements.define("keep-draft", KeepDraft);
