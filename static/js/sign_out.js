// Signing out leaves nothing of a client in this tab.
document.addEventListener("submit", (event) => {
  if (event.target.matches("[action$='/sign-out/']")) sessionStorage.clear();
});
