// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// <frame-player data-src="…">: a clip that shows exactly the frame asked for.
//
// It tells what happens by events on itself: `frame` {frame, time_s}, `state` {…changed}
// and, bubbling, `review:moment` {video, repetition, event, time_s}. Overlays are drawn by
// others into `player.ink`, an SVG that moves with the picture.
import { bodyBox } from "./curves.js";
import { centredOn, clampView, filledWith, fitOf, pan, toPicture, WHOLE, zoomAt } from "./geometry.js";
import { get } from "./server.js";
import { say } from "./words.js";
import {
  clampFrame, clampSpeed, eventsInOrder, frameAt, loopFrames, momentOf, nearestFrame,
  neighbourEvent, nextSpeed, playedTo, seekTime, SLOWEST_NATIVE,
} from "./time.js";

const SVG = "http://www.w3.org/2000/svg";
const GIVE_UP_MS = 400;

export class FramePlayer extends HTMLElement {
  data = null;
  frame = 0;
  presented = -1;
  repetition = 0;
  speed = 1;
  bright = 1;
  playing = false;
  loop = null;
  view = WHOLE;
  fit = [1, 1];
  #wanted = null;
  #seeking = null;
  #message = "";
  #waiters = [];
  #stepping = 0;

  connectedCallback() {
    if (this.ready) return;
    this.video = this.querySelector("video") ?? document.createElement("video");
    this.video.controls = false;
    this.video.muted = true;
    this.video.playsInline = true;
    this.video.preload = "auto";
    this.window = element("div", "window");
    this.stage = element("div", "stage");
    this.ink = document.createElementNS(SVG, "svg");
    this.ink.classList.add("ink");
    this.ink.setAttribute("role", "img");
    this.ink.setAttribute("aria-label", this.dataset.label ?? say("lines_on_clip"));
    this.notice = element("p", "notice");
    this.notice.setAttribute("role", "status");
    this.stage.append(this.video, this.ink);
    this.window.append(this.stage);
    this.append(this.window, this.notice);
    this.video.addEventListener("ended", () => this.#wrap());
    this.video.addEventListener("error", () => this.#missing());
    this.#listen();
    this.#panning();
    new ResizeObserver(() => this.#resized()).observe(this.window);
    if (this.dataset.src) this.ready = this.load(this.dataset.src);
  }

  get times() {
    return this.data?.frame_times_s ?? [];
  }

  get time() {
    return this.times[this.frame] ?? 0;
  }

  get aspect() {
    const { videoWidth, videoHeight } = this.video;
    if (videoWidth) return videoWidth / videoHeight;
    return this.data?.width ? this.data.width / this.data.height : 9 / 16;
  }

  /** The events of the repetition in hand, in order. */
  get events() {
    return eventsInOrder(this.data?.repetitions[this.repetition]?.events);
  }

  async load(url) {
    this.pause();
    this.data = await get(url);
    this.repetition = 0;
    this.loop = null;
    this.presented = -1;
    this.frame = 0;
    this.setView(WHOLE);
    this.#say();
    if (!this.data.url) return this.#change({ data: true });
    this.video.src = this.data.url;
    await once(this.video, "loadeddata", "error");
    this.style.setProperty("--aspect", String(this.aspect));
    this.classList.toggle("wide", this.aspect > 1);
    this.fill();
    this.#resized();
    this.ink.setAttribute("viewBox", `0 0 ${1000 * this.aspect} 1000`);
    const first = this.events.find((event) => event.id === "address") ?? this.events[0];
    this.#change({ data: true });
    await this.show(first ? nearestFrame(this.times, first.time_s) : 0);
    return this.data;
  }

  /** New figures and events after a correction; the picture stays. */
  refresh(fresh) {
    Object.assign(this.data, fresh);
    this.#change({ data: true });
    this.#tell();
  }

  /** Show a frame; resolves when it is on screen. Only the newest wish is followed. */
  show(frame) {
    if (this.playing) this.pause();
    return this.#seek(frame);
  }

  step(by) {
    return this.show((this.#wanted ?? this.frame) + by);
  }

  toTime(time) {
    return this.show(nearestFrame(this.times, time));
  }

  toEvent(id) {
    const event = this.events.find((e) => e.id === id);
    return event ? this.toTime(event.time_s) : null;
  }

  toNeighbour(direction) {
    const event = neighbourEvent(this.events, this.times, this.frame, direction);
    return event ? this.toTime(event.time_s) : null;
  }

  setRepetition(repetition) {
    this.repetition = repetition;
    this.loop = null;
    this.#change({ repetition });
    return this.toEvent("address") ?? this.show(this.frame);
  }

  setSpeed(speed) {
    this.speed = clampSpeed(speed);
    this.video.playbackRate = Math.max(SLOWEST_NATIVE, this.speed);
    if (this.playing) {
      this.pause();
      this.play();
    }
    this.#change({ speed: this.speed });
  }

  changeSpeed(by) {
    this.setSpeed(nextSpeed(this.speed, by));
  }

  setBright(bright) {
    this.bright = bright;
    this.video.style.filter = bright === 1 ? "" : `brightness(${bright})`;
    this.#change({ bright });
  }

  /** Loop between two events by name, or stop looping with null. */
  setLoop(from, to) {
    const [a, b] = [from, to].map((id) => this.events.find((e) => e.id === id));
    this.loop = a && b && a !== b ? loopFrames(this.times, a, b) : null;
    this.#change({ loop: this.loop });
  }

  /** Another window, another way to fit: what was shown whole or filled stays so. */
  #resized() {
    const { clientWidth: width, clientHeight: height } = this.window;
    if (!width || !height || !this.data) return;
    this.fit = fitOf(this.aspect, width / height);
    this.stage.style.width = `${100 * this.fit[0]}%`;
    this.stage.style.height = `${100 * this.fit[1]}%`;
    if (this.filled) this.fill();
    else this.setView(this.view);
  }

  setView(view, filled = false) {
    this.filled = filled;
    this.view = clampView(view, this.fit);
    const { scale, x, y } = this.view;
    // A share of the stage, which is `fit` shares of the window.
    const [left, top] = [x / this.fit[0], y / this.fit[1]].map((share) => share * 100);
    this.stage.style.transform = `translate(${left}%, ${top}%) scale(${scale})`;
    this.stage.style.setProperty("--zoom", String(scale));
    this.classList.toggle("close", scale > 1);
    this.#change({ view: this.view });
  }

  closer(factor = 1.6, at = [0.5, 0.5]) {
    this.setView(zoomAt(this.view, at, factor, this.fit));
  }

  /** Fill the window with the body and the club, where they were found. */
  fill() {
    const box = bodyBox(this.data);
    this.setView(box ? filledWith(box, 1.12, this.fit) : WHOLE, true);
  }

  centre(point, scale = Math.max(2, this.view.scale)) {
    this.setView(centredOn(this.view, point, scale, this.fit));
  }

  async play() {
    if (this.playing || !this.data?.url) return;
    const [first, last] = this.loop ?? [0, this.times.length - 1];
    if (this.frame >= last || this.frame < first) await this.show(first);
    this.playing = true;
    this.#change({ playing: true });
    if (this.speed < SLOWEST_NATIVE) this.#stepAlong();
    else await this.video.play().catch(() => this.pause());
  }

  pause() {
    if (!this.playing) return;
    this.playing = false;
    cancelAnimationFrame(this.#stepping);
    this.video.pause();
    this.#change({ playing: false });
  }

  toggle() {
    return this.playing ? this.pause() : this.play();
  }

  /** The point of the picture (0..1) under a pointer. */
  pointOf(event) {
    const box = this.window.getBoundingClientRect();
    const at = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
    return toPicture(this.view, at, this.fit);
  }

  // Seeking

  #seek(frame) {
    this.#wanted = clampFrame(this.times, frame);
    this.#seeking ??= this.#follow().finally(() => {
      this.#seeking = null;
    });
    return this.#seeking;
  }

  async #follow() {
    while (this.#wanted !== null) {
      const target = this.#wanted;
      if (this.presented !== target) await this.#seekOnce(target);
      if (this.#wanted === target) this.#wanted = null;
    }
  }

  async #seekOnce(frame) {
    const arrived = new Promise((resolve) => {
      this.#waiters.push({ frame, resolve });
      setTimeout(resolve, GIVE_UP_MS);
    });
    this.video.currentTime = seekTime(this.times, frame);
    await arrived;
    this.#waiters = this.#waiters.filter((waiter) => waiter.frame !== frame);
    if (this.presented !== frame) {
      // A frame that was never announced (a tab in the background) is still the one asked for.
      this.presented = frame;
      this.#shown(frame);
    }
  }

  #listen() {
    const announce = (now, { mediaTime }) => {
      if (this.times.length) {
        this.presented = nearestFrame(this.times, mediaTime);
        this.#shown(this.presented);
        for (const { frame, resolve } of this.#waiters) {
          if (frame === this.presented) resolve();
        }
        if (this.playing && this.loop && this.presented >= this.loop[1]) this.#wrap();
      }
      this.video.requestVideoFrameCallback(announce);
    };
    this.video.requestVideoFrameCallback(announce);
  }

  #shown(frame) {
    if (frame === this.frame && this.shownOnce) return;
    this.shownOnce = true;
    this.frame = frame;
    this.dispatchEvent(new CustomEvent("frame", { detail: { frame, time_s: this.time } }));
    this.#tell();
  }

  async #wrap() {
    if (!this.playing) return;
    if (!this.loop) return this.pause();
    await this.#seek(this.loop[0]);
    if (this.playing && this.speed >= SLOWEST_NATIVE) this.video.play().catch(() => {});
  }

  #stepAlong() {
    const from = this.time;
    const start = performance.now();
    const [first, last] = this.loop ?? [0, this.times.length - 1];
    const tick = () => {
      if (!this.playing) return;
      const elapsed = (performance.now() - start) / 1000;
      const time = playedTo(from, elapsed, this.speed, this.times[first], this.times[last]);
      if (!this.loop && from + elapsed * this.speed >= this.times[last]) {
        this.#seek(last);
        return this.pause();
      }
      if (!this.#seeking) this.#seek(frameAt(this.times, time));
      this.#stepping = requestAnimationFrame(tick);
    };
    this.#stepping = requestAnimationFrame(tick);
  }

  // Telling

  #change(detail) {
    this.dispatchEvent(new CustomEvent("state", { detail }));
  }

  #tell() {
    const event = momentOf(this.events, this.time);
    const moment = `${this.data.id} ${this.repetition} ${event?.id} ${this.frame}`;
    if (moment === this.#message) return;
    this.#message = moment;
    const detail = {
      video: this.data.id, repetition: this.repetition, event: event?.id ?? "", time_s: this.time,
      frame: this.frame, at: Boolean(event) && nearestFrame(this.times, event.time_s) === this.frame,
    };
    this.dispatchEvent(new CustomEvent("review:moment", { bubbles: true, detail }));
  }

  #say() {
    this.notice.textContent =
      {
        measuring: say("still_measuring"),
        unmeasured: say("not_agreed"),
        failed: say("not_measurable"),
        gone: say("clip_erased"),
      }[this.data.state] ?? "";
    this.notice.hidden = !this.notice.textContent;
  }

  #missing() {
    if (!this.video.error || !this.data?.url) return;
    this.notice.textContent = say("picture_missing");
    this.notice.hidden = false;
  }

  // Fingers and mouse: a tap plays, a drag moves a close picture, two fingers zoom.

  #panning() {
    const fingers = new Map();
    let moved = 0;
    let spread = 0;
    const box = () => this.window.getBoundingClientRect();
    this.window.addEventListener("pointerdown", (event) => {
      if (event.button || this.tool || event.defaultPrevented) return;
      fingers.set(event.pointerId, event);
      moved = 0;
    });
    this.window.addEventListener("pointermove", (event) => {
      const last = fingers.get(event.pointerId);
      if (!last) return;
      fingers.set(event.pointerId, event);
      const { width, height, left, top } = box();
      const [dx, dy] = [event.clientX - last.clientX, event.clientY - last.clientY];
      moved += Math.abs(dx) + Math.abs(dy);
      if (fingers.size === 2) {
        const [a, b] = [...fingers.values()];
        const apart = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
        const at = [((a.clientX + b.clientX) / 2 - left) / width, ((a.clientY + b.clientY) / 2 - top) / height];
        if (spread) this.closer(apart / spread, at);
        spread = apart;
      } else if (this.view.scale > 1) {
        this.window.setPointerCapture(event.pointerId);
        this.setView(pan(this.view, dx / width, dy / height, this.fit));
      }
    });
    const lift = (event) => {
      if (fingers.delete(event.pointerId) && event.type === "pointerup" && moved < 8 && !fingers.size) {
        this.toggle();
      }
      spread = 0;
    };
    this.window.addEventListener("pointerup", lift);
    this.window.addEventListener("pointercancel", lift);
    this.window.addEventListener(
      "wheel",
      (event) => {
        if (!event.ctrlKey && !this.hasAttribute("zooms")) return; // elsewhere a plain wheel scrolls the page
        event.preventDefault();
        const { width, height, left, top } = box();
        const at = [(event.clientX - left) / width, (event.clientY - top) / height];
        this.closer(Math.exp(-event.deltaY / 200), at);
      },
      { passive: false },
    );
  }
}

function element(name, className) {
  const made = document.createElement(name);
  made.className = className;
  return made;
}

function once(target, ...names) {
  return new Promise((resolve) => {
    for (const name of names) target.addEventListener(name, resolve, { once: true });
  });
}

customElements.define("frame-player", FramePlayer);
