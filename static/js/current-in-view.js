// A row of ways that scrolls sideways on a phone begins where one stands.
for (const here of document.querySelectorAll(".tabs [aria-current], .studio-ways [aria-current]")) {
  const row = here.closest(".tabs, .studio-ways");
  if (!row || !(here instanceof HTMLElement) || row.scrollWidth <= row.clientWidth) continue;
  const left = here.getBoundingClientRect().left - row.getBoundingClientRect().left;
  row.scrollLeft += left - (row.clientWidth - here.offsetWidth) / 2;
}
