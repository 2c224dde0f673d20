// Keys of the review room: each can be changed, and all can be switched off (WCAG 2.1.4).

export const ACTIONS = {
  back: { label: "one frame back", key: "ArrowLeft" },
  forward: { label: "one frame on", key: "ArrowRight" },
  back10: { label: "ten frames back", key: "Shift+ArrowLeft" },
  forward10: { label: "ten frames on", key: "Shift+ArrowRight" },
  previous: { label: "event before", key: "," },
  next: { label: "next event", key: "." },
  play: { label: "play or pause", key: "k" },
  loop: { label: "loop between events", key: "l" },
  slower: { label: "slower", key: "-" },
  faster: { label: "faster", key: "=" },
  closer: { label: "closer", key: "c" },
  body: { label: "fill with the body", key: "b" },
  whole: { label: "whole picture", key: "w" },
  undo: { label: "undo", key: "Ctrl+z" },
};

/** How a pressed key is written down: modifiers first, letters small. */
export function keyName({ key, ctrlKey, metaKey, altKey, shiftKey }) {
  const one = key.length === 1;
  const parts = [];
  if (ctrlKey || metaKey) parts.push("Ctrl");
  if (altKey) parts.push("Alt");
  // A shifted sign is already another sign; only named keys need the word.
  if (shiftKey && !one) parts.push("Shift");
  parts.push(one ? key.toLowerCase() : key);
  return parts.join("+");
}

/** The keys in force: the defaults with a person's own laid over them. */
export function keyMap(own = {}) {
  return Object.fromEntries(
    Object.entries(ACTIONS).map(([action, { key }]) => [action, own[action] ?? key]),
  );
}

/** Which action a key stands for, or null. */
export function actionOf(map, name) {
  return Object.keys(map).find((action) => map[action] === name) ?? null;
}

/** Give `action` another key; the action that had it takes the old one in exchange. */
export function rebind(map, action, name) {
  const holder = actionOf(map, name);
  const changed = { ...map, [action]: name };
  if (holder && holder !== action) changed[holder] = map[action];
  return changed;
}

/** Writing is never disturbed: keys stand still while somebody types or picks. */
export function isWriting(element) {
  if (!element) return false;
  const tag = element.tagName;
  if (tag === "INPUT") {
    return !["checkbox", "radio", "button", "range", "submit"].includes(element.type);
  }
  return tag === "TEXTAREA" || tag === "SELECT" || element.isContentEditable === true;
}
