// <caption-lines>: the spoken words as lines that can be edited, kept as WebVTT.
import { fromWebVTT, toWebVTT } from "./script.js";
import { post } from "./server.js";
import { clock } from "./time.js";
import { say, urlOf } from "./words.js";

const WAIT_MS = 800;
const LINE_S = 4;

class CaptionLines extends HTMLElement {
  begin({ walk, audio }) {
    this.walk = walk;
    this.audio = audio;
    this.lines = fromWebVTT(walk.captions ?? "");
    this.list = document.createElement("ol");
    this.status = Object.assign(document.createElement("span"), { className: "small soft" });
    this.status.setAttribute("role", "status");
    const add = Object.assign(document.createElement("button"), { type: "button", textContent: say("caption_here") });
    add.addEventListener("click", () => this.#add());
    this.append(this.list, add, this.status);
    this.render();
  }

  #add() {
    const start = Math.round(this.audio.currentTime * 10) / 10;
    const next = this.lines.find((line) => line.start > start);
    const line = { start, end: Math.min(start + LINE_S, next?.start ?? Infinity), text: "" };
    this.lines = [...this.lines, line].sort((a, b) => a.start - b.start);
    // A line that was still open ends where the next one begins.
    this.lines.forEach((l, i) => {
      const after = this.lines[i + 1];
      if (after && l.end > after.start) l.end = after.start;
    });
    this.render();
    this.list.children[this.lines.indexOf(line)].querySelector("input").focus();
  }

  render() {
    this.list.replaceChildren();
    for (const line of this.lines) {
      const item = this.list.appendChild(document.createElement("li"));
      const go = Object.assign(document.createElement("button"), { type: "button", className: "quiet go", textContent: clock(line.start) });
      go.addEventListener("click", () => (this.audio.currentTime = line.start));
      const text = Object.assign(document.createElement("input"), { value: line.text, maxLength: 200 });
      text.setAttribute("aria-label", say("caption_at", { time: clock(line.start) }));
      text.addEventListener("input", () => {
        line.text = text.value;
        clearTimeout(this.timer);
        this.timer = setTimeout(() => this.save(), WAIT_MS);
      });
      text.addEventListener("blur", () => this.save());
      item.append(go, text);
    }
  }

  async save() {
    clearTimeout(this.timer);
    const captions = toWebVTT(this.lines);
    if (captions === this.kept) return;
    this.kept = captions;
    try {
      await post(urlOf("captions", this.walk.id), { captions });
      this.walk.captions = captions;
      this.status.textContent = say("kept");
    } catch (error) {
      this.kept = null;
      this.status.textContent = error.message;
    }
  }
}

customElements.define("caption-lines", CaptionLines);
