// A form that saves itself on a change sends its fields, not the button that merely has the focus:
// htmx adds the last focused button of a form to every request of it.
document.addEventListener("htmx:configRequest", (event) => {
  const { elt, triggeringEvent, formData } = event.detail;
  if (elt.tagName !== "FORM" || triggeringEvent?.type === "submit") return;
  [...elt.elements].filter((field) => field.type === "submit" && field.name)
    .forEach((button) => formData.delete(button.name));
});
