"""The quality pages in a real Chromium: from a mark to a replay, by mouse and by keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser import chromium, needs_chromium, pressed, served, sign_in
from tests.charted import WEEKS, folder
from tests.web import make_desk

pytestmark = needs_chromium
LEAD = "QI-1"
PATIENCE_MS = 120_000
"""The first drawing of a process takes seconds, on a busy machine many."""
SIZES = ((320, 640), (390, 844), (820, 1180), (1280, 800))
PAGES = (
    "/quality",
    "/quality/chart/series",
    "/quality/settings",
    "/quality/preparations?of=series&measure=stopped&mark=point-3",
    "/quality/preparation/W7E-00-03",
    "/quality/answer/reasons",
    "/quality/trail",
    "/quality/downloads",
)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Any]]:
    """The address of a server with facts, and a browser."""
    home = tmp_path_factory.mktemp("browser")
    folder(home / "facts")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(home / "data"))
        desk = make_desk(home, patch, facts=home / "facts")
        with served(desk) as address, chromium() as browser:
            yield address, browser


@pytest.fixture
def page(place: tuple[str, Any]) -> Iterator[Any]:
    """A page at which the quality lead has signed in; it may log nothing amiss."""
    address, browser = place
    context = browser.new_context(base_url=address, viewport={"width": 1280, "height": 800})
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda fault: said.append(str(fault)))
    sign_in(page, address, LEAD, path="/quality/questions")
    yield page
    context.close()
    assert said == []


def count_of(page: Any) -> int:
    """How many preparations the list says that it has."""
    return int(page.locator("main p b").first.inner_text().split()[0])


def test_a_mark_leads_to_its_list_and_on_to_a_replay_by_mouse(page: Any) -> None:
    page.goto("/quality/chart/series?measure=stopped")
    marks = page.locator("figure svg a")
    assert marks.count() == WEEKS
    wanted = int(marks.nth(2).get_attribute("aria-label").partition(", ")[2].split()[0])
    marks.nth(2).locator("path").click()
    assert count_of(page) == wanted == page.locator("a.one").count()
    page.locator("a.one").first.click()
    assert page.locator("ol.lane li").count() >= 2
    page.get_by_role("link", name="Back to the list").click()
    assert count_of(page) == wanted


def test_a_mark_leads_to_its_list_and_on_to_a_replay_by_keyboard_alone(page: Any) -> None:
    page.goto("/quality/chart/kinds?measure=stops")
    label = ""
    for _ in range(60):
        page.keyboard.press("Tab")
        label = page.evaluate("document.activeElement.closest('svg a')?.ariaLabel ?? ''")
        if label:
            break
    assert "stops" in label
    ring = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert float(ring.removesuffix("px")) >= 3
    page.keyboard.press("Enter")
    page.wait_for_url("**/quality/preparations?**")
    count = count_of(page)
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.className") == "one":
            break
    page.keyboard.press("Enter")
    page.wait_for_url("**/quality/preparation/**")
    assert count > 0
    steps = page.locator("ol.lane li")
    steps.first.focus()
    for place in range(1, steps.count()):
        page.keyboard.press("Tab")
        assert (
            page.evaluate(
                "[...document.querySelectorAll('.lane li')].indexOf(document.activeElement)"
            )
            == place
        )


def test_every_point_of_a_series_is_reached_with_tab_in_some_order(page: Any) -> None:
    page.goto("/quality/chart/series?measure=stopped")
    reached = set()
    page.locator("figure svg a").first.focus()
    for _ in range(WEEKS + 2):
        reached.add(page.evaluate("document.activeElement.closest('svg a')?.getAttribute('href')"))
        page.keyboard.press("Tab")
    reached.discard(None)
    assert len(reached) == WEEKS


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES, ids=str)
def test_pages_fit_and_a_drawing_lies_on_paper(
    place: tuple[str, Any], size: tuple[int, int], theme: str
) -> None:
    address, browser = place
    context = browser.new_context(
        base_url=address, viewport={"width": size[0], "height": size[1]}, color_scheme=theme
    )
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    sign_in(page, address, LEAD, path="/quality/questions")
    for path in PAGES:
        page.goto(path)
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], path
        grounds = page.locator(".paper").evaluate_all(
            "all => all.map(one => getComputedStyle(one).backgroundColor)"
        )
        assert set(grounds) <= {"rgb(255, 255, 255)"}, path
    context.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_an_accessibility_engine_finds_nothing(place: tuple[str, Any], theme: str) -> None:
    """axe-core, rules of WCAG 2.0 to 2.2 A and AA."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    address, browser = place
    context = browser.new_context(
        base_url=address, viewport={"width": 820, "height": 1180}, color_scheme=theme,
        bypass_csp=True,
    )  # fmt: skip
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    sign_in(page, address, LEAD, path="/quality/questions")
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    for path in PAGES:
        page.goto(path)
        found = axe.run(page, options={"runOnly": {"type": "tag", "values": tags}})
        assert found.violations_count == 0, (path, found.generate_report())
    context.close()


def test_a_chart_is_changed_and_its_line_frozen_by_forms(page: Any) -> None:
    page.goto("/quality/settings")
    page.select_option("#measure", "stops")
    page.select_option("#by", "month")
    page.select_option("#unit", "W7E")
    page.check("input[value='8 or more on one side']")
    page.click("main button.primary")
    assert page.locator("h1").inner_text() == "Stops, W7E"
    assert "8 or more on one side" in page.locator("ul.notes").inner_text()
    page.fill("#reason", "before the new box")
    pressed(page, lambda: page.get_by_role("button", name="Freeze the line").click())
    assert "before the new box" in page.locator("ol.notes").inner_text()
    assert page.locator("h1").inner_text() == "Stops, W7E"
