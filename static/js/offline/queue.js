// Words and pain reports that could not be sent: kept in the browser, sent when the line is back.
// A row: { key, url, fields, what, by, at, refused }. `by` is who wrote it: nobody else's session
// ever sends it. It goes with its key and its own time: a lost answer makes no second message,
// however late, and the thread says when it was written.
const NAME = "causeway-queue", STORE = "posts";

function within(mode, act) {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "key" });
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => {
      const db = asked.result, doing = act(db.transaction(STORE, mode).objectStore(STORE));
      doing.onsuccess = () => { db.close(); resolve(doing.result); };
      doing.onerror = () => { db.close(); reject(doing.error); };
    };
  });
}

/** Who is signed in here, or was last when there is no line. */
export function me() {
  const here = document.body.dataset.user;
  if (here) return here;
  if (document.body.dataset.signedOut !== undefined) return "";
  try { return localStorage.getItem("causeway-user") ?? ""; } catch { return ""; }
}

export const add = (row) => within("readwrite", (s) => s.put({ key: crypto.randomUUID?.() ?? `${Date.now()}-${Math.random()}`, at: Date.now(), by: me(), ...row }));
export const drop = (key) => within("readwrite", (s) => s.delete(key));
export const all = () => within("readonly", (s) => s.getAll());

/**
 * What an answer to a queued post means. Pure.
 *
 * @param {{status: number, url: string}} answer where it ended, after redirects
 * @param {string} asked the address it was sent to
 * @returns {"done"|"later"|"sign_in"|"refused"}
 */
export function outcome({ status, url }, asked) {
  const path = (address) => new URL(address, "http://here").pathname;
  if (status === 401 || status === 403) return "sign_in"; // or a token that signing in renews
  // Taken in, it leads on to the report or the thread; any other page wants something first.
  const onward = /\/(pain|thread|drill)\//.test(path(url)) && path(url) !== path(asked);
  if (status >= 200 && status < 300) return onward ? "done" : "sign_in";
  return status >= 400 && status < 500 && ![408, 423, 425, 429].includes(status) ? "refused" : "later";
}

/** The rows that `user` wrote and nobody has refused, pain before words, oldest first. Pure. */
export function due(rows, user) {
  return rows.filter((row) => !row.refused && user && row.by === user)
    .sort((a, b) => Number(b.what === "pain") - Number(a.what === "pain") || a.at - b.at);
}

/** Sends what this person wrote, oldest first; pain before words. @returns {Promise<{done: number, left: number, state: string}>} */
export async function deliver({ fetch: send = globalThis.fetch, token = readToken, user = me() } = {}) {
  const rows = due(await all().catch(() => []), user);
  let done = 0, state = "";
  for (const row of rows) {
    const body = new URLSearchParams({ key: row.key, at: String(Math.floor(row.at / 1000)), ...row.fields, csrfmiddlewaretoken: token() });
    const answer = await send(row.url, { method: "POST", body, signal: AbortSignal.timeout(20000) }).catch(() => null);
    state = answer ? outcome({ status: answer.status, url: answer.url || row.url }, row.url) : "later";
    if (state === "done") { await drop(row.key); done += 1; }
    else if (state === "refused") await within("readwrite", (s) => s.put({ ...row, refused: answer.status }));
    else break;
  }
  return { done, left: rows.length - done, state };
}

export const readToken = () => document.cookie.match(/(?:^|; )csrftoken=([^;]+)/)?.[1] ?? "";

/** Is the server there? A radio that is on proves nothing. */
export async function reachable() {
  if (!navigator.onLine) return false;
  const asked = document.body.dataset.health ?? location.href; // a page kept long ago names none
  return fetch(asked, { cache: "no-store", signal: AbortSignal.timeout(5000) }).then((a) => a.ok, () => false);
}

/** What this person wrote and the server will not have: only they can decide about it. */
export const refused = async () => (await all().catch(() => [])).filter((row) => row.refused && row.by === me());
