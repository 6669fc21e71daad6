// Pointing into a strip: a click in free time books at that quarter hour; dragging an appointment
// moves it, dragging its right edge changes its length. The form on its own page does the same.
const strips = document.querySelector(".strips");
const form = document.querySelector("#drag-move");
const GRID_MIN = 15;
const EDGE_PX = 12;
const NOT_A_CLICK_PX = 6;

function area(row) {
  const cells = row.querySelectorAll("td");
  const left = cells[0].getBoundingClientRect().left;
  const right = cells[cells.length - 1].getBoundingClientRect().right;
  const steps = [...cells].reduce((sum, cell) => sum + cell.colSpan, 0);
  return { left, minutesPerPx: (steps * 5) / (right - left) };
}

function minuteAt(row, x) {
  const { left, minutesPerPx } = area(row);
  const minute = (x - left) * minutesPerPx + Number(strips.dataset.openHour) * 60;
  return Math.round(minute / GRID_MIN) * GRID_MIN;
}

const clock = (minute) =>
  `${String(Math.floor(minute / 60)).padStart(2, "0")}:${String(minute % 60).padStart(2, "0")}`;

function bookAt(link, event) {
  const row = link.closest("tr");
  const { left, minutesPerPx } = area(row);
  const minute = (event.clientX - left) * minutesPerPx + Number(strips.dataset.openHour) * 60;
  const address = new URL(link.href);
  const opens = address.searchParams.get("at").slice(11);
  const quarter = clock(Math.floor(minute / GRID_MIN) * GRID_MIN);
  if (quarter > opens) address.searchParams.set("at", `${row.dataset.on}T${quarter}`);
  link.href = address;
}

function rowAt(event, fallback) {
  const under = document.elementFromPoint(event.clientX, event.clientY);
  return under?.closest("tr.strip") ?? fallback;
}

function target(drag, event) {
  const moved = event.clientX - drag.x;
  if (drag.resizes) {
    const minutes = minuteAt(drag.row, drag.right + moved) - drag.starts;
    return { row: drag.row, starts: drag.starts, minutes: Math.max(GRID_MIN, minutes) };
  }
  const row = rowAt(event, drag.row);
  return { row, starts: minuteAt(row, drag.left + moved), minutes: drag.minutes };
}

function hint(drag, event) {
  drag.hint ??= document.body.appendChild(Object.assign(document.createElement("p"), { className: "drop-hint" }));
  const { row, starts, minutes } = target(drag, event);
  const name = row.querySelector("th").firstChild.textContent.trim();
  drag.hint.textContent = `${name}, ${clock(starts)} to ${clock(starts + minutes)}`;
  drag.hint.style.left = `${event.clientX + 12}px`;
  drag.hint.style.top = `${event.clientY + 12}px`;
}

function send(drag, event) {
  const { row, starts, minutes } = target(drag, event);
  const by = strips.dataset.rows;
  const answers = {
    on: row.dataset.on,
    at: clock(starts),
    minutes,
    therapist: by === "therapist" ? row.dataset.resource : drag.link.dataset.therapist,
    room: by === "room" ? Number(row.dataset.resource) || "" : drag.link.dataset.room,
    version: drag.link.dataset.version,
    scope: "one",
  };
  Object.entries(answers).forEach(([name, value]) => { form.elements[name].value = value; });
  form.action = `/appointments/${drag.link.dataset.id}/move/`;
  form.submit();
}

function begin(link, event) {
  const box = link.parentElement.getBoundingClientRect();
  const row = link.closest("tr");
  const begins = link.dataset.begins.split(":").map(Number);
  return {
    link, row, x: event.clientX, y: event.clientY, left: box.left, right: box.right,
    minutes: Number(link.dataset.minutes), starts: begins[0] * 60 + begins[1],
    resizes: box.right - event.clientX < EDGE_PX, moves: false,
  };
}

if (strips && form) {
  let drag = null;
  strips.addEventListener("pointerdown", (event) => {
    const link = event.target.closest("[data-movable]");
    if (!link || event.button !== 0) return;
    drag = begin(link, event);
  });
  document.addEventListener("pointermove", (event) => {
    if (!drag) return;
    drag.moves ||= Math.hypot(event.clientX - drag.x, event.clientY - drag.y) > NOT_A_CLICK_PX;
    if (!drag.moves) return;
    drag.link.parentElement.classList.add("is-dragged");
    hint(drag, event);
  });
  const end = () => {
    drag?.link.parentElement.classList.remove("is-dragged");
    drag?.hint?.remove();
    drag = null;
  };
  document.addEventListener("pointerup", (event) => {
    if (drag?.moves) {
      send(drag, event);
      drag.link.addEventListener("click", (click) => click.preventDefault(), { once: true });
    }
    end();
  });
  document.addEventListener("pointercancel", end);
  document.addEventListener("keydown", (event) => { if (event.key === "Escape") end(); });
  strips.addEventListener("dragstart", (event) => event.preventDefault());
  strips.addEventListener("click", (event) => {
    const link = event.target.closest(".gap a");
    if (link && event.detail > 0) bookAt(link, event);
  });
}
