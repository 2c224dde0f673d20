// The pages that a student needs where there is no line: requests, drills, answers, verdicts, their
// own page and messages, with their pictures and what they work with. Kept for the student's own
// side only, and gone with the session.
export const PAGES = "causeway-pages", PICTURES = "causeway-pictures";
const MOST = 16, ANEW_MS = 10 * 60 * 1000;
const MOST_PICTURES = 48, MOST_BYTES = 400e3, MOST_FILES = 80;
const READABLE = /^\/(drill|film|requests|review|verdict|mine)\/\d+\/(practise\/)?$|^\/students\/\d+\/(thread|progress|pain)\/$/;

/** @param {string[]} hrefs @returns {string[]} what is worth keeping, in order, once. Pure. */
export function worthKeeping(hrefs) {
  const paths = hrefs.map((href) => new URL(href, "http://here").pathname).filter((path) => READABLE.test(path));
  const practised = (path) => (/^\/drill\/\d+\/$/.test(path) ? [path, `${path}practise/`] : [path]);
  return [...new Set(paths.flatMap(practised))].slice(0, MOST);
}

const found = (text, pattern) => [...new Set([...text.matchAll(pattern)].map((match) => match[1].replaceAll("&amp;", "&")))];

/** @param {string} html @returns {string[]} addresses of its pictures, as they stand there. Pure. */
export const picturesIn = (html) => found(html, /<(?:img|video)\b[^>]*?\s(?:src|poster)="([^"]+\/(?:still|thumb|logo\.png)(?:\?[^"]*)?|[^"]+\.(?:svg|webp|png|jpe?g))"/g);

/** @param {string} html @returns {string[]} addresses of its styles and scripts. Pure. */
export const filesIn = (html) => found(html, /<(?:script\b[^>]*?\ssrc|link\b[^>]*?rel="stylesheet"[^>]*?\shref)="([^"]+)"/g);

/** @param {string} script @returns {string[]} what a module of ours begins with loading. Pure. */
export const importsIn = (script) => found(script, /^(?:import|export)\b[^;]*?"(\.[^"]+)"/gm);

/** Whether the worker sees what this page fetches; on the very first visit a moment later. */
const controlled = () => new Promise((resolve) => {
  const worker = navigator.serviceWorker;
  if (!worker || worker.controller) { resolve(Boolean(worker)); return; }
  worker.addEventListener("controllerchange", () => resolve(true), { once: true });
  setTimeout(() => resolve(false), 10000);
});

/** What a page works with says nothing of anybody: the worker keeps it as it passes. */
async function keepFiles(html, done) {
  const waiting = filesIn(html).map((file) => new URL(file, location.href).href);
  while (waiting.length && done.size < MOST_FILES) {
    const file = waiting.shift();
    if (done.has(file)) continue;
    done.add(file);
    const answer = (await caches.match(file)) ?? (await fetch(file).catch(() => null));
    if (answer?.ok && /\.js$/.test(file)) waiting.push(...importsIn(await answer.text()).map((name) => new URL(name, file).href));
  }
}

/** Whether the phone is to fetch no more than is looked at. */
const saving = () => /** @type {any} */ (navigator).connection?.saveData === true;

async function keepPictures(html) {
  const store = await caches.open(PICTURES);
  for (const src of picturesIn(html).slice(0, MOST_PICTURES)) {
    if (await caches.match(src)) continue;
    // One that leads on to an object storage is not ours to keep.
    const answer = await fetch(src, { headers: { "X-Keep": "1" }, redirect: "manual" }).catch(() => null);
    if (!answer?.ok || await caches.match(src)) continue; // a drawing is everybody's: the worker has it
    const picture = await answer.blob();
    if (picture.size <= MOST_BYTES) await store.put(src, new Response(picture));
  }
  for (const old of (await store.keys()).slice(0, -MOST_PICTURES)) await store.delete(old);
}

async function fetched(path) {
  const answer = await fetch(path, { headers: { "X-Keep": "1" } }).catch(() => null);
  if (!answer?.ok || new URL(answer.url).pathname !== path) return undefined; // gone, or a sign-in page
  return answer.text();
}

/** Keeps this page's neighbours; asks again for none within ten minutes. */
export async function keepPages() {
  if (!globalThis.caches) return;
  const store = await caches.open(PAGES), sees = await controlled(), done = new Set();
  const links = [...document.querySelectorAll("main a[href], .ways a[href]")].map((a) => a.getAttribute("href"));
  for (const path of worthKeeping([location.pathname, ...links])) {
    const before = await store.match(path);
    if (before && Date.now() - Date.parse(before.headers.get("X-Kept")) < ANEW_MS) continue;
    const html = await fetched(path);
    if (!html) continue;
    const at = new Date().toISOString();
    const page = html.replace("<html ", `<html data-kept="${at}" `);
    const put = (as) => store.put(as, new Response(page, { headers: { "Content-Type": "text/html; charset=utf-8", "X-Kept": at } }));
    await put(path);
    if (path.startsWith("/mine/")) await put("/"); // where the home screen's icon leads
    if (!sees) continue;
    await keepFiles(html, done);
    if (!saving()) await keepPictures(html);
  }
}

export const forgetPages = () => Promise.all([PAGES, PICTURES].map((name) => globalThis.caches?.delete(name)));
