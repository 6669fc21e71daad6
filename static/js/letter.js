// Says under each text how many characters are left, so that the letter stays one page.
const FEW = 40;

function show(area) {
  const left = Number(area.maxLength) - area.value.length;
  const counter = document.getElementById(`${area.id}_left`);
  counter.textContent = `${left} left`;
  counter.classList.toggle("letter-left-few", left < FEW);
}

document.querySelectorAll("textarea[data-counted]").forEach((area) => {
  const counter = document.createElement("span");
  counter.id = `${area.id}_left`;
  counter.className = "letter-left";
  area.before(counter);
  area.setAttribute("aria-describedby", [area.getAttribute("aria-describedby"), counter.id].filter(Boolean).join(" "));
  area.addEventListener("input", () => show(area));
  show(area);
});
