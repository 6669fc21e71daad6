// When a request fails, say so; what was typed stays where it is.
const sentence = (status) =>
  status === 0
    ? "The server cannot be reached. What you typed is still here; it is sent again with your next change."
    : status === 401 || status === 403
      ? "You are signed out, or this page is too old. Open the page again in another tab, then come back: what you typed is still here."
      : status === 503
        ? "The record cannot be reached or has no room just now. What you typed is still here; it is sent again with your next change."
        : "The server could not do this. What you typed is still here; please try once more.";

function show(status) {
  let box = document.querySelector("#failure");
  if (!box) {
    box = document.createElement("p");
    box.id = "failure";
    box.className = "notice notice-error";
    box.setAttribute("role", "alert");
    document.querySelector("#main").prepend(box);
  }
  box.textContent = sentence(status);
}

document.addEventListener("htmx:sendError", () => show(0));
document.addEventListener("htmx:timeout", () => show(0));
document.addEventListener("htmx:responseError", (event) => show(event.detail.xhr.status));
document.addEventListener("htmx:afterOnLoad", (event) => {
  if (event.detail.xhr.status < 400) document.querySelector("#failure")?.remove();
});
