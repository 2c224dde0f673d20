// <clip-recorder>: records a short clip with the camera, or (`data-sound`) only what is said, into
// the form's file field, where the browser can; choosing a file works without it.

const KINDS = ["video/mp4", "video/webm;codecs=vp9,opus", "video/webm"];
const SOUNDS = ["audio/webm;codecs=opus", "audio/mp4", "audio/webm"];
const CAMERA = { width: { ideal: 1280 }, height: { ideal: 720 } };

class ClipRecorder extends HTMLElement {
  connectedCallback() {
    const can = "MediaRecorder" in window && Boolean(navigator.mediaDevices?.getUserMedia);
    if (!can || !("DataTransfer" in window)) return;
    this.piece("controls").hidden = false;
    this.piece("begin").addEventListener("click", () => this.begin());
    this.piece("end").addEventListener("click", () => this.end());
    this.field.addEventListener("change", () => this.tell(""));
  }

  disconnectedCallback() {
    this.release();
  }

  /** @param {string} name */
  piece(name) {
    return /** @type {any} */ (this.querySelector(`[data-part=${name}]`));
  }

  get field() {
    return /** @type {HTMLInputElement} */ (this.querySelector("input[type=file]"));
  }

  get sound() {
    return this.hasAttribute("data-sound");
  }

  /** @param {string} words */
  tell(words) {
    this.piece("told").textContent = words;
  }

  async begin() {
    this.piece("begin").disabled = true;
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({ audio: true, ...(this.sound ? {} : { video: CAMERA }) });
    } catch {
      this.piece("begin").disabled = false;
      this.tell(this.dataset.refused ?? "");
      this.field.focus();
      return;
    }
    if (!this.sound) {
      const view = this.piece("view");
      Object.assign(view, { hidden: false, muted: true, controls: false, srcObject: this.stream });
      view.play();
    }
    const kind = (this.sound ? SOUNDS : KINDS).find((one) => MediaRecorder.isTypeSupported(one));
    const rate = this.sound ? { audioBitsPerSecond: 48_000 } : { videoBitsPerSecond: 2_500_000 };
    const options = { ...rate, ...(kind ? { mimeType: kind } : {}) };
    this.toggleAttribute("recording", true);
    this.recorder = new MediaRecorder(this.stream, options);
    /** @type {Blob[]} */
    const pieces = [];
    this.recorder.addEventListener("dataavailable", ({ data }) => pieces.push(data));
    this.recorder.addEventListener("stop", () => this.keep(pieces), { once: true });
    this.recorder.start(1000);
    this.since = performance.now();
    this.ticking = setInterval(() => this.tick(), 250);
    this.piece("end").hidden = false;
    this.piece("end").focus();
    this.piece("begin").hidden = true;
    this.tell("");
  }

  tick() {
    const seconds = Math.floor((performance.now() - (this.since ?? 0)) / 1000);
    this.piece("clock").textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
    if (seconds >= Number(this.dataset.seconds)) this.end();
  }

  end() {
    if (this.recorder?.state === "recording") this.recorder.stop();
  }

  /** Into the form's own field, so that it is sent like a chosen file. @param {Blob[]} pieces */
  keep(pieces) {
    const type = (this.recorder?.mimeType || "video/webm").split(";")[0];
    const name = type.endsWith("/mp4") ? "own.mp4" : "own.webm";
    const file = new File(pieces, name, { type });
    const held = new DataTransfer();
    held.items.add(file);
    this.field.files = held.files;
    this.release();
    const view = this.piece("view");
    if (this.shown) URL.revokeObjectURL(this.shown);
    this.shown = URL.createObjectURL(file);
    Object.assign(view, { srcObject: null, src: this.shown, muted: false, controls: true, hidden: false });
    Object.assign(this.piece("begin"), { hidden: false, disabled: false });
    this.piece("end").hidden = true;
    this.piece("begin").focus();
  }

  release() {
    clearInterval(this.ticking);
    this.toggleAttribute("recording", false);
    for (const track of this.stream?.getTracks() ?? []) track.stop();
    this.stream = undefined;
  }
}

customElements.define("clip-recorder", ClipRecorder);
