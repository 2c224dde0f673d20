// Keys of the review room: each can be changed, and all can be switched off (WCAG 2.1.4).
import { say } from "./words.js";

export const ACTIONS = {
  back: { label: say("key_back"), key: "ArrowLeft" },
  forward: { label: say("key_forward"), key: "ArrowRight" },
  back10: { label: say("key_back10"), key: "Shift+ArrowLeft" },
  forward10: { label: say("key_forward10"), key: "Shift+ArrowRight" },
  previous: { label: say("key_previous"), key: "," },
  next: { label: say("key_next"), key: "." },
  play: { label: say("key_play"), key: "Space" },
  loop: { label: say("key_loop"), key: "l" },
  slower: { label: say("key_slower"), key: "-" },
  faster: { label: say("key_faster"), key: "=" },
  closer: { label: say("key_closer"), key: "c" },
  body: { label: say("key_body"), key: "b" },
  whole: { label: say("key_whole"), key: "w" },
  undo: { label: say("key_undo"), key: "Ctrl+z" },
};

/** How a pressed key is written down: modifiers first, letters small. */
export function keyName({ key, ctrlKey, metaKey, altKey, shiftKey }) {
  const one = key.length === 1;
  const parts = [];
  if (ctrlKey || metaKey) parts.push("Ctrl");
  if (altKey) parts.push("Alt");
  // A shifted sign is already another sign; only named keys need the word.
  if (shiftKey && !one) parts.push("Shift");
  parts.push(key === " " ? "Space" : one ? key.toLowerCase() : key);
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
