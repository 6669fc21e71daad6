// The arrow keys go from client to client; Enter opens the one that has the focus.
const links = [...document.querySelectorAll("[data-line-link]")];

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.closest("input, textarea, select")) return;
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (!step || !links.length) return;
  const line = event.target.closest("[data-line]");
  const place = line ? links.indexOf(line.querySelector("[data-line-link]")) + step : 0;
  const next = links[place];
  if (!next) return;
  event.preventDefault();
  next.focus();
});
