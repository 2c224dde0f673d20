// A button that prints the page; the browser offers PDF in the same place.
for (const button of document.querySelectorAll("button[data-print]")) {
  button.removeAttribute("hidden");
  button.addEventListener("click", () => window.print());
}
