// Chips that put their words where one writes: `data-into` names the field, `data-text` what goes in.
for (const chip of document.querySelectorAll("[data-into][hidden]")) {
  chip.hidden = false;
  chip.addEventListener("click", () => {
    const area = document.getElementById(chip.dataset.into);
    if (!(area instanceof HTMLTextAreaElement) && !(area instanceof HTMLInputElement)) return;
    area.setRangeText(chip.dataset.text ?? "", area.selectionStart ?? 0, area.selectionEnd ?? 0, "end");
    area.focus();
    area.dispatchEvent(new Event("input", { bubbles: true }));
  });
}
