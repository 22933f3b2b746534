"""The nurse's pages in a real browser: whole preparations, stops, a second person, breaks, lost
connection, the keyboard alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from checklist.faces.web.nurse.view import SECOND
from tests.browser import chromium, needs_chromium, pressed, served, sign_in, until
from tests.scene import COLLEAGUE, NURSE
from tests.web import PINS
from tests.web_nurse import Shift, desk_and_clock

pytestmark = needs_chromium
TABLET = {"width": 820, "height": 1180}
PHONE = {"width": 390, "height": 844}


PRESSED = "main button, main a.button, .bar button, .bar a, label.answer, main input[type=text]"
HEIGHTS = f"""() => Object.fromEntries(
    [...document.querySelectorAll('{PRESSED}')].filter(one => one.offsetParent).map(
        one => [one.textContent.trim() || one.name, one.getBoundingClientRect().height]))"""


class Hands(Shift):
    """A nurse at a page of the browser: looks up the right answers and fills them in."""

    page_: Any
    address_: str

    def fill(self, changes: Mapping[str, str | None] | None = None) -> None:
        """Fill the present step, and wait until each number is said in words."""
        for name, value in self.right(changes).items():
            if name.endswith(".said"):
                continue
            field = self.page_.locator(f'[name="{name}"]')
            if field.first.get_attribute("type") in ("radio", "checkbox"):
                self.page_.locator(f'[name="{name}"][value="{value}"]').check()
            else:
                field.fill(value)
        self.spoken()

    def spoken(self) -> None:
        """Wait until the words of each typed number are shown."""
        until(
            self.page_,
            "[...document.querySelectorAll('[data-spoken]')].every(one => !one.value.trim() ||"
            " document.getElementById(one.id + '-words').textContent)",
        )

    def press(self, selector: str = "main button.primary") -> None:
        """Press, and wait for what came of it."""
        pressed(self.page_, selector)

    def step(self, changes: Mapping[str, str | None] | None = None) -> None:
        """One step as far as it goes: hand over, fill, enter, hand back."""
        spot = self.screen.spot
        assert spot is not None
        if spot.step.who in SECOND and self.page_.locator("#second-pin").count():
            self.page_.fill("#second-code", COLLEAGUE)
            self.page_.fill("#second-pin", PINS[COLLEAGUE])
            self.press()
        self.clock.wait(20)
        self.fill(changes)
        self.press()
        if self.page_.url.endswith("/back"):
            self.press("main a.primary")

    def reach(self, step: str) -> None:
        """Go on rightly to a step."""
        for _ in range(60):
            if self.place == step:
                return
            self.step()
            assert self.screen.stands == "step", [told.code for told in self.screen.reasons]
        raise AssertionError(f"never came to {step}")

    def focused(self) -> str:
        """What has the focus: its id, else its tag."""
        return str(self.page_.evaluate(
            "document.activeElement.id || document.activeElement.tagName"
        ))  # fmt: skip


@contextmanager
def begun(
    home: Path, monkeypatch: pytest.MonkeyPatch, order: str, *, size: dict[str, int] = TABLET
) -> Iterator[tuple[Hands, Any, str]]:
    """An order begun in a browser: the nurse, the browser, the server's address."""
    desk, clock = desk_and_clock(home, monkeypatch)
    with served(desk) as address, chromium() as browser:
        page = browser.new_context(viewport=size).new_page()
        sign_in(page, address, NURSE, path="/orders")
        nurse = Hands(desk, None, order, clock)  # type: ignore[arg-type]
        nurse.page_, nurse.address_ = page, address
        pressed(page, f'form:has(input[value="{order}"]) button')
        nurse.beside.id = page.url.rpartition("/")[2]
        try:
            yield nurse, browser, address
        finally:
            nurse.beside.close()


KEPT = """async () => [
  Object.keys(localStorage), Object.keys(sessionStorage), await caches.keys(),
  (await indexedDB.databases()).map((one) => one.name), document.cookie,
]"""
"""All that a page has kept in the browser where its scripts can read it."""


def test_a_glass_ampoule_with_three_stops_from_the_order_to_the_patient(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wrong = {
        "fit_the_filter": ({"filter_kind": "none"}, "filter_missing", "replace_item"),
        "set_the_dose": ({"drawn_volume": "0.9"}, "volume_over_target", "adjust"),
        "identify_the_patient": (
            {"first_identifier": "]d28018952000000000003027"}, "patient_id_mismatch", "recheck",
        ),
    }  # fmt: skip
    with begun(tmp_path, monkeypatch, "ORD-101") as (nurse, _, _address):
        page, said = nurse.page_, list[str]()
        page.on("console", lambda one: said.append(one.text))
        while not nurse.screen.prep.closed:
            assert nurse.focused() in ("step", "H1"), nurse.place
            assert page.evaluate(KEPT) == [[], [], [], [], ""], nurse.place
            assert page.locator(".primary").count() == 1
            assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
            made = wrong.pop(nurse.place, None)
            if made is None:
                nurse.step()
                continue
            seen, code, way = made
            nurse.step(seen)
            assert nurse.screen.stands == "refused"
            text = page.inner_text("main")
            for part in ("STOP", "Found", "Why", "Next", code):
                assert part in text
            assert nurse.focused() == "step"
            assert page.inner_text("#step") == "STOP"
            assert page.title().startswith("Stop: step")
            assert page.locator("main input[type=text]").count() == 0 or "0.75" not in text
            nurse.press(f'main form:has(input[value="{way}"]) button')
            assert nurse.screen.stands == "step"
        assert not wrong and said == []
        assert nurse.place == "given"
        assert nurse.kinds().count("refused") == 3
        assert "Not checked by this tool" in page.inner_text("main")
        assert nurse.beside.trail.verify().whole


def test_a_powder_vial_whose_high_alert_dose_a_second_person_checks_blind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    order = "ORD-205"
    import shutil

    from tests.wards import DEMO, edit

    ward = tmp_path / "ward"
    shutil.copytree(DEMO, ward)
    edit(ward / "formulary.toml", 'name = "benzylpenicillin"',
         'name = "benzylpenicillin"\nhigh_alert = true')  # fmt: skip
    desk, clock = desk_and_clock(tmp_path, monkeypatch, ward=ward)
    with served(desk) as address, chromium() as browser:
        page = browser.new_context(viewport=TABLET).new_page()
        sign_in(page, address, NURSE, path="/orders")
        nurse = Hands(desk, None, order, clock)  # type: ignore[arg-type]
        nurse.page_, nurse.address_ = page, address
        pressed(page, f'form:has(input[value="{order}"]) button')
        nurse.beside.id = page.url.rpartition("/")[2]
        nurse.reach("second_person_works_it_out")
        volume = nurse.beside.volume()
        entered = f"{volume} mL"
        # What the first person entered is seen nowhere: not on the page, not under Back or reload.
        for _ in range(5):
            page.go_back()
            _never(page, entered)
            page.reload()
            _never(page, entered)
        page.goto(f"{address}{nurse.address}")
        _never(page, "benzylpenicillin")
        page.fill("#second-code", COLLEAGUE)
        page.fill("#second-pin", PINS[COLLEAGUE])
        nurse.press()
        assert page.locator('[name^="seen."]').count() == 0
        field = page.locator('[name="own.checker_volume"]')
        field.focus()
        page.keyboard.press("ArrowDown")
        assert field.input_value() == ""
        assert field.get_attribute("autocomplete") == "off"
        _never(page, "benzylpenicillin")
        clock.wait(20)
        nurse.fill()
        nurse.press()
        assert "same in each point" in page.inner_text("main")
        _never(page, entered)
        nurse.press("main a.primary")
        while not nurse.screen.prep.closed:
            nurse.step()
        assert nurse.place == "given"
        by = {e.event.by for e in nurse.beside.station.entries(nurse.id)}
        assert by == {NURSE, COLLEAGUE}
        nurse.beside.close()


def _never(page: Any, text: str) -> None:
    """The text stands nowhere on a page: not in its source, its fields or its title."""
    source = page.content().replace("\u00a0", " ")
    values = page.evaluate("[...document.querySelectorAll('input')].map(one => one.value)")
    assert text not in source and text not in page.title()
    assert text.partition(" ")[0] not in values


def test_an_interruption_and_the_way_back_on_another_tablet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with begun(tmp_path, monkeypatch, "ORD-103") as (nurse, browser, address):
        nurse.reach("set_the_dose")
        nurse.fill()
        nurse.press("text=I was interrupted")
        assert nurse.kinds()[-1] == "interrupted"
        assert "You were about to" in nurse.page_.inner_text("main")
        nurse.press("text=A call")
        nurse.clock.wait(240)
        first, other = nurse.page_, browser.new_context(viewport=PHONE).new_page()
        sign_in(other, address, NURSE, place="W7E-2", path=nurse.address)
        nurse.page_ = other
        if nurse.screen.stands == "interrupted":
            nurse.press()
        assert nurse.place == "set_the_dose/reverify"
        # The tablet that was left shows by itself that the work is elsewhere now.
        first.wait_for_selector("text=Take it up here")
        assert other.locator('[name="seen.drawn_volume"]').count() == 0
        nurse.step()
        # The break came at the volume: it is read again, or the dose is discarded.
        assert [told.code for told in nurse.screen.reasons] == ["interrupted_at_critical_step"]
        nurse.press()
        assert other.locator('[name="seen.drawn_volume"]').input_value() == ""
        while not nurse.screen.prep.closed:
            nurse.step()
        assert nurse.place == "given"


def test_a_press_that_bounces_back_and_an_old_page_make_one_entry(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with begun(tmp_path, monkeypatch, "ORD-103") as (nurse, _, _address):
        page = nurse.page_
        nurse.fill()
        pressed(page, lambda: page.dblclick("main button.primary"))
        page.wait_for_load_state("networkidle")
        assert nurse.kinds() == ["opened", "passed"]
        page.go_back()
        page.wait_for_load_state("networkidle")
        assert page.locator("main input[type=text]").evaluate_all(
            "every => every.every(one => one.value === '')"
        )
        assert nurse.kinds() == ["opened", "passed"]
        # Pressed, slid off, let go: nothing.
        page.goto(f"{nurse.address_}{nurse.address}")
        box = page.locator("main button.primary").bounding_box()
        page.mouse.move(box["x"] + 20, box["y"] + 20)
        page.mouse.down()
        page.mouse.move(5, 5)
        page.mouse.up()
        assert nurse.kinds() == ["opened", "passed"]


def test_without_a_connection_what_was_typed_stays_and_counts_once_afterwards(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with begun(tmp_path, monkeypatch, "ORD-103") as (nurse, _, _address):
        page = nurse.page_
        nurse.reach("work_out_the_volume")
        nurse.fill()
        page.context.set_offline(True)
        page.click("main button.primary")
        until(page, "!document.getElementById('offline').hidden")
        assert "Not recorded yet" in page.inner_text("#offline")
        assert page.locator('[name="seen.own_volume"]').input_value() == "2"
        assert nurse.place == "work_out_the_volume"
        page.context.set_offline(False)
        page.wait_for_timeout(700)
        nurse.press()
        assert nurse.place == "make_the_neck_ready"
        assert [e.event.place for e in nurse.beside.station.entries(nurse.id)].count(
            "work_out_the_volume"
        ) == 1


STRANGE = (
    "0,5", "1.2.5", "1 000", "1,000", "5.", ".5", "05", "5.0", "1e3", "-2", "٠.٥", "2-",
    "1.50",
)  # fmt: skip


def test_figures_are_typed_said_in_words_and_changed_by_nothing_but_typing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with begun(tmp_path, monkeypatch, "ORD-103") as (nurse, _, _address):
        page = nurse.page_
        nurse.reach("work_out_the_volume")
        field = page.locator('[name="seen.own_volume"]')
        assert field.get_attribute("type") == "text"
        assert field.get_attribute("inputmode") == "decimal"
        for text in STRANGE:
            field.fill(text)
            page.locator('[value="about one container"]').check()
            page.wait_for_timeout(650)  # within 600 ms a second press is a finger that bounced
            nurse.press()
            assert nurse.place == "work_out_the_volume", text
            assert page.locator('[name="seen.own_volume"]').input_value() == text
            assert page.locator("#seen-own_volume-fault").count() == 1, text
        field.fill("")
        for key in ("1", ".", "2", "5"):
            page.click(f'.keypad button:has-text("{key}")' if key != "."
                       else '.keypad button[aria-label="point"]')  # fmt: skip
        assert field.input_value() == "1.25"
        nurse.spoken()
        assert "one point two five millilitres" in page.inner_text("#seen-own_volume-words")
        page.click('.keypad button[aria-label="Erase the last figure"]')
        assert field.input_value() == "1.2"
        field.focus()
        for key in ("ArrowUp", "ArrowDown", "PageUp", "PageDown"):
            page.keyboard.press(key)
        page.mouse.wheel(0, 300)
        assert field.input_value() == "1.2"


def test_the_keyboard_alone_makes_a_whole_preparation(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with begun(tmp_path, monkeypatch, "ORD-103") as (nurse, _, _address):
        page = nurse.page_
        while not nurse.screen.prep.closed:
            nurse.clock.wait(20)
            place = nurse.place
            answers = nurse.right()
            for _ in range(80):
                page.keyboard.press("Tab")
                about = page.evaluate(
                    "(({name, type, value, className, tagName}) => ({name, type, value,"
                    " className, tagName}))(document.activeElement)"
                )
                name, value = about.get("name"), answers.get(about.get("name") or "")
                if about["tagName"] == "INPUT" and about["type"] == "radio" and value:
                    for _ in range(12):
                        page.keyboard.press("Space")
                        if page.evaluate("document.activeElement.value") == value:
                            break
                        page.keyboard.press("ArrowDown")
                elif about["tagName"] == "INPUT" and about["type"] == "checkbox":
                    if name in answers:
                        page.keyboard.press("Space")
                elif about["tagName"] == "INPUT" and value:
                    page.keyboard.insert_text(value)
                elif "primary" in (about.get("className") or ""):
                    break
            nurse.spoken()
            pressed(page, lambda: page.keyboard.press("Enter"))
            assert nurse.place != place, (place, page.inner_text("main"))
        assert nurse.place == "given"


@pytest.mark.parametrize("size", [{"width": 320, "height": 640}, PHONE, TABLET,
                                  {"width": 1280, "height": 800}], ids=str)  # fmt: skip
def test_what_is_pressed_is_large_and_nothing_runs_off_the_side(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: dict[str, int]
) -> None:
    with begun(tmp_path, monkeypatch, "ORD-101", size=size) as (nurse, _, _address):
        page = nurse.page_
        for step in ("read_the_order", "see_the_patient", "prepare_the_place", "take_the_product"):
            nurse.reach(step)
            assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
            heights = page.evaluate(HEIGHTS)
            assert min(heights.values()) >= 52, heights
            primary = page.locator("main .primary").bounding_box()
            assert primary["height"] >= 104
        top = page.locator("main .primary").bounding_box()["y"]
        assert top + 104 <= size["height"] + 1 or size["width"] > 600
