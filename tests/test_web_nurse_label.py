"""The label's own page: shown as it is printed, in true size on a screen that was measured."""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from checklist.faces.web.nurse.true_size import AGAIN_MM, LINE_PX
from checklist.printing.job import Asked
from checklist.printing.preview import preview
from checklist.stock import Size
from tests.scene import NURSE
from tests.web import Tablet, make_desk, tablets
from tests.web_nurse import Shift, shift, words

A_PX = Fraction(254, 960)
"""One CSS pixel in mm where a browser's guess is right: a 96th of an inch (CSS Values, 6.2)."""


def measure(tablet: Tablet, text: str, *, said: str | None = None, next_: str = "/orders") -> Any:
    form = {
        "screen.line": text,
        "screen.line.said": text if said is None else said,
        "next": next_,
    }
    return tablet.post("/true-size", data=form)


def picture(page: str) -> tuple[str, ...]:
    """The words that stand for the label's picture, and its width and height in pixels."""
    found = re.search(r'label\.svg[^>]*?alt="([^"]*)"(?: width="(\d+)" height="(\d+)")?>', page)
    assert found is not None
    return tuple(unescape(one or "") for one in found.groups())


def test_the_page_shows_the_label_as_it_is_printed_and_says_whether_its_size_is_true(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, [tablet]):
        assert "Nothing is drawn up yet" in one.page("/label")
        one.to("write_the_label")
        by = one.beside.station.person(NURSE)
        one.beside.now = one.clock.now
        made = preview(one.beside.station, one.id, by, Asked())
        assert made.sheet is not None and made.size is not None
        page = one.page("/label")
        assert "Not in true size: this screen was never measured." in words(page)
        alt, wide, high = picture(page)
        assert (wide, high) == ("", "")
        for line in made.lines:
            assert line in alt, line
        assert f"All {made.due} items are on it" in words(page)
        assert tablet.get(f"{one.address}/label.svg").content == made.file
        # Once the screen was measured the picture is as large as the piece of paper.
        way = f"{one.address}/label"
        answer = measure(tablet, "40", next_=way)
        assert answer.status_code == 303
        told = tablet.get(answer.headers["location"]).text
        assert f'href="{way}"' in told and f"{AGAIN_MM} mm" in words(told)
        page = one.page("/label")
        assert "Shown in true size" in words(page)
        _, wide, high = picture(page)
        mm = Fraction(40, LINE_PX)
        assert abs(int(wide) * mm - made.sheet.width) <= mm
        assert abs(int(high) * mm - made.sheet.height) <= mm
        # A label too large for its size says which items have no room, and on which all have.
        small = words(one.page("/label?size=20+x+20+mm"))
        assert "No print." in small and "no room for" in small and "--size" not in small
        assert f"Show it on {preview_larger(one)}" in small


def preview_larger(one: Shift) -> str:
    """The size on which everything goes, as the preview says it."""
    station, id_ = one.beside.station, one.id
    seen = preview(station, id_, station.person(NURSE), Asked(size=Size.parse("20 x 20 mm")))
    assert seen.larger is not None
    return str(seen.larger)


@pytest.fixture
def tablet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Tablet]:
    with tablets(make_desk(tmp_path, monkeypatch)) as [one]:
        one.sign_in(NURSE)
        yield one


def test_a_screen_is_measured_in_millimetres_or_what_goes_over_into_them(tablet: Tablet) -> None:
    assert "never measured" in tablet.get("/true-size").text
    for text, mm in (("63.5", "63.5"), ("6.35 cm", "63.5"), ("25", "25"), ("160", "160")):
        assert measure(tablet, text).status_code == 303, text
        page = tablet.get("/true-size").text
        assert "This screen was measured." in page
        again = re.findall(r'<svg width="(\d+)"', page)
        assert int(again[0]) == round(AGAIN_MM * LINE_PX / Fraction(mm)), text
    # On a screen where the browser's own millimetre is right, its line comes to what CSS says.
    assert Fraction("63.5") == LINE_PX * A_PX


@pytest.mark.parametrize("text", ["", "24.9", "160.5", "63,5", "-63", "6e1", "63 mL", "63 px", "x"])
def test_a_length_that_cannot_be_is_told_and_nothing_is_kept(text: str, tablet: Tablet) -> None:
    answer = measure(tablet, text)
    assert answer.status_code == 422 and "Not kept yet" in answer.text
    assert "set-cookie" not in answer.headers
    assert "never measured" in tablet.get("/true-size").text


def test_a_length_counts_once_its_words_were_shown(tablet: Tablet) -> None:
    answer = measure(tablet, "63.5", said="")
    assert answer.status_code == 200 and "sixty-three point five millimetres" in words(answer.text)
    assert "never measured" in tablet.get("/true-size").text


@pytest.mark.parametrize(
    "value", ["", "0", "abc", "99999", "1" * 40, "-378", "3.78", "0378", "3_78"]
)
def test_a_made_up_measure_counts_as_none(value: str, tablet: Tablet) -> None:
    tablet.cookies.set("screen", value)
    assert "never measured" in tablet.get("/true-size").text


@pytest.mark.parametrize(
    "next_", ["https://elsewhere.example/", "//elsewhere.example", "javascript:1"]
)
def test_the_way_back_leads_nowhere_else(next_: str, tablet: Tablet) -> None:
    answer = measure(tablet, "63.5", next_=next_)
    assert answer.status_code == 303 and "elsewhere" not in answer.headers["location"]
    assert "elsewhere" not in tablet.get("/true-size", params={"next": next_}).text
    assert "javascript" not in tablet.get("/true-size", params={"next": next_}).text


def test_the_measure_stays_with_the_tablet_and_its_cookie_is_kept_from_scripts(
    tablet: Tablet,
) -> None:
    kept = measure(tablet, "63.5").headers["set-cookie"]
    assert "HttpOnly" in kept and "SameSite=strict" in kept and "Max-Age" in kept
    tablet.post("/sign-out")
    tablet.sign_in("RN-27")
    assert "This screen was measured." in tablet.get("/true-size").text
