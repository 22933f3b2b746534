"""The educator's pages in a real browser: beside the nurse, by keyboard, at every size."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from checklist import library
from checklist.credential import PracticePins
from checklist.educator.watch import NOT_OBSERVABLE, NOT_SO, SEEN, Watch, watch_of
from checklist.faces.workplace import new_id, real_clock
from checklist.station import Station
from checklist.trail import Trail
from tests.browser import chromium, needs_chromium, pressed, served, sign_in, until
from tests.scene import demo_ward
from tests.team import Team, called_away, touched_rim, wrong_volume
from tests.web import PINS, make_desk

pytestmark = needs_chromium
TABLET = {"width": 820, "height": 1180}
SIZES = ((320, 640), (390, 844), (820, 1180), (1280, 800))
MM = 5.2
"""Pixels to the millimetre of the reference tablet, 132 to the inch."""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("home")
    team = Team(folder)
    team.make("RN-12", called_away, touched_rim, wrong_volume, pace=25)
    team.make("RN-12")
    team.make("RN-27", until="make_the_neck_ready")
    team.trail.close()
    return folder


@contextmanager
def at_the_tablet(
    home: Path, monkeypatch: pytest.MonkeyPatch, **more: Any
) -> Iterator[tuple[Any, str, list[str]]]:
    with Trail.open(home / "trail.db", read_only=True) as trail:
        ids = [one.id for one in trail.preparations()]
    desk = make_desk(home, monkeypatch)
    with served(desk) as address, chromium() as browser:
        page = browser.new_context(viewport=TABLET, **more).new_page()
        refused: list[str] = []
        page.on("pageerror", lambda fault: refused.append(str(fault)))
        page.on(
            "console",
            lambda one: refused.append(one.text) if "Content Security" in one.text else None,
        )
        sign_in(page, address, "ED-1", path="/review")
        yield page, address, ids
        assert refused == []


def kept(home: Path, about: str) -> Watch:
    with Trail.open(home / "trail.reviews", read_only=True) as trail:
        found = [watch_of(trail.of(one.id)) for one in trail.preparations()]
    return next(one for one in found if one is not None and one.about == about)


def marked(page: Any, item: str, word: str) -> None:
    page.click(f"#item-{item} button[value='{word}']")
    page.wait_for_selector(f"#item-{item} button[value='{word}'][aria-pressed=true]")


def test_an_observation_from_start_to_end_beside_the_nurse(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with at_the_tablet(home, monkeypatch) as (page, _, ids):
        about = ids[2]
        pressed(page, "table.list a:has-text('Observe') >> nth=0")
        assert page.url.endswith(f"/review/{about}/observe")
        assert "Now: " in page.inner_text("#now")
        # The nurse goes on at another station of the same trail; the form follows by itself.
        follow = page.inner_text("#now")
        with Trail.open(home / "trail.db") as trail:
            station = Station(
                trail, demo_ward(), workflows=library.workflows(), limits=library.limits(),
                required=library.required(), name="W7E-1", clock=real_clock, new_id=new_id,
                practice=True, credentials=PracticePins(PINS),
            )  # fmt: skip
            station.sign_in("RN-27", PINS["RN-27"])
            station.resume(about, "RN-27")
        until(page, f"document.getElementById('now').innerText !== {json.dumps(follow)}")
        pressed(page, ".parts a >> nth=0")
        while True:
            until(page, "document.documentElement?.scrollHeight <= innerHeight")
            for item in page.eval_on_selector_all("form.item", "all => all.map(one => one.id)"):
                name = item.removeprefix("item-")
                word = {"neck_dries": NOT_SO, "snaps_away": NOT_OBSERVABLE}.get(name, SEEN)
                marked(page, name, word)
            onward = page.inner_text("a.button.primary")
            pressed(page, "a.button.primary")
            if onward == "Talk afterwards":
                break
        watch = kept(home, about)
        assert watch.left == () and not watch.finished and watch.when == "during"
        assert {n for n, one in watch.answers.items() if one.word != SEEN} == {
            "neck_dries", "snaps_away",
        }  # fmt: skip
        assert page.locator("#well").count() == 0 and "Locked" in page.inner_text("main")
        page.fill("#learner_well", "I was calm.")
        pressed(page, "button.primary")
        assert page.locator("#learner_well").count() == 0
        page.fill("#well", "Clean hands.")
        page.fill("#next_step", "Three with a clock.")
        page.fill("#due", "2026-12-09")
        pressed(page, "button.primary")
        assert page.url.endswith(f"/review/feedback/{about}")
        text = page.inner_text("article")
        assert text.index("I was calm.") < text.index("Clean hands.")
        assert "By 9 Dec 2026" in text and kept(home, about).finished
        paper = page.pdf(format="A4")
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", paper)) == 1


def test_a_replay_by_keyboard(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with at_the_tablet(home, monkeypatch) as (page, address, ids):
        with Trail.open(home / "trail.db", read_only=True) as trail:
            entries = trail.of(ids[0])
        page.goto(f"{address}/review/{ids[0]}")
        reached: list[int] = []
        for _ in range(400):
            page.keyboard.press("Tab")
            one = page.evaluate(
                "document.activeElement.matches('a.mark')"
                " ? Number(new URL(document.activeElement.href.baseVal, location).searchParams"
                ".get('at')) : 0"
            )
            if one:
                reached.append(one)
            elif reached:
                break
        assert reached == list(range(1, len(entries) + 1))
        page.keyboard.press("Shift+Tab")  # back onto the last mark
        page.keyboard.press("Enter")
        page.wait_for_url(f"**?at={len(entries)}#entry")
        assert page.inner_text("#entry-head").startswith(f"Entry {len(entries)} of")
        page.goto(f"{address}/review/{ids[0]}?at=1")
        seen: list[str] = []
        while page.locator("a:has-text('Next mark')").count():
            page.focus("a:has-text('Next mark')")
            page.keyboard.press("Enter")
            before = json.dumps(seen[-1] if seen else "")
            until(page, f"document.querySelector('#entry-head').innerText !== {before}")
            page.wait_for_load_state()
            seen.append(page.inner_text("#entry-head"))
        assert [re.findall(r"\((\w+),", one) for one in seen] == [
            ["B1"], ["b1"], ["S1"], ["w1"], ["S2"], ["w2"],
        ]  # fmt: skip
        assert page.evaluate(
            "document.querySelector('.mark.here .hit').getBoundingClientRect().left"
            " > document.querySelector('.drawing').getBoundingClientRect().left"
        )


def test_a_mark_is_not_lost_when_the_server_cannot_be_reached(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with at_the_tablet(home, monkeypatch) as (page, address, ids):
        page.goto(f"{address}/review/{ids[1]}/observe?phase=open")
        page.context.set_offline(True)
        page.click("#item-neck_dries button[value='seen']")
        page.wait_for_selector("#offline:not([hidden])")
        assert page.locator("#item-neck_dries [aria-pressed=true]").count() == 0
        page.context.set_offline(False)
        marked(page, "neck_dries", SEEN)
        assert page.locator("#offline").is_hidden()
        page.click("#item-neck_dries button[value='not so']")
        page.wait_for_selector("[role=alert] >> text=Marked already")
        page.check("text=seen later on")
        page.click("button.primary")
        page.wait_for_selector("#item-neck_dries button[value='not so'][aria-pressed=true]")
        assert kept(home, ids[1]).answers["neck_dries"].corrected == 1


def test_an_observation_works_without_script(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Trail.open(home / "trail.db", read_only=True) as trail:
        about = trail.preparations()[1].id
    desk = make_desk(home, monkeypatch)
    with served(desk) as address, chromium() as browser:
        page = browser.new_context(viewport=TABLET, java_script_enabled=False).new_page()
        page.goto(f"{address}/sign-in?next=/review/{about}/observe?phase=open")
        page.fill("#code", "ED-1")
        page.fill("#pin", PINS["ED-1"])
        page.select_option("#place", "W7E-1")
        page.click("main button.primary")
        before = page.locator("[aria-pressed=true]").count()
        page.click("form.item:not(.marked) button[value='seen'] >> nth=0")
        assert page.locator("[aria-pressed=true]").count() == before + 1
        page.click("form.item:not(.marked) a.more >> nth=0")
        page.fill("#remark", "looked twice")
        page.click("form.item:has(#remark) button[value='not so']")
        assert "remark kept" in page.inner_text("main")


def test_no_page_scrolls_sideways_and_every_target_is_wide_enough(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with at_the_tablet(home, monkeypatch) as (page, address, ids):
        paths = (
            "/review",
            f"/review/{ids[0]}",
            f"/review/{ids[1]}/observe",
            f"/review/feedback/{ids[0]}",
            "/review/progress/RN-12?container=glass_ampoule",
            "/review/agreement",
        )
        for path in paths:
            page.goto(f"{address}{path}")
            for width, height in SIZES:
                page.set_viewport_size({"width": width, "height": height})
                assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), path
            small = page.evaluate(
                """least => [...document.querySelectorAll("main button, main a.button, main a.row,"
                  + " main summary, main input:not([type=hidden]):not([type=radio])"
                  + ":not([type=checkbox]), main select")]
                  .map(one => [one, one.getBoundingClientRect()])
                  .filter(([, box]) => box.height && (box.height < least - 0.5
                    || box.width < least - 0.5)).map(([one]) => one.outerHTML.slice(0, 90))""",
                10 * MM,
            )
            assert small == [], path
