// Arrow keys walk the strips; only one cell at a time is a stop of the Tab key.
const table = document.querySelector(".strips");
const links = () => [...table.querySelectorAll("td a")];

function beginning(link) {
  let steps = 0;
  for (let cell = link.parentElement.previousElementSibling; cell; cell = cell.previousElementSibling)
    if (cell.tagName === "TD") steps += cell.colSpan;
  return steps;
}

function beside(link, offset) {
  const all = links();
  return all[all.indexOf(link) + offset];
}

function inRow(link, direction) {
  const rows = [...table.querySelectorAll("tr.strip")];
  const wanted = beginning(link);
  for (let at = rows.indexOf(link.closest("tr")) + direction; rows[at]; at += direction) {
    const found = [...rows[at].querySelectorAll("td a")];
    found.sort((one, other) => Math.abs(beginning(one) - wanted) - Math.abs(beginning(other) - wanted));
    if (found[0]) return found[0];
  }
  return null;
}

const STEPS = {
  ArrowLeft: (link) => beside(link, -1),
  ArrowRight: (link) => beside(link, 1),
  ArrowUp: (link) => inRow(link, -1),
  ArrowDown: (link) => inRow(link, 1),
};

if (table) {
  links().forEach((link, number) => { link.tabIndex = number ? -1 : 0; });
  table.addEventListener("keydown", (event) => {
    const link = event.target.closest("td a");
    const next = link && STEPS[event.key]?.(link);
    if (!next) return;
    event.preventDefault();
    next.focus();
  });
  table.addEventListener("focusin", (event) => {
    const link = event.target.closest("td a");
    if (!link) return;
    links().forEach((other) => { other.tabIndex = other === link ? 0 : -1; });
  });
  // From nowhere, → and ↓ go into the strips.
  document.addEventListener("keydown", (event) => {
    const isNowhere = [document.body, document.querySelector("#main")].includes(document.activeElement);
    if (!isNowhere || !["ArrowRight", "ArrowDown"].includes(event.key) || event.ctrlKey || event.metaKey || event.altKey) return;
    const first = links().find((link) => link.tabIndex === 0);
    if (!first) return;
    event.preventDefault();
    first.focus();
  });
}
