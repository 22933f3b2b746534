"""Every page of every role in real Chromium: both themes, four sizes, and what can be measured.

The rules of axe-core are those of WCAG 2.0, 2.1 and 2.2, A and AA, at every size in both themes;
its slow rules on colours run at the widest size, since our own measure (7:1) is taken at every
size. What else is measured stands in
`looks.js`; the figures come from WCAG 2.2 (https://www.w3.org/TR/WCAG22/): contrast 1.4.3, 1.4.6
and 1.4.11, reflow 1.4.10, text spacing 1.4.12, focus 2.4.7, 2.4.11 and 2.4.13, targets 2.5.8. The
sizes of letters follow the visual angle of ISO 9241-303 and NUREG-0700 (16 to 22 minutes of arc;
from memory), those of targets a choice of our own for gloved hands.
"""

from __future__ import annotations

import json
import os
from collections import defaultdict
from pathlib import Path
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT

from tests.browser import needs_chromium, pressed
from tests.crawl import Site, site, stands, told, watched, worked
from tests.faces import ROOT

pytestmark = needs_chromium

SIZES = {
    (320, 640): 25.4 / 160, (390, 844): 25.4 / 160,
    (820, 1180): 25.4 / 132, (1280, 800): 25.4 / 96,
}  # fmt: skip
"""Widths and heights in CSS px, each with the size of one px in mm on such a device."""
WIDEST = max(SIZES)
THEMES = ("light", "dark")
WIDTHS: tuple[int, ...] = (240, 280, 480, 640, 1024)
"""Widths at which amounts are looked at besides: 1280 px at 100, 200 and 400 % are among all."""
if os.environ.get("CHECKLIST_FULL"):
    WIDTHS = tuple(range(240, 1281, 20))
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
PX_A_MM = 132 / 25.4
LOOKS = (ROOT / "tests" / "looks.js").read_text("utf-8")
KEYS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"

AXE = f"""async (colours) => {{
  const found = await axe.run(document, {{
    runOnly: {json.dumps(TAGS)}, resultTypes: ["violations"], elementRef: false,
    rules: {{
      "color-contrast": {{ enabled: colours }}, "link-in-text-block": {{ enabled: colours }},
    }},
  }});
  return found.violations.map((one) =>
    [one.id, one.help, ...one.nodes.slice(0, 2).map((node) => node.target.join(" "))].join(": "));
}}"""
AT_A_SIZE = """(of) => [
  ...looks.sideways(), ...looks.targets(of), ...looks.letters(of), ...looks.drugs(), ...looks.cut(),
  ...looks.focus(of), ...looks.quantities(),
]"""
IN_A_THEME = "(of) => [...looks.contrast(of), ...looks.edges()]"
ONCE = "() => [...looks.headings(), ...looks.moving(), ...looks.help()]"
SPACED = "() => looks.spaced(() => [...looks.cut(), ...looks.sideways(), ...looks.quantities()])"
SPACED_AMOUNTS = "() => [...looks.quantities(), ...looks.spaced(looks.quantities)]"


class Findings:
    """What was found on the pages of a tour, each sentence with where."""

    def __init__(self) -> None:
        self.found: dict[str, set[str]] = defaultdict(set)
        self.pages = 0

    def add(self, sentences: list[str], where: str) -> None:
        """Note what one look found."""
        for sentence in sentences:
            self.found[sentence].add(where)

    def look(self, page: Any, name: str, *, one_act: bool = False) -> None:
        """Look at a page as it stands, in every theme and size, without loading it anew."""
        self.pages += 1
        if not page.evaluate("typeof axe === 'object' && typeof looks === 'object'"):
            page.evaluate(AXE_SCRIPT)
            page.evaluate(LOOKS)
        page.emulate_media(reduced_motion="reduce")
        for size in SIZES:
            page.set_viewport_size({"width": size[0], "height": size[1]})
            of = {"px": PX_A_MM, "mm": SIZES[size], "most": 60, "contrast": 7}
            for theme in THEMES:
                page.emulate_media(color_scheme=theme)
                where = f"{name} ({size[0]} x {size[1]}, {theme})"
                self.add(page.evaluate(AXE, size == WIDEST), where)
                self.add(page.evaluate(IN_A_THEME, of), where)
                if theme == "light":
                    self.add(page.evaluate(AT_A_SIZE, of), where)
                    self.add(page.evaluate(SPACED), f"{name} ({size[0]} px, spaced)")
                elif size == WIDEST:
                    self.add(page.evaluate("(of) => looks.focus(of)", of), where)
        page.emulate_media(color_scheme="light")
        self.add(page.evaluate(ONCE), name)
        if one_act:
            self.add(page.evaluate("() => looks.primary()"), name)
        if page.query_selector(".q") is not None:
            for wide in WIDTHS:
                page.set_viewport_size({"width": wide, "height": 800})
                self.add(page.evaluate(SPACED_AMOUNTS), f"{name} ({wide} px)")
        page.set_viewport_size({"width": 1280, "height": 800})

    def none(self) -> None:
        """Hold that nothing was found."""
        assert not self.found, f"{len(self.found)} findings on {self.pages} pages\n" + told(
            self.found
        )


def keys_change_nothing(page: Any, name: str, findings: Findings) -> None:
    """Letters and figures typed beside every field do nothing (WCAG 2.1.4)."""
    page.evaluate("document.activeElement?.blur()")
    before = page.url, page.evaluate("document.querySelector('main').innerText")
    for at in range(0, len(KEYS), 4):  # a few at a time, since many together are a scan
        for key in KEYS[at : at + 4]:
            page.keyboard.press(key)
        page.wait_for_timeout(60)
    after = page.url, page.evaluate("document.querySelector('main').innerText")
    findings.add(
        [] if before == after else ["a key pressed beside every field did something"], name
    )


def tour(site: Site, code: str, first: str, *also: str) -> Findings:
    """Look at every page below one that links lead to, and hold that each way was one of them."""
    findings, page = Findings(), site.page()
    for path in site.linked(page, code, first, first, also=also):
        findings.look(page, path)
        keys_change_nothing(page, path, findings)
    missed = site.ways(first) - set(site.seen)
    assert not missed, f"no link led to {sorted(missed)}"
    return findings


def test_signing_in_and_help(tmp_path: Path) -> None:
    findings = Findings()
    with site(tmp_path, facts=False) as here:
        page = here.page()
        page.goto(f"{here.address}/sign-in")
        findings.look(page, "/sign-in", one_act=True)
        page.fill("#code", "RN-12")
        page.fill("#pin", "111222")
        page.select_option("#place", "W7E-1")
        pressed(page, "main button.primary")
        assert page.title().startswith("Stop")
        findings.look(page, "/sign-in, refused", one_act=True)
        for path in ("/help", "/nothing-here"):
            page.goto(f"{here.address}{path}")
            findings.look(page, path)
    findings.none()


def test_where_a_preparation_can_stand(tmp_path: Path) -> None:
    findings = Findings()
    with site(tmp_path, facts=False) as here:
        shift = here.shift("ORD-101")
        page = here.beside(shift)
        for name in stands(here, shift, page):
            single = name.startswith(("step", "stop", "caution", "away", "after a break"))
            findings.look(page, name, one_act=single)
        missed = here.ways("/preparation") - set(here.seen)
    assert not missed, f"not looked at: {sorted(missed)}"
    findings.none()


def test_the_nurses_list(tmp_path: Path) -> None:
    findings = Findings()
    with site(tmp_path, facts=False) as here:
        page = here.page()
        parts = ("/orders", "/called", "/true-size", "/help")
        for path in here.linked(page, "RN-12", "/orders", *parts, also=("/true-size",)):
            findings.look(page, path)
            keys_change_nothing(page, path, findings)
    findings.none()


def test_the_educators_pages(tmp_path: Path) -> None:
    with site(tmp_path) as here:
        watched(here, worked(here).id, here.shift("ORD-102", "RN-27").id)
        tour(here, "ED-1", "/review").none()


BEHIND = ("before-after", "gaps", "audit-size")
"""Pages that one of the forty questions leads to, of which only the first few are looked at."""


def test_the_quality_pages(tmp_path: Path) -> None:
    with site(tmp_path) as here:
        worked(here)
        tour(here, "QI-1", "/quality", *(f"/quality/{one}" for one in BEHIND)).none()


def test_the_pharmacists_pages(tmp_path: Path) -> None:
    with site(tmp_path, facts=False) as here:
        tour(here, "PH-2", "/pharmacy").none()
