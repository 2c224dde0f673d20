// A field that keeps only the rows which hold every word that is typed; `data-filter` says which rows.
for (const field of document.querySelectorAll("input[data-filter]")) {
  if (!(field instanceof HTMLInputElement)) continue;
  field.hidden = false;
  field.addEventListener("input", () => {
    const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const row of document.querySelectorAll(field.dataset.filter ?? "")) {
      const text = (row.textContent ?? "").toLowerCase();
      row.toggleAttribute("hidden", !words.every((word) => text.includes(word)));
    }
    for (const part of document.querySelectorAll(".by-part section, .part-of-list")) {
      part.toggleAttribute("hidden", !part.querySelector("li:not([hidden]), tbody tr:not([hidden])"));
    }
  });
}
