// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// Replay of a spoken walk-through over a clip: the sound is the clock, the player follows.
// Pause to explore freely; going on puts everything back as it stood.
import { refitted } from "./geometry.js";
import { fromWebVTT, nextIndex, playedIn, stateAt } from "./script.js";
import { frameAt } from "./time.js";

const APART_S = 0.15; // further than this from the script, the picture is put right

export class WalkReplay {
  /** `pair` (a SideBySide) shows what was compared; without it only the clip in hand is seen. */
  constructor({ walk, player, layers, audio, caption, pair = null, onClip = async (_video) => {} }) {
    Object.assign(this, { walk, player, layers, audio, caption, pair, onClip });
    this.lines = fromWebVTT(walk.captions ?? "");
    audio.src = walk.sound;
    audio.addEventListener("play", () => this.#go());
    audio.addEventListener("pause", () => this.#rest());
    audio.addEventListener("ended", () => this.#rest());
    audio.addEventListener("seeked", () => !audio.paused && this.#put());
  }

  async #go() {
    await this.#put();
    this.running = requestAnimationFrame(() => this.#tick());
  }

  #rest() {
    cancelAnimationFrame(this.running);
    this.player.pause();
    this.layers.only = null;
    this.layers.draw();
  }

  /** Everything as it stood at the sound's moment. */
  async #put() {
    const { audio, layers, player, walk } = this;
    const t = audio.currentTime;
    const state = stateAt(walk.events, t);
    this.next = nextIndex(walk.events, t);
    if ((state.clip ?? walk.video) !== player.data.id) await this.onClip(state.clip ?? walk.video);
    if ((state.repetition ?? 0) !== player.repetition) player.setRepetition(state.repetition ?? 0);
    layers.on = new Set(Object.keys(state.overlays).filter((id) => state.overlays[id]));
    layers.only = new Set(state.marks);
    layers.point(state.figure ?? null);
    if (state.view) this.#see(state.view, state.fit, state.filled);
    if (state.bright) player.setBright(state.bright);
    player.loop = state.loop ?? null;
    player.setSpeed(state.speed ?? 1);
    layers.draw();
    await this.#putBeside(state);
    const frame = this.#frameOf(state, t);
    await player.show(frame);
    if (state.playing && !audio.paused) player.play();
  }

  /** What was compared, as it stood; taken away where nothing was. */
  async #putBeside(state) {
    const { pair } = this;
    if (!pair || (!state.beside && !pair.video)) return;
    if ((state.beside ?? null) !== pair.video) await pair.open(state.beside ?? null, state.how);
    if (!state.beside) return;
    pair.lie(state.lie ?? "side");
    pair.setShare(state.share ?? 0.5);
    pair.point(state.then ?? null);
    await pair.align(state.how ?? "stretched");
  }

  /** The coach's view, through a window of another shape; a golfer who filled it fills this one. */
  #see(view, fit, filled) {
    if (filled) this.player.fill();
    else this.player.setView(refitted(view, fit ?? this.player.fit, this.player.fit));
  }

  /** The frame the script shows at `t`: where it was put, plus what has played since. */
  #frameOf(state, t) {
    const times = this.player.times;
    return state.playing ? frameAt(times, playedIn(state, t, times)) : (state.frame ?? 0);
  }

  #tick() {
    const { audio, walk } = this;
    const t = audio.currentTime;
    this.#caption(t);
    while (this.next < walk.events.length && walk.events[this.next].t <= t) {
      this.#do(walk.events[this.next]);
      this.next += 1;
    }
    this.#steady(t);
    if (!audio.paused && !audio.ended) this.running = requestAnimationFrame(() => this.#tick());
  }

  #do(event) {
    const { layers, pair, player } = this;
    const deeds = {
      frame: () => player.show(event.frame),
      play: () => (event.on ? player.show(event.frame ?? player.frame).then(() => player.play()) : player.pause()),
      speed: () => player.setSpeed(event.value),
      view: () => this.#see(event.value, event.fit, event.filled),
      bright: () => player.setBright(event.value),
      overlay: () => layers.toggle(event.id, event.on),
      clip: () => this.onClip(event.value),
      repetition: () => event.value !== player.repetition && player.setRepetition(event.value),
      loop: () => (player.loop = event.value ?? null),
      figure: () => layers.point(event.value ?? null),
      beside: () => pair?.open(event.value ?? null, event.how),
      lie: () => pair?.lie(event.value),
      share: () => pair?.setShare(event.value),
      then: () => pair?.point(event.value ?? null),
      mark: () => {
        if (event.gone) layers.only.delete(event.id);
        else layers.only.add(event.id);
        layers.draw();
      },
    };
    deeds[event.do]?.();
  }

  #steady(t) {
    const { player, walk } = this;
    if (!player.playing) return;
    const state = stateAt(walk.events, t);
    const due = player.times[this.#frameOf(state, t)];
    if (state.playing && !player.loop && Math.abs(due - player.time) > APART_S * Math.max(1, state.speed ?? 1)) {
      player.show(this.#frameOf(state, t)).then(() => !this.audio.paused && player.play());
    }
  }

  #caption(t) {
    if (!this.caption) return;
    const line = this.lines.find((l) => t >= l.start && t < l.end);
    this.caption.textContent = line?.text ?? "";
  }
}
