// The entry screen by keyboard: moving between fields, pasting columns, keeping what is typed.
// No arithmetic here: volumes and questions come from the server. The form may come later than the
// page, and again: everything listens at the document.
const entryForm = () => document.querySelector("form.entry");
const fields = () => [...(entryForm()?.querySelectorAll("input.girth") ?? [])];
const weight = () => entryForm()?.querySelector("[data-after='weight'] input");
const isEntry = (event) => event.target.closest?.("form.entry");
const columns = () => [...new Set(fields().map((field) => field.dataset.column))].sort(byPlace);
const byPlace = (one, other) => placeOf(one) - placeOf(other);
const placeOf = (column) => fields().findIndex((field) => field.dataset.column === column);
const at = (column, row) =>
  fields().find((field) => field.dataset.column === column && field.dataset.row === String(row));

// Moving

function go(field) {
  if (!field) return;
  field.focus();
  field.select?.();
  field.scrollIntoView({ block: "nearest" });
}

function below(field) {
  const { column, row } = field.dataset;
  const next = columns()[columns().indexOf(column) + 1];
  return at(column, Number(row) + 1) ?? (next ? at(next, 0) : weight());
}

function above(field) {
  const { column, row } = field.dataset;
  if (row !== "0") return at(column, Number(row) - 1);
  const before = columns()[columns().indexOf(column) - 1];
  return before && fields().filter((one) => one.dataset.column === before).at(-1);
}

function beside(field, step) {
  const column = columns()[columns().indexOf(field.dataset.column) + step];
  return column && at(column, field.dataset.row);
}

const isAtEdge = (field, edge) =>
  field.selectionStart === 0 && field.selectionEnd === field.value.length
    ? true
    : field.selectionStart === field.selectionEnd && field.selectionStart === edge(field);

const moves = {
  Enter: (field, event) => (event.shiftKey ? above(field) : below(field)),
  ArrowDown: below,
  ArrowUp: above,
  ArrowLeft: (field) => isAtEdge(field, () => 0) && beside(field, -1),
  ArrowRight: (field) => isAtEdge(field, (one) => one.value.length) && beside(field, 1),
};

document.addEventListener("keydown", (event) => {
  if (!isEntry(event)) return;
  if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
  if (event.target.matches("input.girth") && moves[event.key]) {
    const next = moves[event.key](event.target, event);
    if (next || event.key === "Enter") event.preventDefault();
    if (next) go(next);
  } else if (event.key === "Enter" && event.target === weight()) {
    event.preventDefault();
    go(entryForm().querySelector("[data-after='record']"));
  } else if (event.key === "Enter" && event.target.matches("input:not([type=checkbox])")) {
    event.preventDefault(); // a stray Enter in a date or note records nothing
  }
});

// Pasting one or several spreadsheet columns

document.addEventListener("paste", (event) => {
  const start = isEntry(event) && event.target.closest("input.girth");
  const text = event.clipboardData.getData("text");
  if (!start || !/[\t\r\n]/.test(text.trim())) return;
  event.preventDefault();
  const lines = text.replace(/(\r\n|\r|\n)$/, "").split(/\r\n|\r|\n/);
  const first = columns().indexOf(start.dataset.column);
  const lost = [];
  let last = start;
  lines.forEach((line, down) =>
    line.split("\t").forEach((typed, across) => {
      if (!typed.trim()) return;
      const column = columns()[first + across];
      const field = column && at(column, Number(start.dataset.row) + down);
      if (field) (last = field).value = typed.trim();
      else lost.push(typed.trim());
    }),
  );
  report(lost);
  go(last);
  last.dispatchEvent(new Event("input", { bubbles: true }));
});

function report(lost) {
  const box = document.querySelector("#paste-report");
  box.hidden = lost.length === 0;
  box.textContent = lost.length
    ? `No field for ${lost.length} pasted: ${lost.join("; ")}. Left out: the protocol has fewer positions or limbs.`
    : "";
}

// Choices that change the fields are drawn by the server, with everything typed

let isLeaving = false;
document.addEventListener("change", (event) => {
  if (!isEntry(event) || !event.target.closest("[data-redraws]")) return;
  if (event.target.type === "date" && !event.target.value) return;
  isLeaving = true;
  const form = entryForm();
  form.requestSubmit(form.querySelector("button[value='show']"));
});

// Keeping the draft when the page goes away

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-leave]")) isLeaving = true;
});
document.addEventListener("visibilitychange", () => {
  const form = entryForm();
  if (!form || isLeaving || isSignedOut || !isTyped || document.visibilityState !== "hidden") return;
  navigator.sendBeacon(form.dataset.draft, new FormData(form));
});
document.addEventListener("focusin", (event) => isEntry(event) && event.target.matches("input.girth") && event.target.select());

let isTyped = false;
document.addEventListener("input", (event) => isEntry(event) && (isTyped = true));

// Signed out in the middle: the text stays, the page takes a fresh token after signing in again

let isSignedOut = false;
const isSignIn = (address) => new URL(address, location.href).pathname === entryForm().dataset.signIn;

document.addEventListener("htmx:beforeSwap", (event) => {
  const { xhr } = event.detail;
  if (!entryForm() || !([401, 403].includes(xhr.status) || isSignIn(xhr.responseURL || location.href))) return;
  event.detail.shouldSwap = false;
  sayingSignedOut();
});

function sayingSignedOut() {
  isSignedOut = true;
  if (document.querySelector("#signed-out")) return;
  const box = document.createElement("p");
  box.id = "signed-out";
  box.className = "notice notice-error";
  box.setAttribute("role", "alert");
  box.innerHTML = `You are signed out. What you typed is still here. <a target="_blank" rel="noopener">Sign in again in a new tab</a>, then come back to this one.`;
  box.querySelector("a").href = entryForm().dataset.signIn;
  entryForm().prepend(box);
}

async function takeFreshToken() {
  if (!isSignedOut || !entryForm()) return;
  const answer = await fetch(location.href, { credentials: "same-origin" });
  if (!answer.ok || isSignIn(answer.url)) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const token = page.querySelector("[name=csrfmiddlewaretoken]")?.value;
  if (!token) return;
  document.querySelectorAll("[name=csrfmiddlewaretoken]").forEach((one) => (one.value = token));
  document.body.setAttribute("hx-headers", JSON.stringify({ "X-CSRFToken": token }));
  isSignedOut = false;
  document.querySelectorAll("#signed-out, #failure").forEach((box) => box.remove());
  htmx.trigger("#kept", "keep-now");
  htmx.trigger("#live", "draw-now");
}
window.addEventListener("focus", takeFreshToken);
window.addEventListener("signed-in-again", takeFreshToken);
document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && takeFreshToken());

function onSubmit(event) {
  if (!isEntry(event)) return;
  if (isSignedOut) {
    event.preventDefault();
    event.stopImmediatePropagation(); // before any other listener sends it
    isLeaving = false;
    document.querySelector("#signed-out a").focus();
    return;
  }
  isLeaving = true;
}
document.addEventListener("submit", onSubmit, true);
window.addEventListener("pageshow", () => (isLeaving = false));

// First field, or what stopped the recording

function focusFirst() {
  isLeaving = false;
  const complaint = document.querySelector("[data-focus-first]");
  if (complaint) complaint.focus();
  else fields().find((field) => !field.value)?.focus({ preventScroll: true });
}
if (entryForm()) focusFirst();
document.addEventListener("htmx:afterSettle", (event) => {
  if (event.detail.elt.querySelector?.("form.entry")) focusFirst();
  // A question that appeared above pushes the field in use down, on a tablet behind the volumes.
  const inUse = document.activeElement;
  if (event.detail.elt.id === "live" && inUse.closest("form.entry")) inUse.scrollIntoView({ block: "nearest" });
});
