// The ladder's editor: each button sends the form and takes back the changed rows. Without
// script the same buttons load the page anew.

async function act(button) {
  const form = button.form;
  const rows = form.querySelector(".ladder-editor");
  const sent = new FormData(form, button);
  for (const file of form.querySelectorAll("[type=file]")) sent.delete(file.name);
  button.disabled = true;
  try {
    const answer = await fetch(form.getAttribute("action") || location.href, {
      method: "POST",
      body: sent,
      headers: { "X-Fragment": "1" },
    });
    if (!answer.ok) throw new Error(String(answer.status));
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector(".ladder-editor");
    if (!fresh) throw new Error("no rows");
    rows.replaceWith(fresh);
    focusOn(fresh, button.value);
    fresh.dispatchEvent(new Event("ladder:changed", { bubbles: true }));
  } catch {
    button.disabled = false;
    form.requestSubmit(button); // the long way: the page loads anew with everything typed
  }
}

/** After a row was added the keyboard stands in it; else at the row that was acted on. */
function focusOn(editor, value) {
  const [name, place] = value.split(":");
  const steps = editor.querySelectorAll(".step");
  const last = steps.length - 1;
  const step = name === "add" ? steps[last] : steps[Math.min(Number(place) || 0, last)];
  const criteria = step?.querySelectorAll(".criterion");
  const within = name === "criterion" ? criteria[criteria.length - 1] : step;
  within?.querySelector("select, input")?.focus();
  step?.scrollIntoView({ block: "nearest" });
}

document.addEventListener("click", (event) => {
  const button = /** @type {any} */ (event.target).closest(".ladder-editor button[name=do]");
  if (!button || button.dataset.long) return;
  event.preventDefault();
  button.dataset.long = "1";
  act(button);
});
