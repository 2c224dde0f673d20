// The messages open where somebody stopped reading: at the first new entry, else at the end.
if (!location.hash) {
  const first = document.querySelector(".entry.new") ?? [...document.querySelectorAll(".entry")].at(-1);
  first?.scrollIntoView({ block: "start" });
}
