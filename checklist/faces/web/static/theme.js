"use strict";
// Before anything is drawn: the theme that was chosen on this device, if one was.
(() => {
  let chosen = null;
  try { chosen = localStorage.getItem("theme"); } catch { /* storage may be shut off */ }
  if (chosen === "light" || chosen === "dark") document.documentElement.dataset.theme = chosen;
})();
