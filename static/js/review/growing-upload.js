// @ts-nocheck: fields are set from outside; declare them, then take this line out.
// An upload that grows while it is spoken: open tus 1.0 protocol with a deferred length.
// What has been acknowledged survives a crash of the page, the machine or the server.
import { say } from "./words.js";
const VERSION = { "Tus-Resumable": "1.0.0" };
const AGAIN_MS = 1500;
const TRIES = 40;

export class GrowingUpload {
  #waiting = [];
  #offset = 0;
  #url = "";
  #working = null;

  constructor({ endpoint, metadata, token, fetch = globalThis.fetch.bind(globalThis), pause = sleep }) {
    Object.assign(this, { endpoint, metadata, token, fetch, pause });
    this.over = false;
  }

  get id() {
    return this.#url.replace(/\/+$/, "").split("/").pop();
  }

  get kept() {
    return this.#offset;
  }

  /** Bytes said but not yet acknowledged. */
  get behind() {
    return this.#waiting.reduce((sum, blob) => sum + blob.size, 0);
  }

  async begin() {
    const pairs = Object.entries(this.metadata).map(([k, v]) => `${k} ${btoa(unescape(encodeURIComponent(v)))}`);
    const response = await this.fetch(this.endpoint, {
      method: "POST",
      headers: this.#headers({ "Upload-Defer-Length": "1", "Upload-Metadata": pairs.join(",") }),
    });
    if (response.status !== 201) throw new Error(await refusal(response));
    this.#url = response.headers.get("Location");
    return this.id;
  }

  /** Add what was just recorded; sent in the background, in order. */
  add(blob) {
    if (blob.size) this.#waiting.push(blob);
    this.#work();
  }

  /** Say that nothing more comes; resolves when every byte is acknowledged. */
  async finish() {
    this.over = true;
    await this.#work();
    if (this.#waiting.length) await this.#work(); // what was added while the last round ran
    if (this.#waiting.length) {
      throw new Error(say("connection_gone"));
    }
    const response = await this.fetch(this.#url, {
      method: "PATCH",
      headers: this.#headers({
        "Upload-Offset": String(this.#offset),
        "Upload-Length": String(this.#offset),
        "Content-Type": "application/offset+octet-stream",
      }),
      body: new Blob([]),
    });
    if (!response.ok) throw new Error(await refusal(response));
    return this.id;
  }

  #work() {
    this.#working ??= this.#send().finally(() => {
      this.#working = null;
    });
    return this.#working;
  }

  async #send() {
    for (let tries = 0; this.#waiting.length && tries < TRIES; ) {
      const blob = this.#waiting[0];
      try {
        const response = await this.fetch(this.#url, {
          method: "PATCH",
          headers: this.#headers({
            "Upload-Offset": String(this.#offset),
            "Content-Type": "application/offset+octet-stream",
          }),
          body: blob,
        });
        // After a 409 only news of the offset makes another try worth while.
        const moved = response.status === 409 ? await this.#look() : this.#message(response);
        if (!moved) throw new Error(String(response.status));
        tries = 0;
      } catch {
        tries += 1;
        await this.pause(AGAIN_MS);
        await this.#look().catch(() => {});
      }
    }
  }

  /** Where the server stands; bytes that arrived before a lost answer are not sent twice. */
  async #look() {
    return this.#message(await this.fetch(this.#url, { method: "HEAD", headers: this.#headers() }));
  }

  /** Takes the offset from an answer; false when it says nothing new. */
  #message(response) {
    if (!response.ok) return false;
    const offset = Number(response.headers.get("Upload-Offset"));
    const news = offset !== this.#offset;
    this.#moved(offset);
    return news;
  }

  #moved(offset) {
    let gone = offset - this.#offset;
    this.#offset = offset;
    while (gone > 0 && this.#waiting.length) {
      const first = this.#waiting[0];
      if (first.size <= gone) this.#waiting.shift();
      else this.#waiting[0] = first.slice(gone);
      gone -= Math.min(gone, first.size);
    }
  }

  #headers(more = {}) {
    return { ...VERSION, "X-CSRFToken": this.token, ...more };
  }
}

function sleep(ms) {
  return new Promise((resolve) => setTimeout(resolve, ms));
}

async function refusal(response) {
  const text = await response.text();
  try {
    return JSON.parse(text).detail ?? text;
  } catch {
    return text || say("recording_not_kept");
  }
}
