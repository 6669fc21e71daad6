// The visit page: saving as one goes, rows of treatment, phrases, copying, keys. Nothing is
// computed here; units, red flags and what is missing come from the server.
const form = document.querySelector("#note-form");
const box = document.querySelector("#saved");
const KEY = `note:${form.dataset.note}`;
const SOON_MS = 2000; // after a word typed
const NOW_MS = 350; // after minutes, a service or a tick
const AGAIN_MS = 5000; // when the server could not be reached

// What is typed

const typed = () => [...new FormData(form)].filter(([name]) => !["csrfmiddlewaretoken", "revision"].includes(name));
const asText = (pairs) => new URLSearchParams(pairs).toString();
const revision = () => document.querySelector("#revision");
const filled = () => [...document.querySelectorAll(".visit-text")].map((area) => !!area.value.trim()).join();

let kept = asText(typed()); // as the server has it
let keptFilled = filled();
let waiting = null; // sent and not yet answered for: sent again word for word until it is
let flight = null;
let timer = 0;
let state = "well"; // or "offline", "signed-out", "stopped"
let wantsDraw = false;
let refused = null; // what the server would not keep: not sent again until it is changed

const isDirty = () => waiting !== null || asText(typed()) !== kept;

// Kept in this tab only, only until the server has it, and only for the person who typed it.
let isSigningOut = false; // then nothing may stay behind
document.addEventListener("submit", (event) => {
  if (!event.target.matches("[action$='/sign-out/']")) return;
  isSigningOut = true;
  setTimeout(() => (isSigningOut = false), 5000); // she may have stayed to save first
});

function hold() {
  if (isSigningOut) return;
  const pairs = typed();
  if (asText(pairs) === kept && !waiting) return sessionStorage.removeItem(KEY);
  const shot = { person: form.dataset.person, revision: waiting?.revision ?? revision().value, pairs };
  sessionStorage.setItem(KEY, JSON.stringify(shot));
}

function say(html, isBad = false) {
  box.innerHTML = html;
  box.classList.toggle("is-bad", isBad);
}

// Saving

function due(ms) {
  clearTimeout(timer);
  if (state !== "stopped" && state !== "signed-out") timer = setTimeout(save, ms);
}

function post(shot, address = form.action) {
  const body = new URLSearchParams([
    ...shot.pairs,
    ["revision", shot.revision],
    ["draw", shot.draw ? "1" : ""],
    ["csrfmiddlewaretoken", form.elements.csrfmiddlewaretoken.value],
  ]);
  const isSmall = body.toString().length < 60000; // what a browser lets outlive its page
  return fetch(address, { method: "POST", body, keepalive: isSmall, headers: { "HX-Request": "true" }, redirect: "manual" });
}

async function save() {
  clearTimeout(timer);
  if (state === "stopped" || state === "signed-out") return;
  if (flight) {
    await flight;
    if (isDirty()) await save();
    return;
  }
  if (!isDirty() || (!waiting && asText(typed()) === refused)) return;
  if (!waiting) {
    waiting = { pairs: typed(), revision: revision().value, draw: wantsDraw || filled() !== keptFilled };
    wantsDraw = false;
  }
  flight = send(waiting);
  await flight;
  flight = null;
  if (state === "well" && isDirty()) due(waiting ? AGAIN_MS : SOON_MS);
}

async function send(shot) {
  let answer;
  try {
    answer = await post(shot);
  } catch {
    return offline("No connection");
  }
  if (answer.status >= 500) return offline("The server could not save");
  if (answer.type === "opaqueredirect" || [401, 403].includes(answer.status)) return signedOut();
  const html = await answer.text().catch(() => null);
  if (html === null) return offline("No connection");
  if (answer.status === 409 || answer.status === 410 || answer.status === 404) return stopped(html, answer.status);
  waiting = null;
  if (answer.status === 422) {
    refused = asText(shot.pairs);
    wantsDraw ||= shot.draw;
    return say(html, true);
  }
  kept = asText(shot.pairs);
  keptFilled = filled();
  state = "well";
  box.classList.remove("is-bad");
  htmx.swap("#saved", html, { swapStyle: "innerHTML" });
  hold();
}

function offline(why) {
  state = "offline";
  hold();
  say(`<b class="invalid">Not saved: ${why}.</b> What you typed is kept in this tab and sent again by itself.`, true);
  timer = setTimeout(save, AGAIN_MS);
}
window.addEventListener("online", () => state === "offline" && save());

function stopped(html, status) {
  state = "stopped";
  waiting = null;
  const place = document.querySelector("#conflict");
  const isGone = status === 404;
  htmx.swap(place, isGone ? `<p class="notice notice-error" role="alert" tabindex="-1" data-said>This draft is no longer there. What you typed is still on this page: copy it first.</p>` : html, { swapStyle: "innerHTML" });
  say(`<b class="invalid">Not saved: see above.</b>`, true);
  const dialog = place.querySelector("dialog");
  if (status === 409) {
    kept = asText(typed()); // the server has it, beside the other version
    sessionStorage.removeItem(KEY);
  }
  if (dialog) openDialog(dialog);
  else place.querySelector("[data-said]")?.focus();
}

function openDialog(dialog) {
  dialog.removeAttribute("open");
  dialog.showModal();
  dialog.addEventListener("cancel", (event) => event.preventDefault());
  dialog.querySelector("input[type=radio]:checked, button")?.focus();
}

// Signed out in the middle: the text stays; the next look at this tab takes a fresh token

function signedOut() {
  state = "signed-out";
  hold();
  say(`<b class="invalid">You are signed out.</b> What you typed is still here. <a target="_blank" rel="noopener" href="${form.dataset.signIn}">Sign in again in a new tab</a>, then come back.`, true);
}

async function signedInAgain() {
  if (state !== "signed-out") return;
  const answer = await fetch(location.pathname, { redirect: "manual" }).catch(() => null);
  if (!answer?.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const fresh = page.querySelector("#note-form");
  if (fresh && fresh.dataset.person !== form.dataset.person) return say(`<b class="invalid">Somebody else is signed in.</b> This text is yours: sign in again yourself to save it.`, true);
  const token = page.querySelector("[name=csrfmiddlewaretoken]")?.value;
  if (!token) return;
  document.querySelectorAll("[name=csrfmiddlewaretoken]").forEach((one) => (one.value = token));
  document.body.setAttribute("hx-headers", JSON.stringify({ "X-CSRFToken": token }));
  document.querySelector("#failure")?.remove();
  state = "well";
  save();
}
window.addEventListener("focus", signedInAgain);
window.addEventListener("signed-in-again", signedInAgain);

// When: some seconds after typing, on leaving a field, when the page goes away

const isOurs = (element) => element?.form === form;

document.addEventListener("input", (event) => {
  if (!isOurs(event.target)) return;
  hold();
  const isQuick = event.target.matches("[name=minutes], [name=visit_min], [name=service], [name=signs]");
  if (isQuick) wantsDraw = true;
  due(isQuick ? NOW_MS : SOON_MS);
});
document.addEventListener("focusout", (event) => isOurs(event.target) && isDirty() && save());
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") signedInAgain();
  else if (!flight) save();
});
window.addEventListener("pagehide", () => {
  if (state !== "well" || !flight || asText(typed()) === asText(waiting?.pairs ?? [])) return;
  post({ pairs: typed(), revision: Number(waiting.revision) + 1 }).catch(() => {}); // upon the one under way
});
window.addEventListener("beforeunload", (event) => state !== "well" && isDirty() && event.preventDefault());

form.addEventListener("submit", async (event) => {
  const button = event.submitter;
  event.preventDefault();
  if (button?.dataset.copy) return copy(button);
  await save();
  if (button?.dataset.sign && state === "well" && !waiting) location.assign(button.dataset.sign);
});

// Copying forward: saved first, then the sections come back marked

async function copy(button) {
  await save();
  if (state !== "well") return;
  const areas = document.querySelectorAll(".visit-text");
  areas.forEach((area) => (area.readOnly = true)); // nothing typed meanwhile may be overwritten
  const answer = await post({ pairs: [["section", button.dataset.copy]], revision: revision().value }, button.formAction).catch(() => null);
  areas.forEach((area) => (area.readOnly = false));
  if (!answer?.ok) return say(`<b class="invalid">Not copied.</b> Please try once more.`, true);
  htmx.swap("#saved", await answer.text(), { swapStyle: "innerHTML" });
  kept = asText(typed());
  keptFilled = filled();
  document.getElementById(button.dataset.copy)?.focus();
}

// Rows of treatment

const rows = document.querySelector("#rows");
const serviceOf = (row) => row?.querySelector("[name=service]");

function addRow() {
  rows.append(document.querySelector("#empty-row").content.cloneNode(true));
  return rows.lastElementChild;
}

function removeRow(row) {
  const next = row.nextElementSibling ?? row.previousElementSibling;
  row.remove();
  serviceOf(next ?? addRow()).focus();
  wantsDraw = true;
  hold();
  due(NOW_MS);
}

rows?.addEventListener("click", (event) => event.target.closest("[data-remove]") && removeRow(event.target.closest("[data-row]")));
rows?.addEventListener("input", () => {
  if (serviceOf(rows.lastElementChild)?.value) addRow();
});
rows?.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.ctrlKey || event.metaKey || !event.target.matches("input")) return;
  event.preventDefault();
  const next = event.target.closest("[data-row]").nextElementSibling ?? addRow();
  const minutes = next.querySelector("[name=minutes]");
  (serviceOf(next).value && !minutes.value ? minutes : serviceOf(next)).focus();
});

// The services of the visit before, each waiting for its own minutes
const same = document.querySelector("[data-same]");
same?.removeAttribute("hidden");
same?.addEventListener("click", () => {
  const first = rows.lastElementChild;
  same.dataset.same.trim().split(" ").forEach((service) => {
    const row = rows.lastElementChild;
    serviceOf(row).value = service;
    addRow();
  });
  same.closest("p").remove();
  first.querySelector("[name=minutes]").focus();
});

// A digit tells the days done
document.addEventListener("keydown", (event) => {
  const days = /^[0-7]$/.test(event.key) && event.target.closest("[data-days]");
  const box = days && !event.ctrlKey && !event.altKey && days.querySelector(`input[value="${event.key}"]`);
  if (box) box.click();
});

// Phrases: from the menu, or by / and a name

const offered = (area) => [...document.querySelectorAll(`[data-phrase][data-into="${area.id}"]`)];
const SLASH = /(^|\s)\/([\p{L}\p{N} _-]*)$/u;
let list = null; // { area, box, at }

function put(area, text, cut = 0) {
  const at = area.selectionStart;
  area.setRangeText(text, at - cut, area.selectionEnd, "end");
  area.focus();
  const blank = text.indexOf("____"); // the next key fills it
  if (blank >= 0) area.setSelectionRange(at - cut + blank, at - cut + blank + 4);
  area.dispatchEvent(new Event("input", { bubbles: true }));
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-phrase]");
  if (!button) return;
  const area = document.getElementById(button.dataset.into);
  closeList();
  put(area, (area.value && area.selectionStart === area.value.length && !/\s$/.test(area.value) ? " " : "") + button.dataset.phrase);
  button.closest("details").open = false;
});

function closeList() {
  if (!list) return;
  list.box.remove();
  list.area.removeAttribute("aria-activedescendant");
  list = null;
}

function openList(area) {
  closeList();
  const found = area.selectionEnd === area.selectionStart && SLASH.exec(area.value.slice(0, area.selectionStart));
  const asked = found ? found[2].toLowerCase() : "";
  const place = (one) => one.dataset.name.toLowerCase().indexOf(asked); // -1: another name
  const matching = found ? offered(area).filter((one) => place(one) >= 0).sort((one, other) => place(one) - place(other)) : [];
  if (!matching.length) return;
  const shown = document.createElement("ul");
  shown.className = "visit-list";
  shown.id = `list-${area.id}`;
  shown.setAttribute("role", "listbox");
  shown.setAttribute("aria-label", "Phrases");
  matching.slice(0, 8).forEach((one, place) => {
    const line = document.createElement("li");
    line.id = `${shown.id}-${place}`;
    line.setAttribute("role", "option");
    const name = document.createElement("b");
    name.textContent = one.dataset.name;
    line.append(name, ` ${one.dataset.phrase}`);
    line.addEventListener("mousedown", (event) => (event.preventDefault(), choose(one)));
    shown.append(line);
  });
  area.after(shown);
  list = { area, box: shown, found: matching, cut: found[2].length + 1, at: 0 };
  mark(0);
}

function mark(at) {
  list.at = (at + list.box.children.length) % list.box.children.length;
  [...list.box.children].forEach((line, place) => line.setAttribute("aria-selected", String(place === list.at)));
  list.area.setAttribute("aria-activedescendant", list.box.children[list.at].id);
}

function choose(one) {
  const { area, cut } = list;
  closeList();
  put(area, one.dataset.phrase, cut);
}

document.addEventListener("input", (event) => event.target.matches(".visit-text") && openList(event.target));
document.addEventListener("focusout", (event) => list?.area === event.target && closeList());
document.addEventListener("keydown", (event) => {
  if (!list || event.target !== list.area || event.ctrlKey || event.metaKey) return;
  const act = { ArrowDown: () => mark(list.at + 1), ArrowUp: () => mark(list.at - 1), Enter: () => choose(list.found[list.at]), Tab: () => choose(list.found[list.at]), Escape: closeList }[event.key];
  if (!act) return;
  event.preventDefault();
  event.stopPropagation();
  act();
});

// From part to part by keys

function stops() {
  const isTaped = !document.querySelector("#not-taped");
  const isDone = (one) => (one.id === "visit_min" ? !!one.value : one.name === "service" ? !!same?.isConnected : one.matches("#measure *") && isTaped);
  return [...document.querySelectorAll("[data-stop], .visit-text, #visit_min")].filter((one) => one.offsetParent && !isDone(one));
}

function onward(from) {
  const all = stops();
  const after = all.filter((one) => from.compareDocumentPosition(one) & Node.DOCUMENT_POSITION_FOLLOWING && !from.contains(one));
  (after[0] ?? document.querySelector("#red_flags input[name=action]") ?? document.querySelector("#go-sign")).focus();
}

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  if (event.key === "s") {
    event.preventDefault();
    save();
  } else if (event.key === "Enter" && (event.target === document.body || event.target.closest(".page-visit")) && !event.target.closest("form.entry")) {
    event.preventDefault();
    if (event.target.id === "go-sign") event.target.click();
    else onward(event.target.closest("[data-row]") ? rows.lastElementChild : event.target);
  }
});

const firstIn = (part) => (part.matches("textarea, input") ? part : part.querySelector("[data-stop], input:not([type=hidden]), select, textarea, button")) ?? part;

document.addEventListener("click", (event) => {
  const link = event.target.closest("[data-to]");
  const target = link && document.getElementById(link.dataset.to);
  if (!target) return;
  event.preventDefault();
  firstIn(target).focus();
  target.scrollIntoView({ block: "center" });
});

// What is being typed about a red flag is not drawn over by a save under way
document.addEventListener("htmx:oobBeforeSwap", (event) => {
  const { target } = event.detail;
  const isTypedIn = target.id === "red_flags" && (target.contains(document.activeElement) || [...target.querySelectorAll("[name=action]")].some((field) => field.value));
  if (isTypedIn) event.detail.shouldSwap = false;
});

document.addEventListener("htmx:afterSettle", (event) => {
  const { elt, requestConfig } = event.detail;
  const asked = requestConfig?.path ?? ""; // parts drawn along with another move nothing
  if (!document.activeElement.matches("body, [data-said]")) return; // somebody has gone on already
  if (elt.id === "precautions" && asked.endsWith("/precautions/")) (elt.querySelector(".invalid, #ask-all") ? elt.querySelector("details input") : document.querySelector("#subjective"))?.focus();
  if (elt.id === "red_flags" && asked.endsWith("/red-flag/")) (elt.querySelector(".invalid") ? elt.querySelector("input[name=action]") : document.querySelector("#to-sign a, #go-sign"))?.focus();
  if (elt.matches?.("[data-panel]")) elt.querySelector("[data-said]")?.focus();
});

// Coming back to a page whose text did not reach the server

function restore({ pairs, revision: upon }) {
  const values = new Map();
  pairs.forEach(([name, value]) => values.set(name, [...(values.get(name) ?? []), value]));
  document.querySelectorAll(".visit-text, #visit_min").forEach((field) => (field.value = values.get(field.name)?.[0] ?? field.value));
  document.querySelectorAll("[name=signs]").forEach((tick) => (tick.checked = (values.get("signs") ?? []).includes(tick.value)));
  if (rows) {
    rows.replaceChildren();
    (values.get("service") ?? []).forEach((service, place) => {
      const row = addRow();
      serviceOf(row).value = service;
      row.querySelector("[name=minutes]").value = values.get("minutes")[place];
      row.querySelector("[name=remark]").value = values.get("remark")[place];
    });
    if (!rows.lastElementChild || serviceOf(rows.lastElementChild).value) addRow();
  }
  revision().value = upon;
  wantsDraw = true;
  save();
}

const left = JSON.parse(sessionStorage.getItem(KEY) ?? "null");
const dialog = document.querySelector("#conflict dialog");
if (dialog) {
  state = "stopped";
  openDialog(dialog);
} else {
  if (left) restore(left);
  const anchor = document.getElementById(location.hash.slice(1));
  const target = anchor && firstIn(anchor);
  (target ?? document.querySelector("#ask-all") ?? [...document.querySelectorAll(".visit-text")].find((area) => !area.value) ?? document.querySelector("#go-sign")).focus();
}
