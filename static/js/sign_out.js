// Signing out leaves nothing of a client in this tab, nor does being signed out to the next person.
document.addEventListener("submit", (event) => {
  if (event.target.matches("[action$='/sign-out/']")) sessionStorage.clear();
});
{
  const { person } = document.body.dataset;
  const isAnothers = (name) => name.startsWith("note:") && JSON.parse(sessionStorage.getItem(name)).person !== person;
  if (person) Object.keys(sessionStorage).filter(isAnothers).forEach((name) => sessionStorage.removeItem(name));
}
