// What stands out first: figures that a suggestion or a finding speaks of lead their moment, the others
// of that moment are folded. Where nothing stands out, nothing is folded.

// Figures that another beside them says better: the page has folded them itself.
const ASIDE = ":scope > details.more:not(.usual)";

/** The figures named beside the clip, as `measure@event`. */
export function namedIn(root) {
  return new Set([...root.querySelectorAll("[data-speaks-of]")].map((e) => e.dataset.speaksOf));
}

/** Sort one list's rows into [those that stand out, the others], each in its own order. */
export function split(ids, event, named) {
  const leads = (id) => named.has(`${id}@${event}`);
  return [ids.filter(leads), ids.filter((id) => !leads(id))];
}

/** Put the figures of every moment in order; `words` is "{n} more figures" with its number open. */
export function arrange(figures, named, words) {
  for (const moment of figures.querySelectorAll("[data-moment]")) {
    unfold(moment);
    const list = moment.querySelector(":scope > ul.figures");
    const rows = new Map([...(list?.children ?? [])].map((row) => [row.dataset.id, row]));
    const [first, rest] = split([...rows.keys()], moment.dataset.moment, named);
    for (const [id, row] of rows) row.classList.toggle("leads", first.includes(id));
    if (!first.length || !rest.length) continue;
    const aside = moment.querySelector(ASIDE); // one fold, not two
    const spare = [...(aside?.querySelectorAll("li") ?? [])];
    for (const row of spare) row.dataset.aside = "";
    if (aside) aside.hidden = true;
    const count = rest.length + spare.length;
    list.prepend(...first.map((id) => rows.get(id)));
    const folded = document.createElement("details");
    folded.className = "more usual";
    const summary = folded.appendChild(document.createElement("summary"));
    summary.textContent = (count === 1 ? words.one : words.many).replace("{n}", String(count));
    const more = folded.appendChild(document.createElement("ul"));
    more.className = "figures";
    more.append(...rest.map((id) => rows.get(id)), ...spare);
    list.after(folded);
  }
}

function unfold(moment) {
  const folded = moment.querySelector(":scope > details.usual");
  if (!folded) return;
  const aside = moment.querySelector(ASIDE);
  aside?.querySelector("ul")?.append(...folded.querySelectorAll("li[data-aside]"));
  if (aside) aside.hidden = false;
  moment.querySelector(":scope > ul.figures")?.append(...folded.querySelectorAll("li"));
  folded.remove();
}
