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
    if (!status) return;
    const button = line.querySelector(`[data-status="${status}"]`);
    event.preventDefault();
    event.stopPropagation();
    if (button) button.click();
  });
}
if (lines.length) {
  const left = document.getElementById(location.hash.slice(1));
  if (lines.includes(left)) focusLine(left);
  else lines[0].tabIndex = 0;
}
