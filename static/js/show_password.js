// A button beside each password field shows what is typed, until it is sent.
{
  const offer = (field) => {
    if (field.dataset.offered) return;
    field.dataset.offered = "yes";
    const button = document.createElement("button");
    button.type = "button";
    button.className = "btn btn-link show-password";
    button.setAttribute("aria-pressed", "false");
    button.setAttribute("aria-controls", field.id);
    button.textContent = "Show password";
    const turn = (isShown) => {
      field.type = isShown ? "text" : "password";
      button.setAttribute("aria-pressed", String(isShown));
      button.textContent = isShown ? "Hide password" : "Show password";
    };
    button.addEventListener("click", () => turn(field.type === "password"));
    field.form?.addEventListener("submit", () => turn(false));
    field.after(button);
  };
  const offerAll = () => document.querySelectorAll("[data-show='password']").forEach(offer);
  document.addEventListener("fields-added", offerAll);
  offerAll();
}
