// Keeps the chosen clip in the browser until it has arrived: a clip filmed straight into the
// page exists nowhere else, and a reload must not lose it. Best effort: no room, no keeping.
const NAME = "causeway-clips", STORE = "clips";

function opened() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE);
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

async function within(mode, act) {
  try {
    const db = await opened();
    return await new Promise((resolve, reject) => {
      const asked = act(db.transaction(STORE, mode).objectStore(STORE));
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => reject(asked.error);
    });
  } catch {
    return undefined;
  }
}

export const keep = (angle, file, key) => within("readwrite", (s) => s.put({ file, key }, angle));
export const kept = (angle) => within("readonly", (s) => s.get(angle));
export const forget = (angle) => within("readwrite", (s) => s.delete(angle));
