// After a while without a key or a touch the page is covered until its person signs in again; what
// they typed stays underneath. The server decides: this script only asks it, and tells it of input.
{
  const MINUTE_MS = 60000;
  const person = document.body.dataset.person;
  const template = document.querySelector("#cover");
  const limit = Number(document.body.dataset.idleS) * 1000;
  const warnBefore = Math.min(MINUTE_MS, limit / 2);
  const tellEvery = Math.min(MINUTE_MS, limit / 4);
  let until = Date.now() + limit;
  let told = Date.now();
  let input = 0; // the last key or touch
  let cover = null;
  let hidden = [];
  let left = null; // where the focus, the title and the page were

  const background = { headers: { "X-Background": "yes" }, redirect: "manual", credentials: "same-origin" };
  const ask = () => fetch(template.dataset.ask, background).then((answer) => answer.json());

  const tell = () => {
    told = Date.now();
    fetch(template.dataset.here, { redirect: "manual", credentials: "same-origin" })
      .then((answer) => answer.ok || settle())
      .catch(() => {});
  };

  // The warning

  const warn = () => {
    if (document.querySelector("#idle-soon")) return;
    const box = document.createElement("p");
    box.id = "idle-soon";
    box.className = "notice notice-warning idle-soon";
    box.setAttribute("role", "status");
    document.body.append(box);
    box.textContent = "You will be signed out soon: nothing was typed here for a while. Press any key to stay.";
  };
  const unwarn = () => document.querySelector("#idle-soon")?.remove();

  // The cover

  const putUp = () => {
    if (cover) return;
    unwarn();
    left = { title: document.title, focus: document.activeElement, top: scrollY };
    hidden = [...document.body.children].filter((one) => !one.hidden && one !== template);
    hidden.forEach((one) => (one.hidden = true));
    document.title = "Signed out · Ebbline";
    cover = template.content.firstElementChild.cloneNode(true);
    document.body.append(cover);
    cover.addEventListener("cancel", (event) => event.preventDefault());
    cover.addEventListener("close", ({ target }) => target === cover && target.showModal()); // Escape, insisted on
    cover.querySelectorAll("form").forEach((form) => form.addEventListener("submit", send));
    document.dispatchEvent(new Event("fields-added"));
    cover.showModal();
    cover.querySelector("[name=password]").focus();
  };

  // Signing in, perhaps in another tab, makes the token of a page opened before worthless.
  const renew = (token) => {
    document.querySelectorAll("[name=csrfmiddlewaretoken]").forEach((one) => (one.value = token));
    document.body.setAttribute("hx-headers", JSON.stringify({ "X-CSRFToken": token }));
  };

  const takeDown = () => {
    until = Date.now() + limit;
    told = Date.now();
    if (!cover) return;
    cover.close();
    cover.remove();
    cover = null;
    hidden.forEach((one) => (one.hidden = false));
    document.title = left.title;
    scrollTo(0, left.top);
    left.focus?.focus({ preventScroll: true });
    document.querySelector("#failure")?.remove();
    window.dispatchEvent(new Event("signed-in-again"));
  };

  const step = (name) => {
    cover.querySelectorAll("[data-step]").forEach((form) => (form.hidden = form.dataset.step !== name));
    const field = cover.querySelector(`[data-step="${name}"] input:not([name=username])`);
    field.focus();
    field.select(); // what was wrong is typed over
  };

  const say = (text) => {
    const box = cover.querySelector("[data-said]");
    box.textContent = text;
    box.hidden = !text;
  };

  const send = async (event) => {
    event.preventDefault();
    const form = event.target;
    try {
      const { token } = await ask();
      const body = new URLSearchParams([...new FormData(form), ["csrfmiddlewaretoken", token]]);
      const sent = await fetch(template.dataset.ask, { ...background, method: "POST", body });
      follow(await sent.json());
    } catch {
      say("The server cannot be reached. Try again in a moment.");
    }
  };

  const follow = (answer) => {
    if (answer.state === "in" && String(answer.person) !== person) return location.replace("/");
    if (answer.state === "in") {
      renew(answer.token);
      return takeDown();
    }
    say(answer.said ?? "");
    step(answer.state === "code" ? "code" : "password");
  };

  // When

  const settle = async () => {
    const answer = await ask().catch(() => null);
    const isMine = answer?.state === "in" && String(answer.person) === person;
    if (!isMine || answer.left_s <= 0) return putUp();
    renew(answer.token);
    until = Date.now() + answer.left_s * 1000;
    if (cover) takeDown();
    return until;
  };

  const look = async () => {
    if (cover) return;
    const now = Date.now();
    if (now >= until) return settle();
    const isFresh = now - input <= 2 * tellEvery; // telling late, after a sleep, would count as input now
    if (input > told && now - told >= tellEvery && isFresh) tell();
    if (until - now <= warnBefore && !document.querySelector("#idle-soon")) {
      await settle(); // perhaps there was input in another tab
      if (!cover && until - Date.now() <= warnBefore) warn();
    }
  };

  const noticed = () => {
    const now = Date.now();
    if (cover) return;
    if (now >= until) return settle(); // the machine slept
    input = now;
    until = now + limit;
    if (document.querySelector("#idle-soon")) {
      unwarn();
      tell();
    }
  };

  if (person && template) {
    setInterval(look, Math.min(1000, limit / 10));
    for (const kind of ["keydown", "pointerdown", "input"]) document.addEventListener(kind, noticed, { passive: true });
    for (const kind of ["focus", "pageshow"]) window.addEventListener(kind, () => (cover ? settle() : look()));
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && (cover ? settle() : look()));
    document.addEventListener("htmx:responseError", (event) => event.detail.xhr.status === 401 && settle());
    window.addEventListener("signed-out", settle);
  }
}
