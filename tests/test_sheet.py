"""Tables that are handed on: nothing in them may be run by a spreadsheet, and figures stay."""

from __future__ import annotations

import csv
import io

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checklist.drawing.sheet import Sheet, as_csv, as_xlsx, inert, texts

DANGEROUS = (
    "=1+1",
    "+1",
    "-1+1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\n=1",
    "=cmd|' /C calc'!A0",
    "|calc",
    "%0A",
    "\uff1d1+1",  # full-width =
    "\uff0b1",  # full-width +
    "\uff0d1",  # full-width -
    "\uff20A",  # full-width @
    "\ufe62a",  # small plus sign
    "  =1",
    "\u00a0=1",
    "\u200b=1",
    "\ufeff=1",
)
"""Cells that spreadsheets have run. OWASP, CSV Injection; full-width and hidden starts: common
practice, no source."""


@pytest.mark.parametrize("text", DANGEROUS)
def test_a_cell_that_could_be_run_is_made_inert(text: str) -> None:
    sheet = Sheet(name="x", columns=("kind",), rows=((text,),))
    (_, (cell,)) = csv.reader(io.StringIO(as_csv(sheet), newline=""))
    assert cell == f"'{text}"


@pytest.mark.parametrize("text", ["", "a=b", "RN-12", "2026-W01", "1.25 mL", "(=x)", "naïve"])
def test_other_text_is_left_as_it_is(text: str) -> None:
    assert inert(text) == text


@given(st.text(alphabet=st.characters(codec="utf-8"), max_size=30))
def test_no_text_comes_out_with_a_dangerous_start(text: str) -> None:
    assert not inert(text).startswith(("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d"))


def test_figures_stay_figures_even_below_zero() -> None:
    sheet = Sheet(name="x", columns=("n", "m"), rows=((-3, -0.5), (None, 2.0)))
    assert as_csv(sheet).splitlines() == ['"n","m"', '"-3","-0.5"', '"","2"']


def test_a_column_has_the_same_decimals_in_every_row() -> None:
    sheet = Sheet(name="x", columns=("a", "b"), rows=((1.0, 1.5), (2.0, 10.0)))
    assert texts(sheet) == (("1", "1.50"), ("2", "10.00"))


def test_a_workbook_keeps_dangerous_text_as_text() -> None:
    rows = tuple((text, -1.5) for text in DANGEROUS if text.isprintable())
    sheet = Sheet(name="a/b:c*d", columns=("kind", "n"), rows=rows, about=("=from",))
    book = openpyxl.load_workbook(io.BytesIO(as_xlsx([sheet, sheet])))
    page = book.worksheets[0]
    assert [page.cell(row=3 + n, column=1).data_type for n in range(1, len(rows) + 1)] == (
        ["s"] * len(rows)
    )
    assert page["A1"].value == "=from"
    assert page["A1"].data_type == "s"
    assert page["B4"].value == -1.5


def test_the_same_figures_give_the_same_workbook() -> None:
    sheet = Sheet(name="x", columns=("a",), rows=((1,),))
    assert as_xlsx([sheet]) == as_xlsx([sheet])
