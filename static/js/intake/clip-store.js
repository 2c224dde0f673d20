// Clips that have not arrived yet, kept in the browser: a clip filmed straight into the page
// exists nowhere else, so a reload, another page or another day must not lose it.
// A row: { key, file, angle, student, label, page, replaces, text, ball, at, sent, paused, refused }.
const NAME = "causeway-unsent", STORE = "clips";

function opened() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "key" });
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

/** @returns what `act` asked for, or undefined where this browser keeps nothing */
async function within(mode, act) {
  try {
    const db = await opened();
    try {
      return await new Promise((resolve, reject) => {
        const asked = act(db.transaction(STORE, mode).objectStore(STORE));
        asked.onsuccess = () => resolve(asked.result);
        asked.onerror = () => reject(asked.error);
      });
    } finally {
      db.close();
    }
  } catch {
    return undefined;
  }
}

/** True when the clip is safe on this phone. */
export async function keep(row) {
  navigator.storage?.persist?.().catch(() => {});
  return (await within("readwrite", (s) => s.put(row))) !== undefined;
}

export const forget = (key) => within("readwrite", (s) => s.delete(key));

/**
 * Rows that match, the oldest first; another student's on a shared phone stay unseen.
 *
 * @param {{angle?: string, student?: string}} wanted
 */
export async function unsent({ angle, student }) {
  const rows = (await within("readonly", (s) => s.getAll())) ?? [];
  return rows
    .filter((row) => (!angle || row.angle === angle) && (!student || row.student === student))
    .sort((a, b) => a.at - b.at);
}
