// A form that came back has the focus where something is to be mended, not at the top of the page.
if (!document.querySelector("main [autofocus]")) {
  const wrong = ":is(.is-invalid, [aria-invalid=true]):not([type=hidden])";
  document.querySelector(`main form ${wrong}`)?.focus();
}
