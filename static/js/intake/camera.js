// The camera of a page, used alone from four metres: opened in a dialog, kept awake, read by the
// small pose network ten times a second, with a voice. `film-camera.js` films, `practice-camera.js`
// counts; both say what a look means in `seen`.
import { costly, secondsFor, secondsLeft } from "./costly.js";
import { Finder, marginOf } from "./find-golfer.js";
import { atOnce } from "./framing.js";

const EVERY_MS = 100, EARLY_MS = 400;

/** @abstract */
export class CameraElement extends HTMLElement {
  /** @type {any} */ network;
  /** @type {Promise<any> | undefined} the network, while it is loaded */ coming;
  giveUp = new AbortController();
  loadedFrom = 0;
  /** @type {Finder | undefined} */ finder;
  /** @type {MediaStream | undefined} */ stream;
  /** @type {number | undefined} */ tilt;
  /** @type {AudioContext | undefined} */ sound;
  /** @type {CanvasRenderingContext2D | undefined} */ small;
  running = false;

  get dialog() { return /** @type {HTMLDialogElement} */ (this.querySelector("dialog")); }
  get video() { return this.dialog.querySelector("video"); }
  get now() { return performance.now() / 1000; }
  /** @returns {any} */ place(name) { return this.querySelector(`[data-part="${name}"]`); }
  act(name, does) { this.querySelector(`[data-act="${name}"]`)?.addEventListener("click", does); }
  text(name) { return /** @type {HTMLTemplateElement} */ (this.querySelector("template[data-says]")).content.querySelector(`[data-for="${name}"]`)?.textContent ?? ""; }
  word(n) { return this.text("numbers").split(" ")[n - 1] ?? String(n); }

  /** Whether this browser can film in the page at all. */
  static get works() { return isSecureContext && Boolean(navigator.mediaDevices?.getUserMedia) && "MediaRecorder" in globalThis; }

  say(words, { aloud = true, long = words.length > 11 } = {}) {
    const place = this.place("say");
    place.textContent = words;
    place.classList.toggle("long", long);
    if (aloud) this.speak(words);
  }

  speak(words) {
    globalThis.speechSynthesis?.cancel();
    globalThis.speechSynthesis?.speak(Object.assign(new SpeechSynthesisUtterance(words), { lang: document.documentElement.lang }));
  }

  chime() {
    const at = this.sound.currentTime, tone = this.sound.createOscillator(), loud = this.sound.createGain();
    tone.frequency.setValueAtTime(660, at);
    tone.frequency.setValueAtTime(990, at + 0.14);
    loud.gain.setValueAtTime(0.4, at);
    loud.gain.exponentialRampToValueAtTime(0.001, at + 0.5);
    tone.connect(loud).connect(this.sound.destination);
    tone.start(at);
    tone.stop(at + 0.5);
  }

  /** Says before the first press how much is loaded, and on a costly line that it goes without. */
  async tellSize() {
    const loader = await import("./check-model.js").catch(() => undefined), from = /** @type {any} */ (this.dataset);
    if (!loader || !Number(from.lineBytes) || (await loader.isKept(from))) return; // away, nothing is to be loaded
    const line = /** @type {any} */ (navigator).connection, why = costly(line), seconds = secondsFor(from.lineBytes, line);
    const words = [why, "size", why && seconds ? "takes" : "", why && "without"].filter(Boolean).map((name) => this.text(name));
    const place = this.place("size");
    place.textContent = words.join(" ").replace("%1", inMb(from.lineBytes)).replace("%2", String(seconds));
    place.hidden = false;
    this.querySelector("[data-act=without]")?.toggleAttribute("hidden", !why);
  }

  /** The network, once, however often the camera is opened meanwhile. */
  async load() {
    const { loadCheck } = await import("./check-model.js");
    if (this.giveUp.signal.aborted) this.giveUp = new AbortController();
    this.loadedFrom = this.now;
    this.coming ??= loadCheck(/** @type {any} */ (this.dataset), (done, all) => this.loaded(done, all), this.giveUp.signal)
      .finally(() => (this.coming = undefined));
    return this.coming;
  }

  /** Nothing more of it is loaded: the film has the line to itself. */
  stopLoading() { if (this.coming) this.giveUp.abort(); }

  /** Opens camera, sensor and network. @returns {Promise<"ready"|"blind"|"shut">} blind: without the network */
  async openAll({ without = false } = {}) {
    this.sound ??= new AudioContext(); // allowed only from a press
    this.dialog.showModal();
    this.running = true;
    this.say(this.text("loading"), { aloud: false });
    if (!(await this.openCamera())) return "shut";
    navigator.wakeLock?.request("screen").then((lock) => (this.lock = lock)).catch(() => {});
    await this.feelTilt();
    if (without) return this.running ? "blind" : "shut";
    this.early(undefined);
    try {
      this.network ??= await this.load();
    } catch {
      this.place("loading").hidden = true;
      clearTimeout(this.timer);
      return this.running ? "blind" : "shut";
    }
    this.place("loading").hidden = true;
    clearTimeout(this.timer);
    const margin = marginOf();
    this.finder = new Finder((video, small) => this.network.detectForVideo(small ? margin(video, small) : video, performance.now()).landmarks[0]);
    return this.running ? "ready" : "shut";
  }

  /** Sideways, dark or tilted is said at once: the network takes a while on a slow line. */
  early(said) {
    if (!this.running) return;
    const { videoWidth: width, videoHeight: height } = this.video;
    const help = width ? atOnce({ view: "", width, height, light: this.light(), tilt: this.tilt }) : said;
    if (help !== said) { if (help) this.tell(help); else this.say(this.text("so_far"), { long: true }); }
    this.timer = setTimeout(() => this.early(help), EARLY_MS);
  }

  async openCamera() {
    const picture = { facingMode: "environment", width: { ideal: 1080 }, height: { ideal: 1920 }, frameRate: { ideal: 60 } };
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({ video: picture, audio: false });
      this.video.srcObject = this.stream;
      await this.video.play();
    } catch {
      this.say(this.text("no_camera"));
      return false;
    }
    return this.running || this.close();
  }

  // From the phone's own sensor, where it gives it: degrees off upright.
  async feelTilt() {
    try {
      const sensor = /** @type {any} */ (globalThis.DeviceOrientationEvent);
      if (await sensor?.requestPermission?.() === "denied") return;
    } catch { return; }
    this.onTilt = (event) => { if (event.gamma !== null && event.beta > 30) this.tilt = event.gamma; };
    addEventListener("deviceorientation", this.onTilt);
  }

  loaded(done, all) {
    const bar = this.place("loading");
    bar.hidden = false;
    bar.querySelector("progress").value = done / all;
    const left = secondsLeft(this.now - this.loadedFrom, done, all);
    bar.querySelector("span").textContent = this.text("loading_mb").replace("%1", String(Math.round(done / 1e6))).replace("%2", inMb(all))
      + (left ? ` ${this.text("loading_left").replace("%1", String(left))}` : "");
  }

  /** Looks again and again until `seen` answers false. */
  look() {
    clearTimeout(this.timer);
    if (!this.running) return;
    const { videoWidth: width, videoHeight: height } = this.video;
    let more = true;
    if (width) {
      const { marks, near = false } = this.finder?.find(this.video) ?? {};
      more = this.seen(marks, { width, height, near, light: this.light(), tilt: this.tilt });
    }
    if (more) this.timer = setTimeout(() => this.look(), EVERY_MS);
  }

  /** @param {any} _marks @param {any} _picture @returns {boolean} whether to look again */
  seen(_marks, _picture) { return false; }

  light() {
    this.small ??= Object.assign(document.createElement("canvas"), { width: 18, height: 32 }).getContext("2d", { willReadFrequently: true });
    this.small.drawImage(this.video, 0, 0, 18, 32);
    const { data } = this.small.getImageData(0, 0, 18, 32);
    let sum = 0;
    for (let i = 0; i < data.length; i += 4) sum += data[i] + data[i + 1] + data[i + 2];
    return sum / (data.length / 4) / 765;
  }

  /** What the check says: ticks, outline and level. */
  showCheck(look) {
    this.dialog.classList.toggle("ok", look.good);
    for (const [name, yes] of Object.entries(look.ticks)) this.querySelector(`[data-tick="${name}"]`).classList.toggle("yes", yes);
    this.place("level").style.setProperty("--at", `${50 + Math.max(-45, Math.min(45, this.tilt ?? 0))}%`);
  }

  tell(name) {
    this.dialog.dataset.says = name;
    if (name === "good") this.chime();
    this.say(this.text(name));
  }

  mode(name) {
    this.dialog.dataset.mode = name;
    this.querySelectorAll("[data-mode-of]").forEach((part) => part.toggleAttribute("hidden", /** @type {HTMLElement} */ (part).dataset.modeOf !== name));
  }

  /** Which of the steps the page shows. */
  page(name) {
    this.querySelectorAll("[data-step]").forEach((step) => step.toggleAttribute("hidden", /** @type {HTMLElement} */ (step).dataset.step !== name));
    scrollTo(0, 0);
  }

  /** @returns {false} */
  close() {
    this.running = false;
    clearTimeout(this.timer);
    removeEventListener("deviceorientation", this.onTilt);
    globalThis.speechSynthesis?.cancel();
    this.stream?.getTracks().forEach((track) => track.stop());
    this.lock?.release();
    this.video.srcObject = null;
    return false;
  }
}

const inMb = (bytes) => String(Math.max(1, Math.round(bytes / 1e6)));

const KINDS = ["video/mp4;codecs=avc1.64003E", "video/mp4;codecs=avc1.640034", "video/mp4", "video/webm;codecs=h264", "video/webm;codecs=vp9", "video/webm;codecs=vp8", "video/webm"];
const BITS = 16_000_000; // a second: sharp hands at 60 pictures a second

/** Records `stream`; `stop()` gives the film. */
export class Recording {
  #parts = [];

  constructor(stream) {
    this.type = KINDS.find((kind) => MediaRecorder.isTypeSupported(kind)) ?? "";
    this.recorder = new MediaRecorder(stream, { mimeType: this.type, videoBitsPerSecond: BITS });
    this.recorder.addEventListener("dataavailable", (event) => event.data.size && this.#parts.push(event.data));
    this.stopped = new Promise((resolve) => this.recorder.addEventListener("stop", () => resolve(this.#film())));
    this.recorder.start(1000);
  }

  /** @returns {Promise<File>} */
  stop() {
    if (this.recorder.state !== "inactive") this.recorder.stop();
    return this.stopped;
  }

  #film() {
    const ending = this.type.includes("mp4") ? "mp4" : "webm";
    return new File(this.#parts, `film.${ending}`, { type: this.type.split(";")[0] });
  }
}
