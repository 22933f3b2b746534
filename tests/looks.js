// What can be measured of a page as it is drawn: each function gives a list of sentences, each of
// which says one thing that is not as it should be. `of` holds what depends on the device.
(() => {
  const shown = (one) => one.checkVisibility({ visibilityProperty: true, opacityProperty: true })
    && one.getClientRects().length > 0;
  const said = (one) => {
    const words = (one.textContent || one.value || "").trim().replace(/\s+/g, " ").slice(0, 40);
    return `<${one.tagName.toLowerCase()}${one.id ? "#" + one.id : ""}${
      one.classList.length ? "." + [...one.classList].join(".") : ""}> ${words}`;
  };
  const number = (text) => parseFloat(text) || 0;

  // -- colours ----------------------------------------------------------------------------------

  const parsed = (text) => {
    const found = text.match(/[\d.]+/g);
    if (!found) return [0, 0, 0, 0];
    const [r, g, b, a = 1] = found.map(Number);
    return text.startsWith("color(") ? [r * 255, g * 255, b * 255, a] : [r, g, b, a];
  };
  const over = (top, under) => {
    const a = top[3] + under[3] * (1 - top[3]);
    if (!a) return [0, 0, 0, 0];
    return [0, 1, 2].map((i) => (top[i] * top[3] + under[i] * under[3] * (1 - top[3])) / a).concat(a);
  };
  const ground = (one) => {
    let found = [0, 0, 0, 0];
    for (let at = one; at && found[3] < 1; at = at.parentElement) {
      found = over(found, parsed(getComputedStyle(at).backgroundColor));
    }
    return over(found, parsed(getComputedStyle(document.body).backgroundColor));
  };
  const light = (c) => {
    const [r, g, b] = c.slice(0, 3).map((v) => {
      const s = v / 255;
      return s <= 0.04045 ? s / 12.92 : ((s + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ratio = (a, b) => {
    const [x, y] = [light(a), light(b)].sort((m, n) => n - m);
    return (x + 0.05) / (y + 0.05);
  };

  const texts = () => {
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const found = new Set();
    while (walk.nextNode()) {
      const one = walk.currentNode.parentElement;
      if (walk.currentNode.data.trim() && one && shown(one)
        && !["SCRIPT", "STYLE", "OPTION"].includes(one.tagName)) found.add(one);
    }
    return [...found];
  };
  // Off the screen until it has the focus: nothing to look at.
  const away = (one) => one.closest(".skip") && document.activeElement !== one;

  const contrast = (of) => texts().filter((one) => !away(one)).flatMap((one) => {
    const style = getComputedStyle(one);
    const svg = one.closest("svg");
    const ink = svg && one.tagName !== "A" ? style.fill : style.color;
    if (svg && ink === "none") return [];
    const under = svg ? ground(svg.parentElement) : ground(one);
    const got = ratio(over(parsed(ink), under), under);
    return got >= of.contrast ? [] : [`text ${got.toFixed(1)}:1 is under ${of.contrast}:1: ${said(one)}`];
  });

  const controls = () => [...document.querySelectorAll(
    "button, a.button, input:not([type=hidden]), select, textarea, summary, nav a")].filter(shown)
    .filter((one) => !away(one));

  const edges = () => controls().flatMap((one) => {
    const style = getComputedStyle(one);
    if (!["BUTTON", "INPUT", "SELECT", "TEXTAREA"].includes(one.tagName)
      && !one.classList.contains("button")) return [];
    if (one.matches("[type=radio], [type=checkbox]")) return [];
    const around = ground(one.parentElement);
    const edge = over(parsed(style.borderTopColor), around);
    const wide = number(style.borderTopWidth);
    const best = Math.max(wide ? ratio(edge, around) : 0, ratio(ground(one), around));
    return best >= 3 ? [] : [`an edge of ${best.toFixed(1)}:1 is under 3:1: ${said(one)}`];
  });

  // -- focus ------------------------------------------------------------------------------------

  const focusable = () => [...document.querySelectorAll(
    "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']")]
    .filter((one) => shown(one) && !one.disabled);

  const unscrolled = () => {
    for (const one of [document.scrollingElement, ...document.querySelectorAll("body *")]) {
      if (one.scrollLeft || one.scrollTop) one.scrollTo(0, 0);
    }
  };

  const focus = (of) => {
    const faults = [];
    const before = document.activeElement;
    const all = focusable();
    const tried = all.length > of.most ? all.filter((_, i) => i % Math.ceil(all.length / of.most) === 0) : all;
    for (const one of tried) {
      one.focus({ focusVisible: true });
      if (document.activeElement !== one) { faults.push(`takes no focus: ${said(one)}`); continue; }
      const drawn = one.closest("svg") ? [...one.querySelectorAll("rect, path, circle")] : [];
      const style = getComputedStyle(one);
      const wide = style.outlineStyle === "none" ? 0 : number(style.outlineWidth);
      const line = Math.max(wide, ...drawn.map((part) => number(getComputedStyle(part).strokeWidth)));
      if (line < 3) faults.push(`a focus ring of ${line} px is under 3 px: ${said(one)}`);
      if (!drawn.length && wide) {
        const around = ground(one.parentElement);
        const got = ratio(over(parsed(style.outlineColor), around), around);
        if (got < 3) faults.push(`a focus ring of ${got.toFixed(1)}:1 is under 3:1: ${said(one)}`);
      }
      const box = one.getBoundingClientRect();
      const [left, right] = [Math.max(box.left, 0), Math.min(box.right, innerWidth)];
      const [top, low] = [Math.max(box.top, 0), Math.min(box.bottom, innerHeight)];
      const points = [[.5, .5], [.1, .1], [.9, .9], [.1, .9], [.9, .1]].map(([x, y]) =>
        [left + (right - left) * x, top + (low - top) * y]);
      const seen = points.some(([x, y]) => {
        const there = document.elementFromPoint(x, y);
        return there && (one.contains(there) || there.contains(one)
          || there.closest("label")?.control === one);
      });
      if (!seen) faults.push(`covered while it has the focus: ${said(one)}`);
    }
    if (before instanceof HTMLElement) before.focus({ preventScroll: true });
    unscrolled();
    return faults;
  };

  // -- sizes ------------------------------------------------------------------------------------

  const inline = (one) => one.tagName === "A" && !one.classList.contains("button") && !one.closest("nav");

  const pinned = (one) => one !== null && (getComputedStyle(one).position === "fixed" || pinned(one.parentElement));

  const targets = (of) => {
    const faults = [];
    const boxes = [];
    for (const one of controls()) {
      if (inline(one)) continue;
      const box = one.getBoundingClientRect();
      const label = one.closest("label") || (one.id && document.querySelector(`label[for="${one.id}"]`));
      const tick = one.matches("[type=radio], [type=checkbox]");
      const area = tick && label ? label.getBoundingClientRect() : box;
      const high = tick ? Math.max(area.height, box.height) : box.height;
      const least = one.matches(".primary") ? 20 * of.px : 10 * of.px;
      if (high < least - 0.6) faults.push(`${high.toFixed(0)} px high, under ${least.toFixed(0)}: ${said(one)}`);
      if (Math.min(box.width, box.height) < 24 && !(tick && label)) faults.push(`under 24 px: ${said(one)}`);
      if (one.matches("button, a.button")) boxes.push([one, box]);
    }
    const apart = (a, b) => Math.max(a.left - b.right, b.left - a.right, a.top - b.bottom, b.top - a.bottom);
    // What stays at the foot of the screen covers what is moved under it; at the page's end it has to be clear of all.
    const atEnd = new Map();
    scrollTo(0, document.documentElement.scrollHeight);
    for (const [one] of boxes) atEnd.set(one, one.getBoundingClientRect());
    scrollTo(0, 0);
    for (const [i, [one, a]] of boxes.entries()) {
      for (const [other, b] of boxes.slice(i + 1)) {
        const gap = pinned(one) === pinned(other) ? apart(a, b) : apart(atEnd.get(one), atEnd.get(other));
        if (gap < 3 * of.px - 0.6) faults.push(`${gap.toFixed(0)} px apart, under ${(3 * of.px).toFixed(0)}: ${said(one)} and ${said(other)}`);
      }
    }
    return faults;
  };

  const CAPITAL = 0.73;  // of the letter size in the face that is used
  const arcmin = (minutes, away) => away * minutes / (180 * 60 / Math.PI);

  // A chart is drawn for a desk and for paper; its figures stand in the table beside it.
  const letters = (of) => texts().filter((one) => !away(one) && !one.closest(".paper svg, .spark")).flatMap((one) => {
    let size = number(getComputedStyle(one).fontSize);
    const svg = one.closest("svg");
    if (svg && svg.viewBox.baseVal.width) size *= svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    const high = size * CAPITAL * of.mm;
    const key = one.closest(".q.key");
    const least = key ? arcmin(20, 700) : arcmin(16, 500);
    return high >= least - 0.02 ? []
      : [`capitals of ${high.toFixed(2)} mm are under ${least.toFixed(2)} mm: ${said(one)}`];
  });

  const sideways = () => {
    const past = document.documentElement.scrollWidth - innerWidth;
    if (past <= 0) return [];
    const wide = [...document.querySelectorAll("main *, header *, footer *")].filter((one) =>
      shown(one) && !one.closest(".scroller") && one.getBoundingClientRect().right > innerWidth + 1);
    return [`the page is ${past} px too wide: ${wide.slice(0, 2).map(said).join(" and ")}`];
  };

  const lineBoxes = (node) => {
    const range = document.createRange();
    range.selectNodeContents(node);
    const tops = [...range.getClientRects()].filter((r) => r.width > 0).map((r) => r.bottom);
    return tops.reduce((lines, y) => (lines.some((at) => Math.abs(at - y) < 6) ? lines : [...lines, y]), []).length;
  };

  const quantities = () => [...document.querySelectorAll(".q")].filter(shown).flatMap((one) =>
    lineBoxes(one) > 1 ? [`on two lines at ${innerWidth} px: ${said(one)}`] : []);

  const drugs = () => [...document.querySelectorAll(".drug")].filter(shown).flatMap((one) => {
    const faults = [];
    if (one.clientWidth && one.scrollWidth > one.clientWidth + 1) faults.push(`cut: ${said(one)}`);
    if (getComputedStyle(one).textOverflow === "ellipsis") faults.push(`may be cut: ${said(one)}`);
    for (const node of one.childNodes) {
      if (node.nodeType !== Node.TEXT_NODE) continue;
      for (const word of node.data.matchAll(/\S+/g)) {
        const range = document.createRange();
        range.setStart(node, word.index);
        range.setEnd(node, word.index + word[0].length);
        if ([...range.getClientRects()].filter((r) => r.width > 0).length > 1) faults.push(`broken inside a word: ${said(one)}`);
      }
    }
    return faults;
  });

  const cut = () => [...document.querySelectorAll("main *, header *, footer *")].filter(shown).flatMap((one) => {
    if (one.closest(".scroller, svg, select") || one.matches("input, textarea")) return [];
    const style = getComputedStyle(one);
    if (one.clientWidth <= 2) return [];  // kept for reading aloud, on purpose
    const hides = ["hidden", "clip"].includes(style.overflowX) || ["hidden", "clip"].includes(style.overflowY);
    return hides && (one.scrollHeight > one.clientHeight + 1 || one.scrollWidth > one.clientWidth + 1)
      ? [`cut off: ${said(one)}`] : [];
  });

  // -- form -------------------------------------------------------------------------------------

  const headings = () => {
    const levels = [...document.querySelectorAll("h1, h2, h3, h4, h5, h6")].filter(shown).map((one) => +one.tagName[1]);
    const faults = levels.filter((level, i) => i && level > levels[i - 1] + 1)
      .map((level) => `a heading of level ${level} follows a higher one than ${level - 1}`);
    if (levels.filter((level) => level === 1).length !== 1) faults.push(`${levels.filter((l) => l === 1).length} headings of level 1`);
    if (levels.length && levels[0] !== 1) faults.push("the first heading is not of level 1");
    if (document.documentElement.lang !== "en") faults.push("no language is named");
    if (document.title.trim().length < 4) faults.push("no title");
    return faults;
  };
  const moving = () => document.getAnimations().length ? [`${document.getAnimations().length} animations run`] : [];
  const help = () => {
    const last = [...document.querySelectorAll("footer a, footer button")].filter(shown).at(-1);
    return last?.textContent.trim() === "Get help" ? [] : ["help is not the last thing in the bar"];
  };
  const primary = () => {
    const found = [...document.querySelectorAll(".primary")].filter(shown);
    return found.length === 1 ? [] : [`${found.length} main actions: ${found.map(said).join(" and ")}`];
  };

  // What `look` finds with the spacing of WCAG 1.4.12 put over the page's own.
  const spaced = (look) => {
    const sheet = new CSSStyleSheet();
    sheet.replaceSync("* { line-height: 1.5 !important; letter-spacing: .12em !important;"
      + " word-spacing: .16em !important } p { margin-bottom: 2em !important }");
    document.adoptedStyleSheets = [sheet];
    try { return look().map((one) => `spaced: ${one}`); } finally { document.adoptedStyleSheets = []; }
  };

  // -- all of it, at one size in one theme ---------------------------------------------------------

  // The rules of axe-core that look at boxes and those that look at colours; all others ask only
  // what a page says and which of it is shown.
  const BOXES = ["target-size", "scrollable-region-focusable"];
  const COLOURS = ["color-contrast", "link-in-text-block"];
  const axed = async (runOnly, rules = {}, within = document) => {
    const asked = { runOnly, rules, resultTypes: ["violations"], elementRef: false };
    return (await axe.run(within, asked)).violations.map((one) =>
      [one.id, one.help, ...one.nodes.slice(0, 2).map((node) => node.target.join(" "))].join(": "));
  };

  // One of each kind of text: what has the same place among tags and classes, ink and ground. Its
  // colours by axe-core are those of all; our own measure looks at each.
  const kinds = () => {
    const found = new Map();
    for (const one of texts()) {
      let path = `${getComputedStyle(one).color} ${ground(one)}`;
      for (let up = one; up !== document.body; up = up.parentElement) path += ` ${up.tagName}.${up.className}`;
      if (!found.has(path)) found.set(path, one);
    }
    return [...found.values()];
  };

  let known = new Set();  // what was shown of this page, each time that the rules were asked
  const stands = () => [...document.body.querySelectorAll("*")].map((one) => {
    const box = one.getBoundingClientRect();
    return shown(one) ? [box.left, box.top, box.width, box.height].map(Math.round).join() : "";
  });

  // `of.first`: the page was not looked at before. `of.dark`: seen in the light at this size already.
  const at = async (of) => {
    if (of.first) known = new Set();
    unscrolled();
    const boxes = stands(), faults = [];
    if (of.dark) {  // both in one go, since a page may say something new in between
      document.documentElement.dataset.theme = "light";
      const moved = stands().findIndex((box, i) => box !== boxes[i]);
      delete document.documentElement.dataset.theme;
      if (moved >= 0) faults.push(`stands otherwise in the dark than in the light: ${said(document.body.querySelectorAll("*")[moved])}`);
    }
    faults.push(...contrast(of), ...edges());
    if (of.widest) faults.push(...await axed(COLOURS, {}, { include: kinds() }), ...focus(of));
    if (of.dark) return faults;
    const all = boxes.map((box) => +!!box).join("");
    if (known.has(all)) faults.push(...await axed(BOXES));
    else {
      known.add(all);
      faults.push(...await axed(of.tags, Object.fromEntries(COLOURS.map((one) => [one, { enabled: false }]))));
    }
    faults.push(...sideways(), ...targets(of), ...letters(of), ...drugs(), ...cut(), ...quantities());
    if (!of.widest) faults.push(...focus(of));
    return [...faults, ...spaced(() => [...cut(), ...sideways(), ...quantities()])];
  };
  const once = (of) => [...headings(), ...moving(), ...help(), ...(of.one_act ? primary() : [])];
  const amounts = () => [...quantities(), ...spaced(quantities)];

  window.looks = { at, once, amounts };
})();
