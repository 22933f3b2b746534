"use strict";
// An observation follows the preparation, and a mark is kept without leaving the screen.
(() => {
  const EVERY = 2000;

  const follow = async () => {
    const line = document.getElementById("now");
    if (!line || document.hidden) return;
    try {
      const answer = await fetch(line.dataset.now, { headers: { Accept: "application/json" } });
      if (!answer.ok || answer.redirected) return;
      const now = await answer.json();
      for (const one of document.querySelectorAll(".parts a")) {
        one.classList.toggle("there", one.dataset.phases.split(" ").includes(now.phase));
      }
      if (String(now.turn) === line.dataset.turn) return;
      line.dataset.turn = String(now.turn);
      line.firstElementChild.textContent = now.said;
    } catch { /* the next look may reach the server again */ }
  };

  const offline = (shown) => {
    const told = document.getElementById("offline");
    if (told) told.hidden = !shown;
  };

  const keep = async (event) => {
    const form = event.target.closest("#observing form[data-plain]");
    const pressed = event.submitter;
    if (!form || !pressed || !window.fetch) return;
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = "1";
    const sent = new FormData(form, pressed);
    try {
      const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(sent) });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("observing");
      if (!fresh) { location.assign(answer.url); return; }
      document.getElementById("observing").replaceWith(fresh);
      offline(false);
      const row = document.getElementById(form.id);
      const again = row && [...row.querySelectorAll("button")].find((one) => one.value === pressed.value);
      (row && row.querySelector("[role=alert] input[type=radio]") || again || row || document.body).focus();
      follow();
    } catch {
      offline(true);
    } finally {
      delete form.dataset.busy;
    }
  };

  document.addEventListener("submit", keep);
  const here = document.querySelector(".drawing .mark.here .hit");
  if (here) {
    const box = here.closest(".drawing");
    box.scrollLeft += here.getBoundingClientRect().left - box.getBoundingClientRect().left - box.clientWidth / 2;
  }
  if (document.getElementById("now")) { follow(); setInterval(follow, EVERY); }
  for (const one of document.querySelectorAll("[data-print]")) {
    one.hidden = false;
    one.addEventListener("click", () => print());
  }
})();
