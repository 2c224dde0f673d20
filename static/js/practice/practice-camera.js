// <practice-camera>: the phone as a quiet partner. It counts, keeps the pace, and says "there" or
// "not yet" only where its figure is sure. What was done goes to the thread as one line a day; the
// best film of the asked repetitions is offered to send. All of it works without a connection.
import { CameraElement, Recording } from "../intake/camera.js";
import { keep } from "../intake/clip-store.js";
import { add, deliver } from "../offline/queue.js";
import { Session } from "./session.js";

const AFTER_MS = 1500; // the finish belongs to the film

class PracticeCamera extends CameraElement {
  /** @type {Session | undefined} */ session;
  /** @type {Recording | undefined} */ recording;
  /** @type {{film: File, score: number} | undefined} */ best;
  total = 0;

  connectedCallback() {
    this.note = /** @type {HTMLFormElement} */ (this.place("note"));
    this.note.addEventListener("submit", (event) => this.save(event));
    if (!CameraElement.works) return;
    this.querySelectorAll("[data-needs-camera]").forEach((part) => part.removeAttribute("hidden"));
    this.place("no-camera")?.setAttribute("hidden", "");
    this.tellSize();
    this.act("open", () => this.open());
    this.act("close", () => this.end());
    this.act("stop", () => this.end());
    this.act("more", () => this.more());
    this.act("hurts", () => { this.end(); this.place("hurts").requestSubmit(); });
    this.act("send", () => this.send());
    this.dialog.addEventListener("cancel", (event) => { event.preventDefault(); this.end(); });
    document.addEventListener("visibilitychange", () => document.hidden && this.dialog.open && this.end());
  }

  disconnectedCallback() { if (this.running) this.close(); }

  async open() {
    this.mode("check");
    const opened = await this.openAll();
    if (opened === "blind") this.say(this.text("no_camera")); // without the network nothing can be counted
    if (opened !== "ready") return;
    const { view, hand, kind, criteria, stature, left, take } = this.dataset;
    this.session = new Session({ view, hand, kind, criteria: JSON.parse(criteria), stature: Number(stature), left: Number(left), take: Number(take) });
    this.phase = "check";
    this.say(this.text("nobody"));
    this.look();
  }

  seen(marks, picture) {
    const seen = this.session.see(this.now, marks, picture), before = this.phase;
    this.phase = seen.phase;
    if (seen.phase === "check") {
      this.showCheck(seen);
      if (seen.fresh) this.tell(seen.said);
      return true;
    }
    if (before === "check") { this.mode("practise"); this.chime(); this.show(); this.record(); }
    if (seen.go) this.say(this.text("go"));
    if (seen.counted) this.counted(seen);
    if (seen.take !== undefined) this.taken(seen.take);
    if (seen.phase !== "practise" && before === "practise") this.rest(seen.phase);
    return true;
  }

  counted({ count, verdict }) {
    this.total += 1;
    this.show();
    const word = this.word(count);
    this.say(verdict ? this.text(verdict) : word.replace(/^./, (c) => c.toUpperCase()), { aloud: false });
    this.speak(verdict ? `${word}. ${this.text(verdict)}` : word);
  }

  show() {
    const { count, size } = this.session;
    this.place("count").textContent = String(count);
    this.place("of").textContent = count < size ? this.text("more").replace("%1", String(size - count)) : "";
    this.querySelectorAll("[data-part=beads] .bead").forEach((bead, n) => {
      bead.classList.toggle("on", n < count);
      bead.toggleAttribute("hidden", n >= size);
    });
  }

  rest(phase) {
    this.say(this.text(phase));
    this.querySelector("[data-act=more]").toggleAttribute("hidden", phase !== "rest");
  }

  more() {
    this.session.again();
    this.phase = "practise";
    this.querySelector("[data-act=more]").setAttribute("hidden", "");
    this.show();
    this.say(this.text("hold_still"));
  }

  // One film after another, each of as many repetitions as the coach asked for.
  record() { if (this.dataset.angle && this.stream) this.recording = new Recording(this.stream); }

  taken(score) {
    const done = this.recording;
    setTimeout(async () => {
      if (this.recording === done && this.running) this.record();
      const film = await done?.stop();
      if (film?.size && (!this.best || score >= this.best.score)) this.best = { film, score };
      if (!this.running) this.offer();
    }, AFTER_MS);
  }

  end() {
    const was = this.total;
    this.close();
    if (this.dialog.open) this.dialog.close();
    if (!this.session) return;
    this.session = undefined;
    this.page("end");
    this.place("end-heading").textContent = was ? this.text("end").replace("%1", String(was)) : this.text("end_none");
    const count = /** @type {HTMLInputElement} */ (this.note.elements.namedItem("repetitions"));
    count.value = was ? String(was) : "";
    this.offer();
  }

  offer() {
    if (!this.best) return;
    const view = /** @type {HTMLVideoElement} */ (this.place("best-view"));
    if (view.src) URL.revokeObjectURL(view.src);
    view.src = URL.createObjectURL(this.best.film);
    this.place("mb").textContent = `${Math.max(1, Math.round(this.best.film.size / 1e6))} MB`;
    this.place("best").removeAttribute("hidden");
  }

  /** The film's own page takes it from the phone and never gives up. */
  async send() {
    const { angle, student, label, filmPage } = this.dataset;
    const kept = await keep({ key: crypto.randomUUID(), file: this.best.film, angle, student, label, replaces: "", text: "", ball: [], page: filmPage, at: Date.now(), sent: 0 });
    if (kept) location.assign(filmPage);
  }

  /** Always by way of the phone's own queue: one way, with a line or without. */
  async save(event) {
    if (!("indexedDB" in window)) return;
    event.preventDefault();
    const fields = Object.fromEntries([...new FormData(this.note)].filter(([name]) => ["repetitions", "felt"].includes(name)));
    await add({ url: new URL(this.note.action).pathname, fields: { ...fields, queued: "1" }, what: "practice" });
    const { left } = await deliver();
    this.note.reset();
    if (left) this.dispatchEvent(new CustomEvent("queued", { bubbles: true }));
    const noted = this.place("noted");
    noted.textContent = this.text(left ? "queued" : "saved");
    noted.hidden = false;
  }

  close() {
    this.recording?.stop();
    this.recording = undefined;
    return super.close();
  }
}

customElements.define("practice-camera", PracticeCamera);
