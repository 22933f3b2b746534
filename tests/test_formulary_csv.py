"""A formulary kept in a spreadsheet: the same drugs and products, or faults by row and column."""

from __future__ import annotations

import csv
import tomllib
from io import StringIO
from pathlib import Path
from typing import Any

import pytest

from checklist.formulary import Formulary
from checklist.intake.fault import Fault, Findings
from checklist.intake.formulary import formulary_of_toml
from checklist.intake.formulary_csv import COLUMNS, formulary_of_csv
from tests.wards import DEMO, FORMULARY, copied, load


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demonstration ward that a test may spoil."""
    return copied(tmp_path)


def _rows() -> list[dict[str, str]]:
    """The demonstration formulary as a pharmacist would keep it in a spreadsheet."""
    tables = tomllib.loads((DEMO / FORMULARY).read_text())
    drugs = {drug["name"]: drug for drug in tables["drug"]}

    def cell(value: Any) -> str:
        if isinstance(value, bool):
            return "yes" if value else "no"
        return "|".join(value) if isinstance(value, list) else str(value)

    rows = []
    for product in tables["product"]:
        drug = {k: v for k, v in drugs[product["drug"]].items() if k != "name"}
        own = {"edition": tables["edition"]} | drug | product
        for mixing in own.pop("mixing", [{}]):  # a powder mixed in two ways has two rows
            mixed = {f"mixing_{k}": v for k, v in mixing.items()}
            rows.append({k: cell(v) for k, v in (own | mixed).items()})
    return rows


def _sheet(rows: list[dict[str, str]], delimiter: str = ",") -> str:
    out = StringIO()
    writer = csv.DictWriter(out, COLUMNS, delimiter=delimiter, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def _read_sheet(path: Path, text: str) -> tuple[Formulary | None, list[Fault]]:
    path.write_text(text, encoding="utf-8", newline="")
    findings = Findings(path.name)
    read = formulary_of_csv(path, findings)
    return read[0] if read else None, findings.faults


@pytest.mark.parametrize("delimiter", [",", ";"])
def test_a_spreadsheet_gives_the_same_formulary_as_the_tables(
    tmp_path: Path, delimiter: str
) -> None:
    sheet, faults = _read_sheet(tmp_path / "formulary.csv", _sheet(_rows(), delimiter) + "\r\n")
    tables = formulary_of_toml(DEMO / FORMULARY, Findings(FORMULARY))
    assert not faults
    assert sheet is not None
    assert tables is not None
    assert sheet.products == tables[0].products
    assert sheet.drugs == tables[0].drugs
    assert sheet.edition == tables[0].edition
    assert sheet.digest != tables[0].digest


SHEET_CASES = [
    (2, "strength", "10 mg", "row 2, column strength", "has no volume"),
    (2, "strength", "0,5 mg in 1 mL", "row 2, column strength", "comma"),
    (2, "strength", "10mg in 1 mL", "row 2, column strength", "no space before the unit"),
    (2, "code", "9.52E+12", "row 2, column code", "cut short"),
    (2, "code", "9,52E+12", "row 2, column code", "cut short"),
    (2, "code", "20007300213", "row 2, column code", "dropped zeros"),
    (2, "code", "09520007300115", "row 2, column code", "does not fit"),
    (2, "code", "'09520007300114", "row 2, column code", "text mark"),
    (2, "code", "09520007300121", "row 3, column code", "stands twice"),
    (2, "controlled", "TRUE", "row 2, column controlled", "neither yes nor no"),
    (2, "content", "#REF!", "row 2, column content", "missing value"),
    (2, "content", "=1+1", "row 2, column content", "formula"),
    (2, "content", "1\u00a0mL", "row 2, column content", "cannot be seen"),
    (2, "content", "", "row 2, column content", "is not there"),
    (2, "drug", "", "row 2, column drug", "is not there"),
    (2, "drug", "Morphine", "row 2, column drug", "small letters"),
    (2, "limit", "20 mg", "row 3, column limit", "differs from row 2"),
    (3, "limit", "", "row 3, column limit", "differs from row 2"),
    (3, "lookalikes", "hydromorphone|codeine", "row 3, column lookalikes", "differs from row 2"),
    (3, "edition", "2026-10", "row 3, column edition", "the same in all rows"),
    (2, "edition", "", "row 2, column edition", "the same in all rows"),
    (2, "routes", "IV|IX", "row 2, column routes", "not on the list"),
    (2, "container", "ampoule", "row 2, column container", "not on the list"),
]


@pytest.mark.parametrize(("row", "column", "cell", "place", "words"), SHEET_CASES)
def test_a_cell_that_cannot_be_taken_is_named_by_row_and_column(
    tmp_path: Path, row: int, column: str, cell: str, place: str, words: str
) -> None:
    rows = _rows()
    rows[row - 2][column] = cell
    _, faults = _read_sheet(tmp_path / "formulary.csv", _sheet(rows))
    told = [f for f in faults if f.place == place and words in f.sentence]
    assert told, [str(fault) for fault in faults]
    assert told[0].file == "formulary.csv"


SHEETS = [
    ("", "", "The file is empty"),
    ("edition,code,drug,container,strength,content\n", "", "There is no product"),
    ("sep=;\nedition;code\n", "row 1", "sep= row"),
    ("edition\tcode\n", "row 1", "is not known here"),
    ("edition,code,code,drug,container,strength,content\n", "row 1", "stands twice"),
    ("edition,code,drug,container,strenth,content\n", "row 1", 'Did you mean "strength"'),
    ("edition,code,drug,container,content\n", "row 1", '"strength" is not there'),
    ("edition,code,drug,container,strength,content\n1,2,3\n", "row 2", "3 cells"),
    ('edition,code,drug,container,strength,content\n"1,2,3\n', "row 2", "cannot be read as CSV"),
]


@pytest.mark.parametrize(("text", "place", "words"), SHEETS)
def test_a_sheet_that_cannot_be_taken_says_why(
    tmp_path: Path, text: str, place: str, words: str
) -> None:
    _, faults = _read_sheet(tmp_path / "formulary.csv", text)
    told = [f for f in faults if f.place == place and words in f.sentence]
    assert told, [str(fault) for fault in faults]


def test_a_ward_may_keep_its_formulary_as_a_spreadsheet(folder: Path) -> None:
    (folder / FORMULARY).unlink()
    (folder / "formulary.csv").write_text(_sheet(_rows()), encoding="utf-8", newline="")
    assert load(folder).formulary.products["PH-104"].drug == "sodium chloride"
