// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// <walk-recorder>: speak while showing. The sound grows on the server every two seconds,
// and everything done (seek, play, speed, zoom, overlay, drawing) is kept as timed events. In a pause
// time stands still: what is done then stands at once when it goes on.
import { GrowingUpload } from "./growing-upload.js";
import { Level } from "./level.js";
import { LONGEST, noted } from "./script.js";
import { post, token } from "./server.js";
import { say, urlOf } from "./words.js";

const PIECE_MS = 2000;
const KEEP_MS = 4000;

class WalkRecorder extends HTMLElement {
  begin({ player, layers, moments, pair, tell, done }) {
    Object.assign(this, { player, layers, moments, pair, tell, done });
    this.start = this.querySelector("[data-start]");
    this.stop = this.querySelector("[data-finish]");
    this.rest = this.querySelector("[data-rest]");
    this.meter = this.querySelector("meter");
    this.clockface = this.querySelector("[data-clock]");
    this.rest.addEventListener("click", () => this.pause());
    this.start.addEventListener("click", () => this.record());
    this.stop.addEventListener("click", () => this.finish());
    player.addEventListener("frame", ({ detail }) => {
      if (!player.playing) this.note({ do: "frame", frame: detail.frame });
    });
    player.addEventListener("state", ({ detail }) => this.#state(detail));
    pair.addEventListener("change", ({ detail }) => this.#compared(detail));
    moments.addEventListener("drawn", ({ detail }) => this.note({ do: "mark", id: detail.key, ...(detail.gone ? { gone: true } : {}) }));
    this.querySelector("[data-demonstration]").addEventListener("change", ({ target }) => this.demonstrate(target));
    addEventListener("beforeunload", (event) => {
      if (this.walk) event.preventDefault();
    });
  }

  get elapsed() {
    return this.walk ? ((this.pausedAt ?? performance.now()) - this.since) / 1000 : 0;
  }

  async record() {
    this.start.disabled = true;
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({ audio: true });
    } catch {
      this.start.disabled = false;
      this.tell(say("no_microphone"));
      document.querySelector("[data-note-here]")?.focus();
      return;
    }
    try {
      this.upload = new GrowingUpload({
        endpoint: this.dataset.uploads, token: token(),
        metadata: { purpose: "voice", filename: "walk.webm" },
      });
      const upload = await this.upload.begin();
      this.walk = await post(this.dataset.url, { video: this.player.data.id, upload });
    } catch (error) {
      this.#close();
      return this.tell(error.message);
    }
    this.recorder = new MediaRecorder(this.stream, { audioBitsPerSecond: 48_000 });
    this.recorder.addEventListener("dataavailable", ({ data }) => this.upload.add(data));
    this.events = [];
    this.recorder.start(PIECE_MS);
    this.since = performance.now();
    this.pausedAt = null;
    this.level = new Level(this.stream, (share) => (this.meter.value = share));
    this.#stand();
    this.keeping = setInterval(() => this.keep(), KEEP_MS);
    this.ticking = setInterval(() => this.#tick(), 500);
    for (const shown of [this.stop, this.rest, this.meter]) shown.hidden = false;
    this.start.hidden = true;
    this.stop.focus();
    this.tell(say("recording"));
  }

  /** Neither sound nor time goes on until the same button is pressed again. */
  pause() {
    if (!this.walk || this.finishing) return;
    if (this.pausedAt === null) {
      this.recorder.pause();
      this.pausedAt = performance.now();
      this.tell(say("paused"));
    } else {
      this.since += performance.now() - this.pausedAt;
      this.pausedAt = null;
      this.recorder.resume();
      if (this.player.playing) this.note({ do: "play", on: true, frame: this.player.frame });
      this.tell(say("recording"));
    }
    this.rest.setAttribute("aria-pressed", String(this.pausedAt !== null));
  }

  /** How everything stands at the start, so that replay begins from the same picture. */
  #stand() {
    const { player, layers } = this;
    this.note({ do: "repetition", value: player.repetition });
    this.note({ do: "frame", frame: player.frame });
    this.note({ do: "speed", value: player.speed });
    this.note({ do: "bright", value: player.bright });
    this.note({ do: "view", value: player.view, fit: player.fit, filled: player.filled });
    if (player.loop) this.note({ do: "loop", value: player.loop });
    if (layers.figure) this.note({ do: "figure", value: layers.figure });
    this.#standBeside();
    if (player.playing) this.note({ do: "play", on: true, frame: player.frame });
    for (const id of layers.on) this.note({ do: "overlay", id, on: true });
    const shown = this.moments.marks.filter((m) => m.video === player.data.id && m.shape !== "note");
    for (const { key } of shown) this.note({ do: "mark", id: key });
  }

  #standBeside() {
    const { pair } = this;
    if (!pair.shown) return;
    this.#compared({ beside: pair.video, how: pair.how });
    this.#compared({ lie: pair.way });
    this.#compared({ share: pair.share });
    if (pair.layers.figure) this.#compared({ then: pair.layers.figure });
  }

  #compared(detail) {
    if ("beside" in detail) this.note({ do: "beside", value: detail.beside, how: detail.how });
    for (const name of ["lie", "share", "then"]) if (name in detail) this.note({ do: name, value: detail[name] });
  }

  #state(detail) {
    if ("playing" in detail) this.note({ do: "play", on: detail.playing, frame: this.player.frame });
    if ("speed" in detail) this.note({ do: "speed", value: detail.speed });
    if ("view" in detail) {
      const { filled, fit } = this.player;
      this.note({ do: "view", value: detail.view, fit, filled });
    }
    if ("loop" in detail) this.note({ do: "loop", value: detail.loop });
    if ("figure" in detail) this.note({ do: "figure", value: detail.figure });
    if ("repetition" in detail) this.note({ do: "repetition", value: detail.repetition });
    if ("bright" in detail) this.note({ do: "bright", value: detail.bright });
    if ("overlay" in detail) this.note({ do: "overlay", id: detail.overlay, on: detail.on });
    if (detail.data && this.walk && this.player.data.id !== this.clip) {
      this.clip = this.player.data.id;
      this.note({ do: "clip", value: this.clip });
    }
  }

  note(event) {
    if (!this.walk) return;
    this.clip ??= this.player.data.id;
    this.events = noted(this.events, { t: Math.round(this.elapsed * 1000) / 1000, ...event });
    this.unkept = true;
  }

  #tick() {
    const t = Math.floor(this.elapsed);
    const behind = this.upload.behind > 200_000 ? say("waiting_connection") : "";
    this.clockface.textContent = `${Math.floor(t / 60)}:${String(t % 60).padStart(2, "0")}${behind}`;
    if (t >= LONGEST) {
      this.finish();
      this.tell(say("twenty_minutes"));
    }
  }

  async keep() {
    if (!this.walk) return;
    const body = { events: this.events, duration_s: this.elapsed };
    await post(urlOf("save_walk", this.walk.id), body).catch(() => {});
  }

  async finish() {
    if (!this.walk || this.finishing) return;
    this.finishing = true;
    this.tell(say("last_words"));
    const duration_s = this.elapsed;
    const stopped = new Promise((resolve) => this.recorder.addEventListener("stop", resolve, { once: true }));
    this.recorder.stop();
    await stopped;
    try {
      await this.upload.finish();
      await post(urlOf("save_walk", this.walk.id), { events: this.events, duration_s });
      const walk = await post(urlOf("finish_walk", this.walk.id));
      this.tell(say("walk_kept"));
      this.newest = walk;
      this.done(walk);
    } catch (error) {
      this.tell(error.message);
    }
    this.#close();
    this.start.focus();
  }

  /** The coach's own film, sent by the same resumable protocol, beside a walk-through. */
  async demonstrate(input) {
    const [file] = input.files;
    if (!file) return;
    input.disabled = true;
    try {
      const upload = await this.#send(file);
      const walk = this.newest ?? (await post(this.dataset.url, { video: this.player.data.id }));
      const url = urlOf("demonstrate", walk.id);
      const kept = await post(url, { video: walk.video, upload });
      this.tell(say("film_kept"));
      this.done(kept);
    } catch (error) {
      this.tell(error.message);
    }
    input.value = "";
    input.disabled = false;
  }

  async #send(file) {
    const module = await import("../../vendor/tus.js");
    const Upload = module.Upload ?? globalThis.tus.Upload; // built for plain scripts or for modules
    return new Promise((resolve, reject) => {
      const upload = new Upload(file, {
        endpoint: this.dataset.uploads,
        retryDelays: [0, 1000, 3000, 5000, 10000, 20000],
        chunkSize: 5 * 1024 * 1024,
        metadata: { purpose: "demonstration", filename: file.name },
        headers: { "X-CSRFToken": token() },
        onProgress: (sent, size) => this.tell(say("sending_film", { percent: Math.floor((100 * sent) / size) })),
        onSuccess: () => resolve(upload.url.replace(/\/+$/, "").split("/").pop()),
        onError: (error) => reject(new Error(error.originalResponse ? say("film_not_kept") : say("choose_film_again"))),
      });
      upload.start();
    });
  }

  #close() {
    clearInterval(this.keeping);
    clearInterval(this.ticking);
    this.level?.end();
    this.stream?.getTracks().forEach((track) => track.stop());
    this.walk = null;
    this.pausedAt = null;
    this.rest.setAttribute("aria-pressed", "false");
    this.clip = undefined;
    this.finishing = false;
    for (const shown of [this.stop, this.rest, this.meter]) shown.hidden = true;
    this.start.hidden = false;
    this.start.disabled = false;
    this.clockface.textContent = "";
  }
}

customElements.define("walk-recorder", WalkRecorder);
