// @ts-nocheck: fields are set from outside; declare them, then take this line out.
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
import "./clip-beside.js";
import "../undo-for.js";
import { ACTIONS, keyMap, keyName, rebind } from "./keys.js";
import { Layers, overlaySwitches } from "./layers.js";
import { fragment, get, post, Refusal } from "./server.js";
import { KeptWalks } from "./kept-walks.js";
import { Snippets } from "./snippets.js";
import { watch } from "./presence.js";
import { arrange, namedIn } from "./stand-out.js";
import { say, urlOf } from "./words.js";

class ReviewRoom extends HTMLElement {
  #undo = [];

  async connectedCallback() {
    const one = (selector) => this.querySelector(selector);
    this.player = one("frame-player");
    this.strip = one("time-strip");
    this.status = one("[data-tell]");
    this.figures = one("[data-figures]");
    this.text = one("auto-save");
    this.preferences = JSON.parse(this.dataset.preferences || "{}");
    const tell = (text) => (this.status.textContent = text);
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
    this.pair = one("compare-tool").pair;
    one("walk-recorder").begin({ player: this.player, layers: this.layers, moments: this.moments, pair: this.pair, tell, done: (walk) => this.walks.add(walk) });
    this.walks = new KeptWalks({ room: this, tell });
    walks.forEach((walk) => this.walks.add(walk));
    this.#clips();
    this.#tools();
    this.#overlays();
    this.#moment();
    this.#reps();
    this.#habits();
    this.#keys();
    new Snippets({ room: this, text: this.text, tell });
    this.#sending();
    this.#standOut();
    new MutationObserver(() => this.#standOut()).observe(one("#say"), { childList: true, subtree: true });
    this.#margin();
    this.#preview();
    one("clip-beside")?.begin({ player: this.player, open: (video) => this.open(video) });
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
    watch(one("[data-here]"));
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
      fragment(urlOf("figures", video)),
      this.player.load(urlOf("data", video)),
    ]);
    this.layers.point(null); // it was one of the other clip's
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
      const fresh = document.hidden ? null : await get(urlOf("data", video)).catch(() => null);
      if (fresh && fresh.id === this.player.data.id && fresh.state !== "measuring") {
        this.#figures(await fragment(urlOf("figures", video)));
        await this.player.load(urlOf("data", video));
        this.#overlays();
      }
      this.#wait();
    }, 5000);
  }

  // The margin: figures of the moment, each able to show what it is read from.

  /** The measures' pictures stay where a correction brings none. */
  #figures(html) {
    const open = this.#open();
    const drawn = this.figures.querySelectorAll(":scope > .drawn");
    this.figures.innerHTML = html;
    if (!this.figures.querySelector(":scope > .drawn")) this.figures.append(...drawn);
    this.#standOut(open);
    this.#moment();
  }

  /** Folds are made anew here, also when a finding comes or goes: what was open stays open. */
  #standOut(open = this.#open()) {
    const { one, many } = this.figures.dataset;
    arrange(this.figures, namedIn(this.querySelector("#say")), { one, many });
    for (const [name, fold] of this.#folds()) fold.open = open.includes(name);
  }

  #open() {
    return this.#folds().filter(([, fold]) => fold.open).map(([name]) => name);
  }

  #folds() {
    const name = (fold) => [fold.closest("[data-rep]").dataset.rep, fold.closest("[data-moment]").dataset.moment, fold.className].join();
    return [...this.figures.querySelectorAll("[data-moment] details")].map((fold) => [name(fold), fold]);
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
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && !this.player.tool && !event.target.closest?.("dialog, [popover]")) open(null);
    });
    this.figures.addEventListener("click", (event) => {
      const offer = event.target.closest("[data-put-right]");
      if (offer) {
        open("correct");
        this.querySelector("correct-tool").putRight(offer.dataset.putRight.split(" "), Number(offer.dataset.time));
        return;
      }
      const look = event.target.closest("[data-figure]");
      if (!look) return;
      const on = look.getAttribute("aria-pressed") !== "true";
      this.figures.querySelectorAll("[data-figure]").forEach((b) => b.setAttribute("aria-pressed", String(on && b === look)));
      this.layers.point(on ? JSON.parse(look.dataset.figure) : null);
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
        button.setAttribute("aria-label", say("choose_key", { label, shortcut: controls.keys[action] }));
        button.addEventListener("click", () => listen(action, button));
        item.append(button, ` ${label}`);
      }
    };
    const listen = (action, button) => {
      button.textContent = say("press_a_key");
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

  // The margin's three parts are one column; its heads say where one is, the foot what goes out.

  #margin() {
    const links = [...this.querySelectorAll(".margin .tabs a")];
    const column = this.querySelector(".margin .scroll");
    const parts = links.map((link) => this.querySelector(link.hash));
    const here = () => {
      const top = column.getBoundingClientRect().top + 80;
      const last = parts.findLastIndex((part) => part.getBoundingClientRect().top <= top);
      const end = column.scrollHeight > column.clientHeight && column.scrollTop + column.clientHeight >= column.scrollHeight - 4;
      const now = end ? parts.length - 1 : Math.max(last, 0);
      links.forEach((link, i) => (i === now ? link.setAttribute("aria-current", "true") : link.removeAttribute("aria-current")));
    };
    column.addEventListener("scroll", here, { passive: true });
    links.forEach((link, i) =>
      link.addEventListener("click", (event) => {
        event.preventDefault();
        parts[i].scrollIntoView({ block: "start" });
      }),
    );
    const goes = this.querySelector("[data-goes]");
    if (!goes) return;
    const count = () => (goes.textContent = this.#goesOut().join(" · "));
    new MutationObserver(count).observe(this.querySelector("#say"), { childList: true, subtree: true });
    this.text.addEventListener("input", count);
    this.addEventListener("drawn", count, true);
    count();
  }

  #goesOut() {
    const some = (n, one, many) => (n ? [`${n} ${n === 1 ? one : many}`] : []);
    const found = this.querySelectorAll("#say [data-finding]").length;
    const drills = this.querySelectorAll("#say .drills > .rows > li").length;
    const spoken = this.querySelectorAll("walk-recorder audio").length;
    return [
      ...some(found, "finding", "findings"), ...some(drills, "drill", "drills"),
      ...some(spoken, "walk-through", "walk-throughs"), ...(this.text.box?.value.trim() ? ["your words"] : []),
    ];
  }

  /** The answer as its student will read it, beside the sidebar; the picture comes back by the same button. */
  #preview() {
    const link = this.querySelector("[data-preview]");
    link?.addEventListener("click", async (event) => {
      if (event.metaKey || event.ctrlKey || event.shiftKey) return;
      event.preventDefault();
      const stage = this.querySelector(".stage");
      const open = stage.querySelector(".phone-pane");
      link.setAttribute("aria-pressed", String(!open));
      if (open) return open.remove();
      await this.text.save();
      await this.moments.resolve();
      const pane = document.createElement("div");
      pane.className = "phone-pane";
      const frame = document.createElement("iframe");
      frame.title = link.textContent.trim();
      frame.src = this.querySelector("[data-send]").action.replace(/send\/?$/, "preview");
      pane.append(frame);
      stage.append(pane);
    });
  }

  // Sending: everything typed is kept first, then the lesson goes out in one step.

  #sending() {
    const form = this.querySelector("[data-send]");
    form?.addEventListener("submit", async (event) => {
      event.preventDefault();
      const button = form.querySelector("button");
      button.disabled = true;
      try {
        await this.text.save();
        await this.moments.resolve();
        if (this.text.conflict) throw new Error(say("choose_version"));
        if (this.text.dirty) throw new Error(say("wait_then_send"));
        const { read, take_back: undo } = await send(form);
        const sent = this.querySelector("[data-sent]");
        sent.querySelector("[data-read]").href = read;
        sent.querySelector("[data-take-back]").action = undo;
        sent.hidden = false;
        sent.querySelector("undo-for").begin();
        form.hidden = true;
        // What was sent stays as it was sent; taken back, the page comes anew.
        for (const part of this.querySelectorAll("#say, [aria-labelledby=notes-title], #send")) part.inert = true;
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
  const answer = await response.json().catch(() => null);
  if (response.ok && answer) return answer;
  throw new Refusal(response.status, answer ?? { detail: say("not_sent") });
}

customElements.define("review-room", ReviewRoom);
