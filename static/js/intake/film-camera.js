// <film-camera>: check and film in one camera, alone and from four metres: it says in words and
// aloud how to move the phone, counts down, counts repetitions, stops by itself and shows the film.
import { CameraElement, Recording } from "./camera.js";
import { HandsFree } from "./hands-free.js";

class FilmCamera extends CameraElement {
  connectedCallback() {
    this.sending = this.closest("clip-upload");
    if (!CameraElement.works || !this.sending) return;
    this.act("open", () => this.open());
    this.act("close", () => this.dialog.close());
    this.act("without", () => this.open({ without: true }));
    this.act("film", () => this.filmNow());
    this.act("stop", () => this.hands?.stop(this.now));
    this.act("send", () => this.send());
    this.act("again", () => this.again());
    this.dialog.addEventListener("close", () => this.close());
    document.addEventListener("visibilitychange", () => document.hidden && this.dialog.open && this.interrupted());
    this.sending.setAttribute("camera", "");
    this.querySelectorAll("[data-needs-camera]").forEach((part) => (part.hidden = false));
    this.tellSize();
  }

  disconnectedCallback() { this.close(); }

  async open(how = {}) {
    this.sending.busy = true;
    this.mode("check");
    const opened = await this.openAll(how);
    if (opened === "blind") this.blind();
    if (opened === "ready" && !this.hands) this.begin();
  }

  /** Without the network: the same camera, started and stopped by hand. */
  blind() {
    this.network = this.finder = undefined;
    clearTimeout(this.timer);
    this.place("loading").hidden = true;
    if (this.running && !this.hands) this.begin(this.text("no_network"));
  }

  /** Films now, whatever the check says; where it is still loading, without it. */
  filmNow() {
    if (!this.hands) { this.stopLoading(); this.blind(); }
    this.hands?.begin(this.now);
  }

  begin(words = this.text("nobody")) {
    const { view, hand, kind, repetitions } = this.dataset;
    this.hands = new HandsFree({ view, hand, kind, repetitions: Number(repetitions), blind: !this.network });
    this.made = 0;
    this.phase = "check";
    this.mode("check");
    this.say(words);
    this.look();
  }

  seen(marks, picture) {
    this.show(this.hands.see(this.now, marks, picture));
    return this.phase !== "done";
  }

  show(seen) {
    const before = this.phase;
    this.phase = seen.phase;
    if (seen.phase === "check") {
      this.showCheck(seen);
      if (seen.fresh || (this.network && before !== "check")) this.help(seen.said || "nobody");
    }
    if (seen.phase === "countdown") this.count(seen.left, before);
    if (seen.phase === "film" && before !== "film") this.record();
    if (seen.counted) this.counted(seen.count);
    if (seen.phase === "film") this.place("clock").textContent = this.text("filming").replace("%1", clock(this.now - this.from));
    if (seen.phase === "done" && before !== "done") this.finish();
  }

  /** Without the network only what needs none is known: light, and which way up. */
  help(name) {
    if (this.network || OF_THE_PHONE.has(name)) return this.tell(name);
    const words = this.text("no_network");
    if (this.place("say").textContent !== words) this.say(words);
  }

  count(left, before) {
    if (before !== "countdown") { this.mode("film"); this.say(this.text("stand_still"), { aloud: false }); this.last = 0; }
    if (left === this.last) return;
    this.last = left;
    this.place("number").textContent = left;
    this.speak(String(left));
  }

  counted(count) {
    this.made = count;
    const all = Number(this.dataset.repetitions);
    const beads = this.querySelectorAll("[data-part=beads] .bead");
    beads.forEach((bead, n) => bead.classList.toggle("on", n < count));
    const words = this.text("count").replace("%1", this.word(count)).replace("%2", this.word(all));
    this.say(words[0].toUpperCase() + words.slice(1));
  }

  record() {
    this.place("number").textContent = "";
    this.from = this.now;
    this.recording = new Recording(this.stream);
    this.recording.stopped.then((film) => this.filmed(film));
    this.say(this.text("go"));
  }

  finish() {
    this.say(this.text("stopped"));
    if (this.recording) this.recording.stop();
    else this.dialog.close();
  }

  interrupted() {
    if (this.phase === "film") this.hands.stop(this.now);
    this.finish();
  }

  filmed(film) {
    this.film = film;
    this.recording = undefined;
    const counted = this.made;
    this.dialog.close();
    const view = this.place("film-view");
    if (view.src) URL.revokeObjectURL(view.src);
    view.src = URL.createObjectURL(film);
    const all = Number(this.dataset.repetitions);
    const name = !this.network ? "look" : counted >= all ? "look_all" : "look_some";
    this.place("look-heading").textContent = this.text(name)
      .replace("%1", this.word(counted || 1)).replace("%2", this.word(all)).replace(/^./, (c) => c.toUpperCase());
    this.place("mb").textContent = `${Math.max(1, Math.round(film.size / 1e6))} MB`;
    this.place("words").append(this.sending.querySelector("[data-words]"));
    this.page("look");
  }

  mode(name) {
    super.mode(name);
    this.dialog.classList.toggle("ok", name === "film");
    this.place("number").textContent = "";
    this.querySelectorAll(".bead").forEach((bead) => bead.classList.remove("on"));
  }

  async send() {
    const film = this.film;
    this.stopLoading();
    this.page("place");
    await this.sending.take(film);
  }

  again() {
    this.page("place");
    this.open({ without: !this.network });
  }

  close() {
    this.recording?.stop();
    this.hands = undefined;
    return super.close();
  }
}

const OF_THE_PHONE = new Set(["turn_phone", "dark"]);
const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;

customElements.define("film-camera", FilmCamera);
