// Walk-throughs kept with a review: played where they are listed, removed, or finished when one broke off.
import { post } from "./server.js";
import { WalkReplay } from "./walk-replay.js";
import { say, urlOf } from "./words.js";

export class KeptWalks {
  constructor({ room, tell }) {
    this.room = room;
    this.tell = tell;
  }

  add(walk) {
    const list = this.room.querySelector("[data-walks]");
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
    const name = say("walk_number", { number: list.children.length }) + (length ? `, ${length}` : "");
    item.append(Object.assign(document.createElement("p"), { textContent: name }));
    const remove = () =>
      button(say("remove"), async () => {
        await post(urlOf("remove_walk", walk.id)).catch((e) => this.tell(e.message));
        item.remove();
      }, say("remove_what", { what: name.toLowerCase() }));
    if (!walk.finished) {
      item.firstChild.textContent = say("broke_off", { name });
      button(say("keep_arrived"), async () => {
        try {
          const kept = await post(urlOf("finish_walk", walk.id));
          item.remove();
          this.add(kept);
        } catch (error) {
          this.tell(error.message);
        }
      });
      return remove();
    }
    if (walk.demonstration) {
      const film = Object.assign(document.createElement("video"), { controls: true, preload: "metadata", src: walk.demonstration });
      film.playsInline = true;
      film.setAttribute("aria-label", say("own_film"));
      item.append(film);
    }
    if (!walk.sound) return remove();
    const audio = Object.assign(document.createElement("audio"), { controls: true, preload: "metadata" });
    audio.setAttribute("aria-label", name);
    const caption = Object.assign(document.createElement("p"), { className: "caption" });
    item.append(audio, caption);
    new WalkReplay({ walk, player: this.room.player, layers: this.room.layers, pair: this.room.pair, audio, caption, onClip: (v) => this.room.open(v) });
    const lines = /** @type {any} */ (document.createElement("caption-lines"));
    item.append(lines);
    lines.begin({ walk, audio });
    remove();
  }
}
