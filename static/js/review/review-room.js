// <review-room>: the coach's room around one review. Wires the player, its lines and tools to
// the server-rendered page; every part works through the same small endpoints.
import "./frame-player.js";
import "./time-strip.js";
import "./player-controls.js";
import "./autosave.js";
import "./moments.js";
import "./correct-tool.js";
import "./compare-tool.js";
import "./walk-recorder.js";
import "./caption-lines.js";
import { ACTIONS, keyMap, keyName, rebind } from "./keys.js";
import { Layers, overlaySwitches } from "./layers.js";
import { fragment, get, post, Refusal } from "./server.js";
import { WalkReplay } from "./walk-replay.js";

class ReviewRoom extends HTMLElement {
  #undo = [];

  async connectedCallback() {
    const one = (selector) => this.querySelector(selector);
    this.player = one("frame-player");
    this.strip = one("time-strip");
    this.status = one("[data-tell]");
    this.figures = one("[data-figures]");
    this.words = one("auto-save");
    this.preferences = JSON.parse(this.dataset.preferences || "{}");
    const tell = (words) => (this.status.textContent = words);
    const undo = { push: (deed) => this.#keepUndo(deed) };
    this.layers = new Layers(this.player);
    this.layers.on = new Set(this.preferences.overlays ?? []);
    const { marks, walks } = await get(this.dataset.review);
    await this.player.ready;
    this.moments = one("review-moments");
    this.moments.begin({ player: this.player, layers: this.layers, strip: this.strip, marks, undo, tell });
    const refreshed = (html) => this.#figures(html);
    one("correct-tool").begin({ player: this.player, undo, tell, refreshed });
    one("compare-tool").begin({ player: this.player, layers: this.layers, tell, beside: one("[data-beside]") });
    one("walk-recorder").begin({ player: this.player, layers: this.layers, moments: this.moments, tell, done: (walk) => this.#walk(walk) });
    walks.forEach((walk) => this.#walk(walk));
    this.#clips();
    this.#tools();
    this.#overlays();
    this.#moment();
    this.#reps();
    this.#habits();
    this.#keys();
    this.#snippets();
    this.#sending();
    this.player.addEventListener("frame", () => this.#moment());
    this.player.addEventListener("state", ({ detail }) => {
      if (!detail.data && !("repetition" in detail)) return;
      this.#reps();
      this.#moment();
    });
    this.addEventListener("review:seek", ({ detail }) => this.#goto(detail));
    document.addEventListener("review:seek", ({ detail, target }) => !this.contains(target) && this.#goto(detail));
    document.addEventListener("review:undo", () => this.#takeBack());
    one("[data-undo]").addEventListener("click", () => this.#takeBack());
    this.#wait();
    this.toggleAttribute("ready", true);
  }

  // Clips of the review, switched without leaving the page.

  #clips() {
    this.querySelectorAll("[data-clip]").forEach((button) =>
      button.addEventListener("click", () => this.open(Number(button.dataset.clip))),
    );
  }

  async open(video) {
    if (this.player.data?.id === video) return;
    this.querySelectorAll("[data-clip]").forEach((b) => {
      if (Number(b.dataset.clip) === video) b.setAttribute("aria-current", "true");
      else b.removeAttribute("aria-current");
    });
    const [html] = await Promise.all([
      fragment(`/review/video/${video}/figures`),
      this.player.load(`/review/video/${video}/data`),
    ]);
    this.#figures(html);
    this.moments.render();
    this.#overlays();
    this.#wait();
  }

  async #goto({ video, time_s: time }) {
    if (video && video !== this.player.data.id) await this.open(video);
    await this.player.toTime(time);
  }

  /** A clip still being measured: its figures come by themselves. */
  #wait() {
    clearTimeout(this.waiting);
    if (this.player.data.state !== "measuring") return;
    this.waiting = setTimeout(async () => {
      const video = this.player.data.id;
      const fresh = document.hidden ? null : await get(`/review/video/${video}/data`).catch(() => null);
      if (fresh && fresh.id === this.player.data.id && fresh.state !== "measuring") {
        this.#figures(await fragment(`/review/video/${video}/figures`));
        await this.player.load(`/review/video/${video}/data`);
        this.#overlays();
      }
      this.#wait();
    }, 5000);
  }

  // The margin: figures of the moment, each able to show what it is read from.

  #figures(html) {
    this.figures.innerHTML = html;
    this.#moment();
  }

  #moment() {
    const { player } = this;
    if (!player.data) return;
    const event = this.#nearest();
    this.figures.querySelectorAll("[data-rep]").forEach((rep) => {
      rep.hidden = Number(rep.dataset.rep) !== player.repetition;
      rep.querySelectorAll("[data-moment]").forEach((group) => (group.hidden = group.dataset.moment !== event));
    });
  }

  #nearest() {
    const { events, time } = this.player;
    let best = null;
    for (const event of events) {
      if (!best || Math.abs(event.time_s - time) < Math.abs(best.time_s - time)) best = event;
    }
    return best?.id ?? "";
  }

  // Tools: one panel open at a time, so that the clip stays in view.

  #tools() {
    const tabs = [...this.querySelectorAll("[data-tool]")];
    const open = (name) => {
      this.player.tool?.stop(null);
      for (const tab of tabs) {
        const mine = tab.dataset.tool === name;
        tab.setAttribute("aria-expanded", String(mine));
        document.getElementById(tab.getAttribute("aria-controls")).hidden = !mine;
      }
      this.querySelector("correct-tool").shown();
      this.status.textContent = "";
    };
    tabs.forEach((tab) =>
      tab.addEventListener("click", () => open(tab.getAttribute("aria-expanded") === "true" ? null : tab.dataset.tool)),
    );
    this.figures.addEventListener("click", (event) => {
      const look = event.target.closest("[data-segments]");
      if (!look) return;
      const on = look.getAttribute("aria-pressed") !== "true";
      this.figures.querySelectorAll("[data-segments]").forEach((b) => b.setAttribute("aria-pressed", String(on && b === look)));
      this.layers.point(on ? JSON.parse(look.dataset.segments) : []);
      if (on && look.dataset.time) this.player.toTime(Number(look.dataset.time));
    });
  }

  /** One button for each swing of a clip that holds several. */
  #reps() {
    const row = this.querySelector("[data-reps]");
    const { data, repetition } = this.player;
    row.hidden = data.repetitions.length < 2;
    row.replaceChildren();
    data.repetitions.forEach((_, number) => {
      const button = Object.assign(document.createElement("button"), { type: "button", textContent: `${row.dataset.word} ${number + 1}` });
      button.dataset.repetition = number;
      button.setAttribute("aria-pressed", String(number === repetition));
      button.addEventListener("click", () => this.player.setRepetition(number));
      row.append(button);
    });
  }

  #overlays() {
    const panel = this.querySelector("[data-overlays]");
    overlaySwitches(this.layers, panel, () => this.#remember({ overlays: [...this.layers.on] }));
  }

  // Habits: speed, brightness and keys, remembered for this coach.

  #habits() {
    const { speed, bright } = this.preferences;
    if (speed) this.player.setSpeed(speed);
    if (bright) this.player.setBright(bright);
    this.player.addEventListener("state", ({ detail }) => {
      if ("speed" in detail) this.#remember({ speed: detail.speed });
      if ("bright" in detail) this.#remember({ bright: detail.bright });
    });
  }

  #remember(changed) {
    this.habits = { ...this.habits, ...changed };
    clearTimeout(this.remembering);
    this.remembering = setTimeout(() => {
      post(this.dataset.preferencesUrl, this.habits).catch(() => {});
      this.habits = {};
    }, 900);
  }

  #keys() {
    const controls = this.querySelector("player-controls[keys]");
    controls.keys = keyMap(this.preferences.keys);
    controls.keysOn = this.preferences.keys_on ?? true;
    const panel = this.querySelector("[data-keys]");
    const on = panel.querySelector("input");
    on.checked = controls.keysOn;
    on.addEventListener("change", () => {
      controls.keysOn = on.checked;
      this.#remember({ keys_on: on.checked });
    });
    const list = panel.querySelector("ul");
    const render = () => {
      list.replaceChildren();
      for (const [action, { label }] of Object.entries(ACTIONS)) {
        const item = list.appendChild(document.createElement("li"));
        const button = Object.assign(document.createElement("button"), { type: "button", textContent: controls.keys[action] });
        button.setAttribute("aria-label", `${label}: ${controls.keys[action]}. Press to choose another key.`);
        button.addEventListener("click", () => listen(action, button));
        item.append(button, ` ${label}`);
      }
    };
    const listen = (action, button) => {
      button.textContent = "press a key";
      button.addEventListener(
        "keydown",
        (event) => {
          if (["Shift", "Control", "Alt", "Meta", "Tab"].includes(event.key)) return render();
          event.preventDefault();
          event.stopPropagation();
          if (event.key !== "Escape") {
            controls.keys = rebind(controls.keys, action, keyName(event));
            this.#remember({ keys: controls.keys });
          }
          render();
          list.children[Object.keys(ACTIONS).indexOf(action)].querySelector("button").focus();
        },
        { once: true },
      );
    };
    render();
  }

  // Undo, newest first, over drawings and corrections alike.

  #keepUndo(deed) {
    this.#undo.push(deed);
    this.querySelector("[data-undo]").disabled = false;
  }

  async #takeBack() {
    const deed = this.#undo.pop();
    this.querySelector("[data-undo]").disabled = !this.#undo.length;
    const before = this.#undo.length;
    await deed?.undo();
    this.#undo.length = Math.min(this.#undo.length, before); // undoing is not itself undone
  }

  // Words said every day.

  #snippets() {
    const panel = this.querySelector("[data-snippets]");
    panel.addEventListener("click", async (event) => {
      const button = event.target.closest("button");
      if (button?.dataset.words !== undefined) this.words.insert(button.dataset.words);
      if (button?.dataset.remove) {
        await post(`/review/snippet/${button.dataset.remove}/remove`).catch((e) => (this.status.textContent = e.message));
        button.closest("li").remove();
      }
    });
    this.querySelector("[data-keep-snippet]").addEventListener("click", async () => {
      const { box } = this.words;
      const chosen = box.value.slice(box.selectionStart, box.selectionEnd).trim() || box.value.trim();
      try {
        const { id, title, words } = await post(this.dataset.snippet, { words: chosen });
        const item = document.createElement("li");
        const use = Object.assign(document.createElement("button"), { type: "button", textContent: title });
        use.dataset.words = words;
        const gone = Object.assign(document.createElement("button"), { type: "button", className: "quiet", textContent: "Forget" });
        gone.dataset.remove = id;
        gone.setAttribute("aria-label", `Forget: ${title}`);
        item.append(use, gone);
        panel.append(item);
      } catch (error) {
        this.status.textContent = error.message;
      }
    });
  }

  // Walk-throughs kept with this review.

  #walk(walk) {
    const list = this.querySelector("[data-walks]");
    list.querySelector(`[data-walk="${walk.id}"]`)?.remove();
    const item = list.appendChild(document.createElement("li"));
    item.dataset.walk = walk.id;
    const button = (text, act, label) => {
      const made = Object.assign(document.createElement("button"), { type: "button", textContent: text });
      if (label) made.setAttribute("aria-label", label);
      made.addEventListener("click", act);
      item.append(made);
      return made;
    };
    const length = walk.duration_s ? `${Math.floor(walk.duration_s / 60)}:${String(Math.floor(walk.duration_s % 60)).padStart(2, "0")}` : "";
    const name = `Walk-through ${list.children.length}${length ? `, ${length}` : ""}`;
    item.append(Object.assign(document.createElement("p"), { textContent: name }));
    const remove = () =>
      button("Remove", async () => {
        await post(`/review/walk/${walk.id}/remove`).catch((e) => (this.status.textContent = e.message));
        item.remove();
      }, `Remove ${name.toLowerCase()}`);
    if (!walk.finished) {
      item.firstChild.textContent = `${name}: this recording broke off.`;
      button("Keep what arrived", async () => {
        try {
          const kept = await post(`/review/walk/${walk.id}/finish`);
          item.remove();
          this.#walk(kept);
        } catch (error) {
          this.status.textContent = error.message;
        }
      });
      return remove();
    }
    if (walk.demonstration) {
      const film = Object.assign(document.createElement("video"), { controls: true, preload: "metadata", src: walk.demonstration });
      film.playsInline = true;
      film.setAttribute("aria-label", "Your own film");
      item.append(film);
    }
    if (!walk.sound) return remove();
    const audio = Object.assign(document.createElement("audio"), { controls: true, preload: "metadata" });
    audio.setAttribute("aria-label", name);
    const caption = Object.assign(document.createElement("p"), { className: "caption" });
    item.append(audio, caption);
    new WalkReplay({ walk, player: this.player, layers: this.layers, audio, caption, onClip: (v) => this.open(v) });
    const lines = document.createElement("caption-lines");
    item.append(lines);
    lines.begin({ walk, audio });
    remove();
  }

  // Sending: everything typed is kept first, then the lesson goes out in one step.

  #sending() {
    const form = this.querySelector("[data-send]");
    form?.addEventListener("submit", async (event) => {
      event.preventDefault();
      const button = form.querySelector("button");
      button.disabled = true;
      try {
        await this.words.save();
        await this.moments.settle();
        if (this.words.conflict) throw new Error("Choose one of the two versions of your words first.");
        if (this.words.dirty) throw new Error("Your words are not kept yet. Wait for the connection, then send.");
        await send(form);
        this.querySelector("[data-sent]").hidden = false;
        form.hidden = true;
        this.querySelector("[data-sent] a")?.focus();
        this.dispatchEvent(new CustomEvent("review:sent", { bubbles: true }));
      } catch (error) {
        form.querySelector("[data-refused]").textContent = error.message;
        button.disabled = false;
      }
    });
  }
}

async function send(form) {
  const response = await fetch(form.action, {
    method: "POST",
    headers: { Accept: "application/json" },
    body: new FormData(form),
  });
  if (response.ok) return;
  const answer = await response.json().catch(() => null);
  throw new Refusal(response.status, answer ?? { detail: "The lesson could not be sent now. Nothing is lost; try again." });
}

customElements.define("review-room", ReviewRoom);
