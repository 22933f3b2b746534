"""A table of figures to be handed on: as CSV that no spreadsheet runs, and as XLSX."""

from __future__ import annotations

import csv
import io
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

Cell = str | int | float | None
_LONG_AGO = datetime(2000, 1, 1)  # noqa: DTZ001 - a workbook keeps times without a zone


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Rows of figures and words under named columns; `about` says what they are, in lines."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    about: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        assert all(len(row) == len(self.columns) for row in self.rows), "a row is ragged"


_STARTS = frozenset("=+-@\t\r\n|%")
"""A cell that begins with one of these may be run by a spreadsheet as a formula or command."""


def inert(text: str) -> str:
    """The text so that no spreadsheet takes it for a formula: an apostrophe stands before it.

    Full-width and other forms that a spreadsheet folds to a starting sign count as that sign, and
    so does one that stands after spaces or characters that do not show.
    Source: OWASP, CSV Injection (the starting signs); full-width forms: common practice.
    """
    shown = text.lstrip()
    while shown and unicodedata.category(shown[0]) in ("Cf", "Zs", "Cc", "Zl", "Zp"):
        shown = shown[1:]
    first = unicodedata.normalize("NFKC", shown[:1])[:1]
    risky = first in _STARTS or text[:1] in _STARTS
    return f"'{text}" if risky else text


def texts(sheet: Sheet) -> tuple[tuple[str, ...], ...]:
    """The rows as they are read on a page: each column of figures with its own decimals."""
    digits = [_digits(row[place] for row in sheet.rows) for place in range(len(sheet.columns))]
    return tuple(
        tuple(_text(cell, places) for cell, places in zip(row, digits, strict=True))
        for row in sheet.rows
    )


def _digits(cells: Iterable[Cell]) -> int:
    """How many decimals a column needs: none for whole numbers, else two."""
    numbers = [cell for cell in cells if isinstance(cell, float)]
    return 0 if all(number.is_integer() for number in numbers) else 2


def _text(cell: Cell, digits: int) -> str:
    if cell is None:
        return ""
    return cell if isinstance(cell, str) else f"{cell:.{digits}f}"


def as_csv(sheet: Sheet) -> str:
    """The sheet as RFC 4180 text: a heading and the rows. Numbers stay numbers, text is inert."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n", quoting=csv.QUOTE_ALL)
    writer.writerow([inert(name) for name in sheet.columns])
    writer.writerows([[_plain(cell) for cell in row] for row in sheet.rows])
    return out.getvalue()


def _plain(cell: Cell) -> str:
    if cell is None:
        return ""
    # A figure that is negative is no formula; a text that looks like one may be.
    return inert(cell) if isinstance(cell, str) else _figure(cell)


def _figure(number: int | float) -> str:
    return str(number) if isinstance(number, int) else f"{number:.10g}"


def as_xlsx(sheets: Sequence[Sheet]) -> bytes:
    """The sheets as one workbook; text is kept as text, whatever it begins with.

    Raises NeedsExtra when the library for it is not there.
    """
    from checklist.extra import wanted

    xlsxwriter = wanted("xlsxwriter", "xlsx")
    out = io.BytesIO()
    plain = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    book = xlsxwriter.Workbook(out, plain)
    # The same figures give the same file.
    book.set_properties({"created": _LONG_AGO})
    strong = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    for place, sheet in enumerate(sheets, 1):
        page = book.add_worksheet(_page_name(sheet.name, place))
        start = len(sheet.about) + (1 if sheet.about else 0)
        for row, line in enumerate(sheet.about):
            page.write_string(row, 0, line)
        for column, name in enumerate(sheet.columns):
            page.write_string(start, column, name, strong)
            page.set_column(column, column, _column_width(sheet, column))
        for row, cells in enumerate(sheet.rows, start + 1):
            for column, cell in enumerate(cells):
                if isinstance(cell, str):
                    page.write_string(row, column, cell)
                elif cell is not None:
                    page.write_number(row, column, cell)
        page.freeze_panes(start + 1, 1)
    book.close()
    return out.getvalue()


def _page_name(name: str, place: int) -> str:
    """A workbook's page name: at most 31 characters, without those it does not allow."""
    clean = "".join("-" if char in "[]:*?/\\'" else char for char in name).strip()
    return f"{place} {clean}"[:31]


def _column_width(sheet: Sheet, column: int) -> int:
    longest = max((len(_shown(row[column])) for row in sheet.rows), default=0)
    return min(60, max(longest, len(sheet.columns[column]), 6) + 2)


def _shown(cell: Cell) -> str:
    return "" if cell is None else cell if isinstance(cell, str) else _figure(cell)
