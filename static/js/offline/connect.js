// On every page: lets the phone keep the shell, remembers where this student's words and pain
// reports go and the pages to read without a line (and forgets both after signing out), sends what
// waits, and shows what was refused.
import { all, deliver, drop, refused } from "./queue.js";
import { forgetPages, keepPages } from "./reading.js";

const EVERY_MS = 20000, SOON_MS = 2000;
const ME = "causeway-student", USER = "causeway-user";

function remember() {
  const hurts = document.querySelector(".ways a.hurts"), { user, signedOut } = document.body.dataset;
  try {
    if (signedOut !== undefined || (user && localStorage.getItem(USER) !== user)) forgetPages();
    if (user) localStorage.setItem(USER, user);
    if (hurts) localStorage.setItem(ME, hurts.getAttribute("href") ?? "");
    else if (signedOut !== undefined) for (const key of [ME, USER]) localStorage.removeItem(key);
  } catch { /* private windows keep nothing */ }
  const { kept } = document.documentElement.dataset;
  const note = document.querySelector("[data-part=kept]");
  if (kept && note) {
    const when = new Date(kept).toLocaleString(document.documentElement.lang, { weekday: "long", hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    note.textContent = (note.dataset.words ?? "").replace("%1", when);
    note.hidden = false;
  } else if (hurts) setTimeout(() => keepPages().catch(() => {}), SOON_MS);
}

// Nobody else will say it: words that the server will not have are shown until their writer has them.
async function showRefused() {
  const [row] = await refused(), note = document.querySelector("[data-part=refused]");
  if (!note) return;
  note.hidden = !row;
  if (!row) return;
  note.querySelector("q").textContent = row.fields.text || row.fields.region || "";
  note.querySelector("button").onclick = async () => { await drop(row.key); showRefused(); };
}

async function send() {
  const waiting = await all().catch(() => []);
  const note = document.querySelector("[data-part=waiting]");
  if (!waiting.length) { note?.setAttribute("hidden", ""); return; }
  const { left } = await deliver();
  note?.toggleAttribute("hidden", !left);
  showRefused();
  if (left) setTimeout(send, EVERY_MS);
}

const { worker } = document.body.dataset;
if (worker) navigator.serviceWorker?.register(worker).catch(() => {}); // not over plain http
remember();
showRefused();
send();
addEventListener("online", send);
addEventListener("queued", () => setTimeout(send, EVERY_MS)); // a radio may never say that the line is back
