// A box marked data-tick-all appears where scripts run, and ticks every box of its table.
for (const all of document.querySelectorAll("[data-tick-all]")) {
  const boxes = [...all.closest("table").querySelectorAll("tbody input[type=checkbox]")];
  const show = () => {
    const ticked = boxes.filter((box) => box.checked).length;
    all.checked = ticked === boxes.length;
    all.indeterminate = ticked > 0 && ticked < boxes.length;
  };
  all.hidden = boxes.length < 2;
  all.addEventListener("change", () => boxes.forEach((box) => { box.checked = all.checked; }));
  for (const box of boxes) box.addEventListener("change", show);
  show();
}
