// Moving steps by keyboard and by dragging. No rule is known here: the server answers every change.
const form = document.querySelector("#draft-form");
const stepOf = (element) => element.closest("[data-step]");
let wanted = ""; // what to focus in the moved step once the answer is there

function remember(step, element) {
  const role = element?.dataset?.role;
  const field = element?.name?.replace(/^s\d+-/, "");
  wanted = role ? `[data-role="${role}"]` : field ? `[name$="-${field}"]` : `[data-role="up"]`;
}

form?.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-role]");
  if (button) remember(stepOf(button), button);
});

form?.addEventListener("keydown", (event) => {
  if (!event.altKey || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
  const step = stepOf(event.target);
  if (!step) return;
  event.preventDefault();
  const role = event.key === "ArrowUp" ? "up" : "down";
  const button = step.querySelector(`[data-role="${role}"]`);
  if (button.disabled) return;
  button.click();
  remember(step, event.target.matches("input") ? event.target : button);
});

document.addEventListener("htmx:afterSettle", () => {
  const list = document.querySelector("#draft-steps");
  if (!wanted || !list?.dataset.focus) return;
  const step = list.querySelector(`[data-step="${list.dataset.focus}"]`);
  const target = step?.querySelector(wanted);
  (target?.disabled ? step.querySelector("button:not([disabled])") : target)?.focus();
  step?.scrollIntoView({ block: "nearest" });
  wanted = "";
});

// Dragging: the number of a step is its handle.
let dragged = null;

form?.addEventListener("dragstart", (event) => {
  if (!event.target.closest?.(".draft-handle")) return;
  dragged = stepOf(event.target);
  event.dataTransfer.effectAllowed = "move";
  event.dataTransfer.setData("text/plain", dragged.dataset.step);
  event.dataTransfer.setDragImage(dragged, 20, 20);
  dragged.classList.add("draft-dragged");
});

form?.addEventListener("dragover", (event) => {
  const over = dragged && stepOf(event.target);
  if (!over) return;
  event.preventDefault();
  form.querySelectorAll(".draft-target").forEach((step) => step.classList.remove("draft-target"));
  if (over !== dragged) over.classList.add("draft-target");
});

form?.addEventListener("drop", (event) => {
  const over = dragged && stepOf(event.target);
  if (!over) return;
  event.preventDefault();
  if (over !== dragged) {
    const button = form.querySelector("#drag-act");
    button.value = `move-${dragged.dataset.step}-${over.dataset.step}`;
    wanted = `[data-role="up"]`;
    button.click();
  }
});

form?.addEventListener("dragend", () => {
  form.querySelectorAll(".draft-target, .draft-dragged").forEach((step) => step.classList.remove("draft-target", "draft-dragged"));
  dragged = null;
});
