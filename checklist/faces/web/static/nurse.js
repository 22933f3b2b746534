"use strict";
// Helps on the nurse's pages; every page works without them. Nothing here knows what an answer
// should be.
(() => {
  // A number in words while it is typed. The server says the words, so that they are the same ones
  // everywhere; a field whose words were not shown is read back on a page of its own.
  const waits = new WeakMap();
  const spoken = [...document.querySelectorAll("input[data-spoken]")];
  const place = (input) => document.getElementById(`${input.id}-words`);
  const held = (input) => input.form.elements.namedItem(`${input.name}.said`);

  function show(input, text, words) {
    const line = place(input), said = held(input);
    line.replaceChildren();
    said.value = words ? text : "";
    if (!words) return;
    const head = document.createElement("span"), body = document.createElement("b");
    head.className = "quiet";
    head.textContent = "in words: ";
    body.textContent = words;
    line.append(head, body);
  }

  async function ask(input) {
    const text = input.value;
    const sent = new URLSearchParams({ kind: input.dataset.spoken, code: input.dataset.code, text });
    try {
      const answer = await fetch("/spoken", { method: "POST", body: sent, cache: "no-store" });
      const told = answer.ok ? await answer.json() : {};
      if (input.value === text) show(input, text, told.words || "");
    } catch { /* without the server nothing can be entered either */ }
  }

  function typed(input) {
    show(input, "", "");
    clearTimeout(waits.get(input));
    if (input.value.trim()) waits.set(input, setTimeout(ask, 120, input));
  }

  for (const input of spoken) {
    input.addEventListener("input", () => typed(input));
    if (input.value.trim() && held(input).value !== input.value) ask(input);
  }

  // Of several fields that take a scan, the first that is still empty waits for the next one.
  const scans = [...document.querySelectorAll("input[data-scans]")];
  const wait = () => {
    const waits = scans.find((one) => !one.value.trim()) || scans[scans.length - 1];
    for (const one of scans) one.toggleAttribute("data-scan", one === waits);
  };
  if (scans.length) {
    for (const one of scans) one.addEventListener("input", wait);
    wait();
  }

  // A keypad beside the fields. It helps; the keyboard goes on working.
  const pad = document.querySelector(".keypad");
  if (pad && spoken.length) {
    let target = spoken[0];
    for (const input of spoken) input.addEventListener("focus", () => { target = input; });
    const press = (key) => {
      target.value = key === "erase" ? target.value.slice(0, -1) : target.value + key;
      target.dispatchEvent(new Event("input", { bubbles: true }));
    };
    for (const key of ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0", "erase"]) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = key === "erase" ? "⌫" : key;
      if (key === "erase") button.setAttribute("aria-label", "Erase the last figure");
      if (key === ".") button.setAttribute("aria-label", "point");
      button.addEventListener("pointerdown", (event) => event.preventDefault());
      button.addEventListener("click", () => press(key));
      pad.append(button);
    }
    pad.hidden = false;
  }

  // Minutes that run down between two pages. The server's own words stand there first.
  const clock = document.querySelector("[data-until]");
  if (clock) {
    const seen = performance.now(), until = Date.parse(clock.dataset.until);
    const now = Date.parse(clock.dataset.now);
    const tell = () => {
      const left = Math.floor((until - now - (performance.now() - seen)) / 60_000);
      if (left >= 1) clock.textContent = `Begin to give within ${words(left)}.`;
      else if (left >= 0) clock.textContent = "Begin to give within the minute.";
      else clock.textContent = "The time to begin is over.";
    };
    const words = (m) => m < 60 ? `${m} min` : m % 60 ? `${Math.floor(m / 60)} h ${m % 60} min` : `${m / 60} h`;
    setInterval(tell, 15_000);
  }
})();
