// The page's sentences and addresses: the server writes them, in the reader's language, into
// one block of JSON (`script_words`); scripts know them by name only.

/** @type {{say: Record<string, string>, at: Record<string, string>} | undefined} */
let page;

function given() {
  page ??= JSON.parse(globalThis.document?.getElementById?.("script-words")?.textContent || '{"say": {}, "at": {}}');
  return page;
}

/**
 * A sentence by its name, with its values put in: `say("caption_at", { time: "0:04" })`.
 * @param {string} name
 * @param {Record<string, string | number>} values
 */
export function say(name, values = {}) {
  const text = given().say[name] ?? [name, ...Object.values(values)].join(" ");
  return text.replace(/\{(\w+)\}/g, (whole, key) => (key in values ? String(values[key]) : whole));
}

/**
 * Where something is asked or told: `urlOf("data", 12)`.
 * @param {string} name
 * @param {string | number} id
 */
export function urlOf(name, id) {
  return (given().at[name] ?? `/${name}/0`).replace("/0", `/${id}`);
}
