// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// <clip-upload>: sends the chosen clip by the tus protocol and never gives up: it goes on after a
// dead line, a reload, another page or another day. Without this script the form sends it whole.
import { forget, keep, unsent } from "./clip-store.js";
import { megabytes, pauseAfter, watchdog, whatNow } from "./persistence.js";

const PIECE = 8 * 1024 * 1024;

class ClipUpload extends HTMLElement {
  async connectedCallback() {
    this.form = this.querySelector("form");
    if (!this.form || !globalThis.Blob?.prototype.slice) return;
    this.setAttribute("ready", "");
    this.watch = watchdog(() => this.silent());
    for (const input of this.querySelectorAll("input[type=file]")) {
      input.addEventListener("change", () => input.files[0] && this.take(input.files[0]));
    }
    this.act("pause", () => this.pause());
    this.act("resume", () => this.go());
    this.act("try", () => this.go());
    this.act("discard", () => this.discard());
    this.form.addEventListener("submit", (event) => event.preventDefault());
    addEventListener("online", () => this.waiting && this.go());
    document.addEventListener("visibilitychange", () => document.hidden || !this.waiting || this.go());
    addEventListener("beforeunload", (event) => this.state === "sending" && !this.safe && event.preventDefault());
    // Chosen before this script was there, or brought back by the browser.
    const chosen = [...this.querySelectorAll("input[type=file]")].find((input) => input.files.length);
    if (chosen) return this.take(chosen.files[0]);
    const [row] = (await unsent({ angle: this.dataset.angle })).filter((one) => !one.refused);
    if (row && !this.row && !this.busy) this.start(row, true);
  }

  disconnectedCallback() { this.hush(); this.upload?.abort(); }

  part(name) { return this.querySelector(`[data-part="${name}"]`); }
  act(name, does) { this.querySelector(`[data-act="${name}"]`).addEventListener("click", does); }
  text(name) { return this.querySelector("template[data-text]").content.querySelector(`[data-for="${name}"]`).textContent; }

  /** Take a file: from the chooser, or filmed in the page. */
  async take(file) {
    if (file.size > Number(this.dataset.max)) return this.trouble(this.text("too_big"), file);
    const { angle, student, label, replaces } = this.dataset;
    await this.start({
      key: crypto.randomUUID?.() ?? this.form.elements.key.value,
      file, angle, student, label, replaces,
      text: this.form.elements.text?.value.trim() ?? "", ball: this.ball(), page: location.pathname, at: Date.now(), sent: 0,
    });
  }

  /** What the ball did, where it was asked and said. */
  ball() {
    return [...new FormData(this.form)].filter(([name, value]) => ["flight", "height", "strike"].includes(name) && value);
  }

  async start(row, kept = false) {
    this.row = row;
    this.failures = 0;
    this.show(row.file);
    this.safe = kept || (await keep(row));
    if (row.paused) return this.say("paused");
    await this.prepare();
    this.go();
  }

  show(file) {
    this.part("trouble").hidden = true;
    this.part("ask").hidden = true;
    this.part("sending").hidden = false;
    const film = this.querySelector("[data-part=film]");
    if (film.src) URL.revokeObjectURL(film.src);
    film.src = `${URL.createObjectURL(file)}#t=0.5`;
    this.showProgress(this.row.sent ?? 0);
    this.part("sending").scrollIntoView();
  }

  async prepare() {
    const { Upload } = await import("../../vendor/tus.js");
    const { file, key, angle, replaces } = this.row;
    const metadata = { filename: file.name || "film", filetype: file.type, angle, key };
    const seconds = await duration(file);
    if (seconds) metadata.duration = String(seconds);
    if (replaces) metadata.replaces = replaces;
    this.upload = new Upload(file, {
      endpoint: this.dataset.endpoint,
      chunkSize: PIECE,
      retryDelays: null, // we wait longer than a list can say
      metadata,
      removeFingerprintOnSuccess: true,
      fingerprint: async () => ["causeway", angle, key].join("-"),
      onBeforeRequest: (request) => { request.setHeader("X-CSRFToken", this.token); this.watch.moved(); },
      onAfterResponse: () => this.watch.moved(),
      onProgress: (sent) => { this.watch.moved(); this.failures = 0; this.showProgress(sent); },
      onChunkComplete: (_size, sent) => { this.row.sent = sent; if (this.safe) keep(this.row); },
      onError: (error) => this.failed(answerOf(error)),
      onSuccess: () => this.arrived(),
    });
    const [before] = await this.upload.findPreviousUploads();
    if (before) this.upload.resumeFromPreviousUpload(before);
  }

  // Signing in again on another page renews it.
  get token() {
    return document.cookie.match(/(?:^|; )csrftoken=([^;]+)/)?.[1] ?? this.form.elements.csrfmiddlewaretoken.value;
  }

  async go() {
    this.hush();
    this.part("trouble").hidden = true;
    if (this.row.paused) { this.row.paused = false; keep(this.row); }
    this.say("sending");
    if (!this.upload) await this.prepare().catch(() => this.failed({ status: 0 }));
    if (!this.upload || this.state !== "sending") return;
    this.watch.moved();
    this.upload.start();
  }

  /** Nothing waits and nothing watches. */
  hush() {
    clearInterval(this.clock);
    this.waiting = false;
    this.watch.stop();
  }

  async silent() {
    await this.upload?.abort().catch(() => {});
    this.failed({ status: 0 });
  }

  async pause() {
    this.hush();
    this.row.paused = true;
    keep(this.row);
    this.say("paused");
    await this.upload?.abort();
  }

  async discard() {
    if (!confirm(this.text("sure"))) return;
    this.hush();
    const { row, upload } = this;
    this.reset();
    await forget(row.key);
    await upload?.abort(true).catch(() => {});
  }

  reset() {
    this.hush();
    this.upload = this.row = undefined;
    this.state = "";
    this.form.querySelectorAll("input[type=file]").forEach((input) => (input.value = ""));
    this.part("sending").hidden = true;
    this.part("ask").hidden = false;
  }

  say(state) {
    this.state = state;
    this.part("heading").textContent = this.text(`${state}_heading`);
    this.part("note").textContent = this.text(this.safe || state === "signed_out" ? `${state}_note` : "stay_note");
    this.part("state").textContent = "";
    this.part("sending").dataset.state = state;
    const shown = { pause: state === "sending", resume: state === "paused", try: state === "waiting" || state === "signed_out" };
    for (const [name, yes] of Object.entries(shown)) this.querySelector(`[data-act="${name}"]`).hidden = !yes;
    this.querySelector("[data-part=sign-in]")?.toggleAttribute("hidden", state !== "signed_out");
  }

  showProgress(sent) {
    const all = this.row.file.size;
    this.querySelector("progress").value = all ? sent / all : 0;
    this.part("share").textContent = this.text("share")
      .replace("%1", megabytes(sent)).replace("%2", megabytes(all));
  }

  failed(answer) {
    this.hush();
    if (!this.row || this.state === "paused") return;
    this.failures += 1;
    const now = whatNow(answer);
    if (now === "refused") return this.refused(answer.detail);
    if (now === "sign_in") { this.say("signed_out"); this.waiting = true; return; }
    if (now === "anew") { forget(this.row.key); this.row.key = crypto.randomUUID(); keep(this.row); this.upload = undefined; }
    this.say("waiting");
    this.countDown(pauseAfter(this.failures), answer.status >= 500 ? answer.detail : "");
  }

  countDown(seconds, detail) {
    this.waiting = true;
    const tell = () => {
      this.part("state").textContent = `${detail ? `${detail} ` : ""}${this.text("again").replace("%1", seconds)}`;
    };
    tell();
    this.clock = setInterval(() => {
      seconds -= 1;
      if (seconds > 0) return tell();
      this.go();
    }, 1000);
  }

  // Sending it again would change nothing; the only copy may be ours, so it can be saved.
  refused(detail) {
    const { row } = this;
    keep({ ...row, refused: detail });
    this.reset();
    this.trouble(detail, row.file);
  }

  trouble(sentence, file) {
    const place = this.part("trouble");
    place.textContent = `${sentence} `;
    if (file?.size) {
      const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(file), download: file.name || "film.mp4", textContent: this.text("save") });
      place.append(link);
    }
    place.hidden = false;
    place.scrollIntoView({ block: "center" });
  }

  async arrived() {
    this.watch.stop();
    const post = (url, body) => fetch(url, {
      method: "POST", headers: { "X-CSRFToken": this.token, Accept: "application/json" }, body, signal: AbortSignal.timeout(30000),
    });
    const answer = await post(`${this.upload.url}/finish`).catch(() => null);
    if (!answer?.ok) return this.failed({ status: answer?.status ?? 0, ...(await answer?.json().catch(() => null)) });
    const { page } = await answer.json();
    if (this.row.text) await post(`${page}word/`, new URLSearchParams({ text: this.row.text })).catch(() => {});
    if (this.row.ball?.length) await post(`${page}ball/`, new URLSearchParams(this.row.ball)).catch(() => {});
    this.state = "arrived";
    await forget(this.row.key);
    location.assign(page);
  }
}

function answerOf(error) {
  const response = error.originalResponse;
  let told = {};
  try { told = JSON.parse(response.getBody()); } catch { /* no answer, or not ours */ }
  return { status: response?.getStatus() ?? 0, ...told };
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
