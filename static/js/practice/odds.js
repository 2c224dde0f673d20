// The odds of a target while it is typed: what the student does now, how often somebody
// exactly on target passes, and the smallest change the angle can tell. The server reckons.

const PAUSE_MS = 250;
const timers = new WeakMap();

/** Only the numbers that the comparison uses are shown. */
function show(criterion) {
  const chosen = criterion.querySelector("[data-part=comparison]")?.value;
  for (const box of criterion.querySelectorAll("[data-for]")) {
    box.hidden = !box.dataset.for.split(" ").includes(chosen);
  }
}

async function reckon(criterion) {
  const place = criterion.querySelector("[data-part=odds]");
  const form = criterion.closest("[data-odds]");
  const step = criterion.closest(".step");
  if (!place || !form) return;
  const part = (name, within = criterion) => within.querySelector(`[data-part=${name}]`)?.value ?? "";
  const asked = new URLSearchParams({
    view: part("view", step),
    film_kind: part("film_kind", step),
    need: part("need", step),
    repetitions: part("repetitions", step),
    "c-figure": part("figure"),
    "c-comparison": part("comparison"),
    "c-low": part("low"),
    "c-high": part("high"),
    "c-change": part("change"),
    "c-aim": part("aim"),
  });
  try {
    const answer = await fetch(`${form.dataset.odds}?${asked}`);
    if (answer.ok) place.innerHTML = await answer.text();
  } catch {
    // Away for a moment: the last odds stay, the server judges again when it is assigned.
  }
}

function changed(event) {
  const step = event.target.closest(".step");
  if (!step) return;
  const own = event.target.closest(".criterion");
  for (const criterion of own ? [own] : step.querySelectorAll(".criterion")) {
    show(criterion);
    clearTimeout(timers.get(criterion));
    timers.set(criterion, setTimeout(() => reckon(criterion), PAUSE_MS));
  }
}

function prepare(within) {
  for (const criterion of within.querySelectorAll(".criterion")) show(criterion);
}

document.addEventListener("input", changed);
prepare(document);
new MutationObserver(() => prepare(document)).observe(document.body, { childList: true, subtree: true });
