// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// <time-strip for="player">: the clip's time, its events as named notches, moments as flags.
// The strip is a slider: tap, drag or arrow keys; every event is a button of its own.
import { allEvents, clock, nearestFrame } from "./time.js";
import { say } from "./words.js";

class TimeStrip extends HTMLElement {
  #marks = [];

  connectedCallback() {
    this.player = document.getElementById(this.getAttribute("for"));
    this.readout = add(this, "output", "readout");
    this.track = add(this, "div", "track");
    Object.assign(this.track, { tabIndex: 0, role: "slider" });
    this.track.setAttribute("aria-label", say("time_of_clip"));
    this.loopMark = add(this.track, "div", "looping");
    this.ticks = add(this.track, "div", "ticks");
    this.flags = add(this.track, "div", "flags");
    this.needle = add(this.track, "div", "needle");
    this.leaders = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    this.leaders.setAttribute("class", "leaders");
    this.leaders.setAttribute("aria-hidden", "true");
    this.names = add(this, "div", "names");
    this.names.setAttribute("role", "group");
    this.names.setAttribute("aria-label", say("events"));
    this.insertBefore(this.leaders, this.names);
    this.player.addEventListener("frame", () => this.#move());
    this.player.addEventListener("state", ({ detail }) => {
      if (detail.data || detail.repetition !== undefined) this.render();
      if ("loop" in detail) this.#showLoop();
    });
    this.#dragging();
    new ResizeObserver(() => this.#lead()).observe(this);
    if (this.player.data) this.render();
  }

  set marks(marks) {
    this.#marks = marks;
    this.#flag();
  }

  #share(time) {
    const times = this.player.times;
    const length = times[times.length - 1] - times[0];
    return length > 0 ? Math.max(0, Math.min(1, (time - times[0]) / length)) : 0;
  }

  render() {
    const { player } = this;
    this.track.setAttribute("aria-valuemin", "0");
    this.track.setAttribute("aria-valuemax", String(Math.max(0, player.times.length - 1)));
    this.ticks.replaceChildren();
    for (const event of allEvents(player.data.repetitions)) {
      const tick = add(this.ticks, "i", event.repetition === player.repetition ? "" : "other");
      tick.style.left = `${100 * this.#share(event.time_s)}%`;
    }
    this.names.replaceChildren();
    for (const event of player.events) {
      const button = add(this.names, "button", event.source === "corrected" ? "corrected" : "");
      button.type = "button";
      button.dataset.event = event.id;
      button.textContent = this.#word(event.id);
      if (event.source === "corrected") add(button, "small", "").textContent = say("moved");
      button.addEventListener("click", () => player.toTime(event.time_s));
    }
    this.#flag();
    this.#move();
    this.#lead();
    this.#showLoop();
  }

  #word(event) {
    this.text ??= JSON.parse(this.dataset.text || "{}");
    return this.text[event] ?? event.replaceAll("_", " ");
  }

  #flag() {
    if (!this.player?.data) return;
    this.flags.replaceChildren();
    for (const mark of this.#marks.filter((m) => m.video === this.player.data.id)) {
      const flag = add(this.flags, "i", mark.end_s ? "range" : "");
      flag.style.left = `${100 * this.#share(mark.start_s)}%`;
      if (mark.end_s) {
        flag.style.width = `${100 * (this.#share(mark.end_s) - this.#share(mark.start_s))}%`;
      }
    }
  }

  #move() {
    const { player } = this;
    if (!player.data) return;
    this.needle.style.left = `${100 * this.#share(player.time)}%`;
    const here = player.events.find((e) => nearestFrame(player.times, e.time_s) === player.frame);
    const text = `${clock(player.time)} · frame ${player.frame + 1} of ${player.times.length}`;
    this.readout.textContent = text;
    this.track.setAttribute("aria-valuenow", String(player.frame));
    this.track.setAttribute("aria-valuetext", here ? `${this.#word(here.id)}, ${text}` : text);
    for (const button of this.names.children) {
      const at = here?.id === button.dataset.event;
      if (at) button.setAttribute("aria-current", "true");
      else button.removeAttribute("aria-current");
    }
  }

  #showLoop() {
    const { loop, times } = this.player;
    this.loopMark.hidden = !loop;
    if (!loop) return;
    const [a, b] = loop.map((frame) => this.#share(times[frame]));
    this.loopMark.style.left = `${100 * a}%`;
    this.loopMark.style.width = `${100 * (b - a)}%`;
  }

  /** Hairlines from each notch in true time down to its evenly spaced name. */
  #lead() {
    if (!this.player.data) return;
    const box = this.leaders.getBoundingClientRect();
    this.leaders.replaceChildren();
    if (!box.height) return; // on a phone the names wrap and stand without hairlines
    const events = this.player.events;
    [...this.names.children].forEach((button, i) => {
      const b = button.getBoundingClientRect();
      const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
      line.setAttribute("x1", this.#share(events[i].time_s) * box.width);
      line.setAttribute("y1", 0);
      line.setAttribute("x2", b.left + b.width / 2 - box.left);
      line.setAttribute("y2", box.height);
      this.leaders.append(line);
    });
  }

  #dragging() {
    const to = (event) => {
      const box = this.track.getBoundingClientRect();
      const share = (event.clientX - box.left) / box.width;
      const times = this.player.times;
      if (times.length) this.player.toTime(times[0] + share * (times[times.length - 1] - times[0]));
    };
    this.track.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      this.track.setPointerCapture(event.pointerId);
      to(event);
    });
    this.track.addEventListener("pointermove", (event) => {
      if (this.track.hasPointerCapture(event.pointerId)) to(event);
    });
    this.track.addEventListener("keydown", (event) => {
      const player = this.player;
      const steps = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10 };
      if (event.key === "Home") player.show(0);
      else if (event.key === "End") player.show(player.times.length - 1);
      else if (event.key in steps) player.step(steps[event.key] * (event.shiftKey ? 10 : 1));
      else return;
      event.preventDefault();
      event.stopPropagation();
    });
  }
}

function add(parent, name, className) {
  const made = document.createElement(name);
  if (className) made.className = className;
  parent.append(made);
  return made;
}

customElements.define("time-strip", TimeStrip);
