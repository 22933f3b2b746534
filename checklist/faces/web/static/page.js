"use strict";
// Helps on every page; each works without them. What is typed is kept when the server cannot be
// reached, a form is sent once however often it is pressed, a tablet left alone is locked.
(() => {
  const root = document.documentElement, body = document.body;
  const byId = (id) => document.getElementById(id);
  const say = (text) => { const place = byId("said"); if (place) place.textContent = text; };

  // -- forms ------------------------------------------------------------------------------------

  const LONGEST = 20_000;  // ms that a server may take before it counts as out of reach
  const AGAIN = 600;       // ms within which a second press is a finger that bounced
  let sentAt = -Infinity;
  let news = null;         // tells when what this page shows has moved on elsewhere

  const sending = (form, on) => {
    if (on) root.dataset.sending = "1"; else delete root.dataset.sending;
    for (const one of form.querySelectorAll("button")) {
      if (on) one.setAttribute("aria-disabled", "true"); else one.removeAttribute("aria-disabled");
    }
  };

  // The page that came in place of this one, without a way of its own: what could not be read, or
  // how it stands now.
  const shown = (answer, text) => {
    // A page that is written over keeps its connections; with six of them a browser sends no more.
    news?.close();
    history.replaceState(null, "", answer.url);
    delete root.dataset.sending;
    document.open();
    document.write(text);
    document.close();
  };

  const send = async (form, submitter) => {
    const sent = new URLSearchParams(new FormData(form, submitter));
    sending(form, true);
    byId("offline").hidden = true;
    try {
      const answer = await fetch(form.action, {
        method: "POST", body: sent, cache: "no-store", credentials: "same-origin",
        signal: AbortSignal.timeout(LONGEST),
      });
      if (answer.redirected) { location.assign(answer.url); return; }
      shown(answer, await answer.text());
    } catch {
      // Whether it came through or not: the form names its turn, so sent again it counts once.
      sending(form, false);
      byId("offline").hidden = false;
      byId("offline").scrollIntoView({ block: "nearest" });
    }
  };

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "post" || form.target || "plain" in form.dataset || event.defaultPrevented) return;
    event.preventDefault();
    if (root.dataset.sending || event.timeStamp - sentAt < AGAIN) return;
    sentAt = event.timeStamp;
    send(form, event.submitter);
  });

  addEventListener("online", () => { if (!byId("offline").hidden) say("The connection is back. Press once more; it counts once."); });
  addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });

  // -- figures ----------------------------------------------------------------------------------

  // Wheel, arrows and page keys never change a figure: fields are plain text. Nothing is to be done,
  // and nothing here may be added that does.

  // -- theme ------------------------------------------------------------------------------------

  const theme = byId("theme");
  if (theme) {
    const dark = () => root.dataset.theme
      ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    const label = () => { theme.textContent = dark() ? "Light" : "Dark"; };
    theme.addEventListener("click", () => {
      root.dataset.theme = dark() ? "light" : "dark";
      try { localStorage.setItem("theme", root.dataset.theme); } catch { /* kept for this page then */ }
      label();
    });
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", label);
    label();
    theme.hidden = false;
  }

  // -- left alone -------------------------------------------------------------------------------

  const idle = Number(body.dataset.idle || 0) * 1_000;
  if (idle) {
    const warn = Math.min(Number(body.dataset.warn) * 1_000, idle / 2);
    const TELL = 20_000;  // ms between two words to the server that somebody is here
    const others = "BroadcastChannel" in globalThis ? new BroadcastChannel("here") : null;
    const box = byId("idle"), left = byId("idle-left");
    let until = Date.now() + idle, told = Date.now(), locked = false;

    const stay = async () => {
      if (locked) return;
      until = Date.now() + idle;
      told = Date.now();
      box.hidden = true;
      others?.postMessage("here");
      try {
        const answer = await fetch("/stay", { method: "POST", body: new URLSearchParams(), redirect: "manual" });
        if (answer.type === "opaqueredirect") location.reload();
      } catch { /* said when something is sent */ }
    };

    const lock = async () => {
      locked = true;
      const back = location.pathname + location.search;
      const gone = document.createElement("p");
      gone.textContent = "Locked. Sign in to go on.";
      document.title = "Locked";
      body.replaceChildren(gone);
      try { await fetch("/lock", { method: "POST", body: new URLSearchParams(), redirect: "manual" }); } catch { /* the server locks by itself as well */ }
      location.replace(`/sign-in?why=locked&next=${encodeURIComponent(back)}`);
    };

    const look = () => {
      if (locked) return;
      const over = until - Date.now();
      if (over <= 0) { lock(); return; }
      box.hidden = over > warn;
      left.textContent = String(Math.ceil(over / 1_000));
    };

    const active = () => {
      if (locked || Date.now() >= until) { look(); return; }
      if (!box.hidden || Date.now() - told > TELL) stay(); else until = Date.now() + idle;
    };

    for (const kind of ["keydown", "pointerdown", "input"]) document.addEventListener(kind, active, true);
    byId("stay").addEventListener("click", stay);
    others?.addEventListener("message", () => { until = Date.now() + idle; box.hidden = true; });
    document.addEventListener("visibilitychange", look);
    const timer = setInterval(() => { if (!box.isConnected && !locked) clearInterval(timer); else look(); }, 1_000);
  }

  // -- moved on elsewhere -----------------------------------------------------------------------

  const follows = document.querySelector("[data-follow]");
  if (follows && "EventSource" in globalThis) {
    const { follow, turn } = follows.dataset;
    news = new EventSource(`/events?preparation=${encodeURIComponent(follow)}&turn=${encodeURIComponent(turn)}`);
    news.addEventListener("moved", () => {
      news.close();
      if (root.dataset.sending) return;
      const open = [...document.querySelectorAll("main input:not([type='hidden']), main textarea")];
      const typed = open.some((one) => one.type === "checkbox" || one.type === "radio" ? one.checked !== one.defaultChecked : one.value !== one.defaultValue);
      if (!typed) { location.reload(); return; }
      const link = document.createElement("a");
      link.href = location.href;
      link.textContent = "Show where it stands now";
      byId("said").replaceChildren("This preparation has moved on at another place. ", link);
    });
    addEventListener("pagehide", () => news.close());
  }
})();
