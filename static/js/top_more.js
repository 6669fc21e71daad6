// The header's menu closes by Escape, by a press elsewhere, and when the focus leaves it.
for (const menu of document.querySelectorAll("details.top-more")) {
  const word = menu.querySelector("summary");
  menu.addEventListener("focusout", (event) => {
    if (event.relatedTarget && !menu.contains(event.relatedTarget)) menu.open = false;
  });
  document.addEventListener("pointerdown", (event) => menu.contains(event.target) || (menu.open = false));
  menu.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !menu.open) return;
    event.stopPropagation();
    menu.open = false;
    word.focus();
  });
}
