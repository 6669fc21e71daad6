// A form that came back has the focus where something is to be mended, not at the top of the page.
if (!document.querySelector("main [autofocus]")) {
  document.querySelector("main form .is-invalid:not([type=hidden])")?.focus();
}
