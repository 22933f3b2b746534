"use strict";
// A scanner types like a keyboard, only faster, and ends with Enter or Tab. A scan is an event of its
// own here, not typing: its keys are taken before any field or button sees them, so that a scan never
// presses a button, ticks a box or lands in the wrong field. It goes to the field of this page that
// waits for one (data-scan), or it is refused in words.
//
// Keys that come no more than GAP apart are a burst; LEAST of them make a scan, which ends with its
// Enter or Tab, or when nothing more comes. What the first ones
// of it typed is taken back out of the field they went into. Plain typing, and Enter and Space on
// buttons, go on as ever.
(() => {
  const GAP = 50;        // ms between two keys of one scan; keys by hand are 80 and more apart
  const LEAST = 6;       // keys
  const STALL = 250;     // ms that a scan, once it is one, may falter: a radio link, a busy tablet
  const LONGEST = 1000;  // characters that any label holds, with room to spare
  const TAIL = 150;      // ms after this page began, within which a burst is the end of an older one
  const GS = "\u001d";   // parts the element strings of GS1

  const begun = performance.now();
  const bursts = [];
  let keys = [];         // the characters of the burst so far
  let first = 0;         // when it began, and when its last key came
  let last = -Infinity;
  let ended = -Infinity; // when the last scan ended, for scanners that send Enter and Tab
  let where = null;      // the control that had the focus when it began, and how that stood
  let before = null;
  let timer = 0;
  let alt = "";          // figures typed while Alt is held: some scanners send GS as Alt+029

  const say = (text) => {
    const place = document.getElementById("said");
    if (place) place.textContent = text;
  };

  const takesText = (one) => one !== null && (one.tagName === "TEXTAREA" || (one.tagName === "INPUT"
    && !/^(?:button|checkbox|radio|submit|reset|hidden|file|range|color)$/.test(one.type)));

  const stood = (one) => {
    if (takesText(one)) return { one, value: one.value, from: one.selectionStart, to: one.selectionEnd };
    return one && one.tagName === "SELECT" ? { one, value: one.value } : null;
  };

  const putBack = (was) => {
    if (!was || was.one.value === was.value) return;
    was.one.value = was.value;
    if (was.from !== undefined) {
      try { was.one.setSelectionRange(was.from, was.to); } catch { /* not every field has one */ }
    }
    was.one.dispatchEvent(new Event("input", { bubbles: true }));
  };

  const take = (event) => { event.preventDefault(); event.stopImmediatePropagation(); };
  const drop = () => { clearTimeout(timer); keys = []; before = null; alt = ""; };

  // The character that a key stands for; "" for one that stands for none.
  const character = (event) => {
    if (event.key === GS) return GS;
    const control = event.ctrlKey && !event.altKey && !event.metaKey;
    if (control && (event.key === "]" || event.code === "BracketRight")) return GS;
    if (event.ctrlKey || event.metaKey || event.altKey) return "";
    return event.key.length === 1 ? event.key : "";
  };

  const add = (one, at) => {
    if (!keys.length) { where = document.activeElement; before = stood(where); first = at; }
    keys.push(one);
    last = at;
    clearTimeout(timer);
    timer = setTimeout(done, keys.length < LEAST ? 2 * GAP : STALL + GAP);
  };

  const done = () => {
    clearTimeout(timer);
    const text = keys.join(""), was = before, scan = keys.length >= LEAST;
    const tail = first - begun < TAIL;
    keys = []; before = null;
    if (!scan) return false;
    putBack(was);
    bursts.push({ text, tail });
    if (bursts.length === 1) setTimeout(next, 0);
    return true;
  };

  const isOpen = (one) => one.type !== "hidden" && !one.disabled && !one.readOnly && one.offsetParent !== null
    && (takesText(one) || one.tagName === "SELECT") && !one.value.trim();

  // One scan at a time. What comes while a form is on its way is said, never glued to it or kept for
  // another page than the one it was meant for.
  const next = () => {
    const { text, tail } = bursts.shift();
    const field = document.querySelector("[data-scan]"), form = field && field.form;
    const words = text.replaceAll(GS, " ").slice(0, 40);
    if (document.documentElement.dataset.sending) {
      say("Scan not taken: the one before is on its way. Scan again when the page has moved on.");
    } else if (tail) {
      say("Scan not taken: it began before this page was here. Scan it once more.");
    } else if (!form || field.disabled || field.readOnly) {
      say(`Scan not wanted here: ${words}. Nothing was changed.`);
    } else if (text.length > LONGEST) {
      say("Scan not taken: it is longer than any label. Scan it once more.");
    } else {
      into(field, form, text);
      say(`Scanned: ${words}`);
    }
    if (bursts.length) setTimeout(next, 0);
  };

  const into = (field, form, text) => {
    field.value = text;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    const channel = form.querySelector("input[name='channel']");
    if (channel) channel.value = "scanned";
    const empty = [...form.elements].find(isOpen);
    if (empty) empty.focus();
    else form.requestSubmit(form.querySelector("button.primary"));
  };

  document.addEventListener("keydown", (event) => {
    if (event.isComposing) return;
    if (event.repeat) { drop(); return; }  // a key held down by a hand
    if (["Shift", "Control", "AltGraph", "CapsLock"].includes(event.key)) return;
    if (event.key === "Alt") { alt = ""; return; }
    const at = event.timeStamp, close = at - last <= (keys.length < LEAST ? GAP : STALL);
    if (event.altKey && /^[0-9]$/.test(event.key) && (alt || event.key === "0") && keys.length) {
      alt += event.key;
      last = at;
      take(event);
      return;
    }
    if (keys.length && !close) done();
    if (keys.length && document.activeElement !== where) drop();  // a scanner never moves the focus
    if (event.key === "Enter" || event.key === "Tab") {
      const mine = keys.length >= LEAST || at - ended <= GAP
        || (keys.length > 1 && !takesText(document.activeElement));
      if (mine) { take(event); ended = at; }
      if (!done()) drop();
      return;
    }
    const one = character(event);
    if (!one) { if (!event.ctrlKey) drop(); return; }
    add(one, at);
    const presses = keys.length > 1 && !takesText(document.activeElement);
    if (one === GS || presses || keys.length >= LEAST) take(event);
  }, true);

  document.addEventListener("keyup", (event) => {
    if (event.key === "Alt") {
      if (Number(alt) === 29) add(GS, event.timeStamp);
      alt = "";
      return;
    }
    // Space presses a button when it comes up again: not within a burst.
    const burst = keys.length > 1 || event.timeStamp - ended <= GAP;
    if ((event.key === " " || event.key === "Enter") && burst) take(event);
  }, true);

  // A separator that is put in with no key behind it.
  document.addEventListener("beforeinput", (event) => {
    if (!event.data || !event.data.includes(GS)) return;
    event.preventDefault();
    if (keys.length) add(GS, event.timeStamp);
  }, true);

  // What is typed into the field after a scan is no scan any more.
  document.addEventListener("input", (event) => {
    if (!event.isTrusted || !event.target.matches("[data-scan]") || !event.target.form) return;
    const channel = event.target.form.querySelector("input[name='channel']");
    if (channel) channel.value = "typed";
  }, true);
})();
