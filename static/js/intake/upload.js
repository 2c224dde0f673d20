// <clip-upload>: sends the chosen clip by the tus protocol, goes on after a break or a reload.
// Without this script the form inside sends the clip whole.
import { Upload, isSupported } from "../../vendor/tus.js";
import { forget, keep, kept } from "./kept.js";

const PIECE = 8 * 1024 * 1024;
const DELAYS = [0, 1000, 3000, 5000, 10000];

class ClipUpload extends HTMLElement {
  connectedCallback() {
    if (!isSupported) return;
    this.form = this.querySelector("form");
    this.angle = this.dataset.angle;
    this.setAttribute("ready", "");
    for (const input of this.querySelectorAll("input[type=file]")) {
      input.addEventListener("change", () => input.files[0] && this.take(input.files[0]));
    }
    this.act("pause", () => this.pause());
    this.act("resume", () => this.go());
    this.act("discard", () => this.discard());
    this.act("go-on", () => this.start(this.earlier.file, this.earlier.key));
    this.form.addEventListener("submit", (event) => event.preventDefault());
    addEventListener("online", () => this.broken && this.go());
    addEventListener("beforeunload", (event) => this.running && event.preventDefault());
    // Chosen before this script was there, or brought back by the browser.
    const chosen = [...this.querySelectorAll("input[type=file]")].find((input) => input.files.length);
    if (chosen) this.take(chosen.files[0]);
    else this.offerEarlier();
  }

  part(name) { return this.querySelector(`[data-part="${name}"]`); }
  act(name, does) { this.querySelector(`[data-act="${name}"]`).addEventListener("click", does); }
  words(name) { return this.querySelector("template").content.querySelector(`[data-for="${name}"]`).textContent; }

  async offerEarlier() {
    this.earlier = await kept(this.angle);
    if (!this.earlier || this.upload) return;
    this.part("earlier-name").textContent = `${this.words("waiting")} ${this.earlier.file.name}`;
    this.part("earlier").hidden = false;
  }

  take(file) {
    if (file.size > Number(this.dataset.max)) return this.trouble(this.words("too_big"));
    const key = crypto.randomUUID?.() ?? this.form.elements.key.value;
    keep(this.angle, file, key);
    this.start(file, key);
  }

  async start(file, key) {
    this.part("trouble").hidden = true;
    this.part("earlier").hidden = true;
    this.part("choose").hidden = true;
    this.part("sending").hidden = false;
    this.part("name").textContent = file.name;
    const metadata = { filename: file.name, filetype: file.type, angle: this.angle, key };
    const seconds = await duration(file);
    if (seconds) metadata.duration = String(seconds);
    if (this.dataset.replaces) metadata.replaces = this.dataset.replaces;
    this.upload = new Upload(file, {
      endpoint: this.dataset.endpoint,
      chunkSize: PIECE,
      retryDelays: DELAYS,
      metadata,
      headers: { "X-CSRFToken": this.form.elements.csrfmiddlewaretoken.value },
      removeFingerprintOnSuccess: true,
      fingerprint: async () => ["causeway", this.angle, key].join("-"),
      onProgress: (sent, all) => this.showProgress(sent / all),
      onError: (error) => this.failed(error),
      onSuccess: () => this.arrived(),
    });
    const before = await this.upload.findPreviousUploads();
    if (before.length) this.upload.resumeFromPreviousUpload(before[0]);
    this.go();
  }

  go() {
    this.broken = false;
    this.part("trouble").hidden = true;
    this.say("sending", true);
    this.upload.start();
  }

  async pause() {
    await this.upload.abort();
    this.say("paused", false);
  }

  async discard() {
    this.running = false;
    await this.upload?.abort(true).catch(() => {});
    await forget(this.angle);
    this.reset();
  }

  reset() {
    this.upload = undefined;
    this.form.querySelectorAll("input[type=file]").forEach((input) => (input.value = ""));
    this.part("sending").hidden = true;
    this.part("choose").hidden = false;
    this.showProgress(0);
  }

  say(state, running) {
    this.running = running;
    this.part("state").textContent = this.words(state);
    this.querySelector('[data-act="pause"]').hidden = !running;
    this.querySelector('[data-act="resume"]').hidden = running || state === "arrived";
  }

  showProgress(share) {
    this.querySelector("progress").value = share;
    this.part("share").textContent = `${Math.floor(100 * share)} %`;
  }

  failed(error) {
    const answer = error.originalResponse;
    const status = answer?.getStatus() ?? 0;
    this.running = false;
    if (status === 401 || (status === 403 && !told(answer).code)) {
      this.say("stopped", false);
      return this.trouble(this.words("signed_out"));
    }
    if (status >= 400 && status !== 409 && status !== 423 && told(answer).detail) {
      // Refused for good: nothing would change by sending it again, unless we were short of room.
      if (status < 500) { forget(this.angle); this.reset(); } else this.say("stopped", false);
      return this.trouble(told(answer).detail);
    }
    this.broken = true;
    this.say(navigator.onLine ? "stopped" : "broken", false);
  }

  trouble(sentence) {
    const place = this.part("trouble");
    place.textContent = sentence;
    place.hidden = false;
  }

  async arrived() {
    this.say("arrived", false);
    const token = this.form.elements.csrfmiddlewaretoken.value;
    const post = (url, body) => fetch(url, { method: "POST", headers: { "X-CSRFToken": token, Accept: "application/json" }, body });
    const answer = await post(`${this.upload.url}/finish`).catch(() => null);
    if (!answer?.ok) {
      this.broken = true;
      this.say("stopped", false);
      const { detail } = (await answer?.json().catch(() => null)) ?? {};
      return detail && this.trouble(detail);
    }
    const { page } = await answer.json();
    const words = this.form.elements.words.value.trim();
    if (words) await post(`${page}word/`, new URLSearchParams({ words })).catch(() => {});
    await forget(this.angle);
    location.assign(page);
  }
}

function told(answer) {
  try {
    return JSON.parse(answer.getBody());
  } catch {
    return {};
  }
}

// Seconds, where this browser can read the clip; undefined where it can't.
function duration(file) {
  return new Promise((resolve) => {
    const video = document.createElement("video");
    const done = (value) => {
      clearTimeout(timer);
      URL.revokeObjectURL(video.src);
      resolve(Number.isFinite(value) ? value : undefined);
    };
    const timer = setTimeout(done, 3000);
    video.preload = "metadata";
    video.onloadedmetadata = () => done(video.duration);
    video.onerror = () => done();
    video.src = URL.createObjectURL(file);
  });
}

customElements.define("clip-upload", ClipUpload);
