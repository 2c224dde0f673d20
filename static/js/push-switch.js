// <push-switch data-key data-url data-worker>: one button that asks the browser for notifications and tells
// the server where they go. Hidden where the browser shows none; what it may not do, it says.
import { readToken } from "./offline/queue.js";

/** @param {string} text base64url @returns {Uint8Array<ArrayBuffer>} what a subscription asks by */
export function bytes(text) {
  const plain = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  return Uint8Array.from(plain, (sign) => sign.charCodeAt(0));
}

/** The server's form of a subscription. */
export function formOf(subscription, token) {
  const { endpoint, keys } = subscription.toJSON();
  return new URLSearchParams({ endpoint, p256dh: keys.p256dh, auth: keys.auth, csrfmiddlewaretoken: token });
}

class PushSwitch extends HTMLElement {
  connectedCallback() {
    if (!("PushManager" in window) || !navigator.serviceWorker || !("Notification" in window)) return;
    document.querySelector("[data-part=no-push]")?.setAttribute("hidden", "");
    this.hidden = false;
    this.button = this.querySelector("button");
    this.button.addEventListener("click", () => this.turnOn());
  }

  async turnOn() {
    this.button.disabled = true;
    const trouble = await this.ask().catch(() => this.dataset.failed);
    this.button.disabled = false;
    if (!trouble) { location.reload(); return; }
    const note = /** @type {HTMLElement} */ (this.querySelector("[data-part=trouble]"));
    note.textContent = trouble;
    note.hidden = false;
  }

  /** @returns {Promise<string | undefined>} what stood in the way */
  async ask() {
    if (await Notification.requestPermission() !== "granted") return this.dataset.denied;
    await navigator.serviceWorker.register(this.dataset.worker);
    const { pushManager } = await navigator.serviceWorker.ready;
    // Of another time, another person or another key: what is asked for now is new.
    await (await pushManager.getSubscription())?.unsubscribe();
    const subscription = await pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: bytes(this.dataset.key) });
    const answer = await fetch(this.dataset.url, { method: "POST", body: formOf(subscription, readToken()) });
    if (answer.ok) return undefined;
    await subscription.unsubscribe();
    return answer.headers.get("Content-Type")?.startsWith("text/plain") ? answer.text() : this.dataset.failed;
  }
}

customElements.define("push-switch", PushSwitch);
