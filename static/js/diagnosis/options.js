// Which option of a list is chosen, and what a key does with it. No page in here.

/** The next index for a key, round the ends; -1 means that nothing is chosen. */
export function moved(index, count, key) {
  if (!count) return -1;
  if (key === "ArrowDown") return (index + 1) % count;
  if (key === "ArrowUp") return (index <= 0 ? count : index) - 1;
  if (key === "Home") return 0;
  if (key === "End") return count - 1;
  return index;
}

const KINDS = { c: "cause", l: "compensation", k: "strength" };

/** What a key asks for: `{kind}` to add with that kind, or null when it asks for nothing. */
export function asked({ key, code, altKey }) {
  if (key === "Enter") return { kind: "" };
  if (!altKey) return null;
  // With Alt a keyboard may write another letter: its place is what counts.
  const letter = (code || "").startsWith("Key") ? code.slice(3).toLowerCase() : key.toLowerCase();
  return letter in KINDS ? { kind: KINDS[letter] } : null;
}
