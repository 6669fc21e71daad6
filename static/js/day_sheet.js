// Arrow keys go from line to line; a letter presses a button of the line that has the focus.
const LETTERS = { c: "confirmed", a: "arrived", s: "in_session", d: "done", x: "no_show" };
const lines = [...document.querySelectorAll("[data-line]")];

function focusLine(line) {
  if (!line) return;
  for (const other of lines) other.tabIndex = -1;
  line.tabIndex = 0;
  line.focus();
}

for (const [place, line] of lines.entries()) {
  line.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (step) {
      event.preventDefault();
      focusLine(lines[place + step]);
      return;
    }
    const status = event.target === line && LETTERS[event.key];
    const isChart = event.target === line && event.key === "v";
    if (!status && !isChart) return;
    const button = line.querySelector(isChart ? "[data-chart]" : `[data-status="${status}"]`);
    event.preventDefault();
    event.stopPropagation();
    if (button) button.click();
  });
}
// From nowhere, ↓ goes to the first line that is still to come.
document.addEventListener("keydown", (event) => {
  const isNowhere = [document.body, document.querySelector("#main")].includes(document.activeElement);
  if (event.key !== "ArrowDown" || !isNowhere || event.ctrlKey || event.metaKey || event.altKey) return;
  const next = lines.find((line) => line.querySelector("[data-status='done']")) ?? lines.find((line) => line.querySelector("[data-status]")) ?? lines[0];
  if (!next) return;
  event.preventDefault();
  focusLine(next);
});
if (lines.length) {
  const left = document.getElementById(location.hash.slice(1));
  if (lines.includes(left)) focusLine(left);
  else lines[0].tabIndex = 0;
}
