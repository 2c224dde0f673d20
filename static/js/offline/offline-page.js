// The page without a connection: what waits on this phone, and where words and pain go.
import { all, reachable } from "./queue.js";

const hurts = read();
for (const part of document.querySelectorAll("[data-needs-me]")) part.toggleAttribute("hidden", !hurts);
const student = hurts.match(/\/(\d+)\//)?.[1];
for (const form of document.querySelectorAll("form[data-to]")) {
  form.setAttribute("action", (form.dataset.to ?? "").replace("/0/", `/${student}/`)); // the page knows nobody
}
if (student) document.querySelector("unsent-clip")?.setAttribute("data-student", student);

async function count() {
  const rows = await all().catch(() => []);
  const note = document.querySelector("[data-part=count]");
  note.textContent = (note.dataset.words ?? "").replace("%1", String(rows.length));
  note.toggleAttribute("hidden", !rows.length);
}
count();
addEventListener("queued", count);

async function look() {
  if (await reachable()) location.reload();
  else setTimeout(look, 10000);
}
document.querySelector("[data-act=try]").addEventListener("click", (event) => { event.preventDefault(); location.reload(); });
addEventListener("online", () => location.reload());
setTimeout(look, 10000);

function read() {
  try { return localStorage.getItem("causeway-student") ?? ""; } catch { return ""; }
}
