// A key named in data-key focuses or follows its element, unless someone is typing.
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.closest("input, textarea, select, [contenteditable]")) return;
  const named = document.querySelector(`[data-key="${CSS.escape(event.key)}"]`);
  if (!named) return;
  event.preventDefault();
  if (named.matches("a, button, details:not([open]) > summary")) named.click();
  else named.focus();
});
