"""formulary.csv: a formulary kept in a spreadsheet, one row for each product.

The columns and the form of their cells are described in `checklist.intake.formulary`.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import Any

from checklist.formulary import Formulary
from checklist.intake.fault import Findings, nearest
from checklist.intake.formulary import DrugRecord, Place, ProductRecord, Shelves
from checklist.intake.mixing import MixingRecord
from checklist.intake.page import MAX_RECORDS, page, rows
from checklist.letters import unseen
from checklist.number import quoted

_DRUG = tuple(DrugRecord.model_fields)[1:]
_PRODUCT = tuple(name for name in ProductRecord.model_fields if name != "mixing")
_MIXING = {f"mixing_{name}": name for name in MixingRecord.model_fields}
COLUMNS = ("edition", *_PRODUCT, *_MIXING, *_DRUG)
"""Every column that a file may have."""
NEEDED = ("edition", "code", "drug", "container", "strength", "content")

_FORMS = {
    **DrugRecord.model_fields,
    **ProductRecord.model_fields,
    **{f"mixing_{name}": form for name, form in MixingRecord.model_fields.items()},
}
_FLAGS = tuple(name for name, form in _FORMS.items() if form.annotation is bool)
_LISTS = tuple(name for name, form in _FORMS.items() if form.default_factory is list)


def formulary_of_csv(
    path: Path, findings: Findings, containers: Collection[str] = ()
) -> tuple[Formulary, str] | None:
    """The formulary and the file's text; None, with faults, when the file cannot be read.

    `containers` are those of the ward's own workflows.
    """
    found = page(path, findings, longest=MAX_RECORDS)
    if found is None:
        return None
    lines = list(rows(found.text, findings))
    if not lines:
        if not findings.faults:
            findings.add("", "The file is empty. Begin it with a row of column names.")
        return None
    heading = _heading(lines[0][1], findings)
    if heading is None:
        return None
    shelves, edition = Shelves(findings, containers), ""
    records = [(row, _record(row, cells, heading, findings)) for row, cells in lines[1:]]
    kept = [(row, record) for row, record in records if record is not None]
    if not records:
        findings.add("", "There is no product. Write one in each row below the column names.")
    drugs: dict[str, tuple[int, dict[str, Any]]] = {}
    for row, record in kept:
        stated = record.get("edition", "")
        edition = edition or stated
        if not stated or stated != edition:
            sentence = "It is not the same in all rows. Write the edition in each."
            findings.add(_place(row)(["edition"]), sentence)
        _same_drug(row, record, drugs, findings)
    for row, drug in drugs.values():
        shelves.add_drug(drug, _place(row))
    for numbers, product in _products(kept, findings):
        shelves.add_product(product, _place(*numbers))
    return shelves.formulary(edition, found.digest), found.text


def _place(row: int, *more: int) -> Place:
    """How to say where a key of this row stands; `more` are the rows of further ways of mixing."""

    def said(keys: Sequence[str | int]) -> str:
        names = [key for key in keys if isinstance(key, str)]
        at = row
        if len(keys) > 1 and keys[0] == "mixing" and isinstance(keys[1], int):
            at, names = (row, *more)[keys[1]], ["_".join(names)]
        column = {"name": "drug"}.get(names[0], names[0]) if names else ""
        return f"row {at}, column {column}" if column else f"row {at}"

    return said


def _products(
    kept: list[tuple[int, dict[str, Any]]], findings: Findings
) -> list[tuple[list[int], dict[str, Any]]]:
    """The products with the numbers of their rows; a powder's ways of mixing are put together.

    A second row with the code of a powder tells another way to mix it, and must agree in all else.
    """
    made: list[tuple[list[int], dict[str, Any]]] = []
    powders: dict[str, tuple[list[int], dict[str, Any]]] = {}
    for row, record in kept:
        product = {key: record[key] for key in _PRODUCT if key in record}
        mixing = {key: record[column] for column, key in _MIXING.items() if column in record}
        if mixing and (known := powders.get(record.get("code", ""))):
            places, first = known
            for key in _PRODUCT:
                if product.get(key) != first.get(key):
                    sentence = f"It differs from row {places[0]}, the same item. Write the same."
                    findings.add(_place(row)([key]), sentence)
            places.append(row)
            first["mixing"].append(mixing)
            continue
        if mixing:
            product["mixing"] = [mixing]
            powders[record.get("code", "")] = ([row], product)
            made.append(powders[record.get("code", "")])
        else:
            made.append(([row], product))
    return made


def _heading(cells: list[str], findings: Findings) -> list[str] | None:
    """The column names; None, with faults, when they are not those of this file."""
    names, before = [cell.strip(" ") for cell in cells], len(findings.faults)
    for name in names:
        if name not in COLUMNS:
            sentence = f"The column {quoted(name)} is not known here. {nearest(name, COLUMNS)}"
            findings.add("row 1", sentence)
        elif names.count(name) > 1:
            findings.add("row 1", f"The column {quoted(name)} stands twice. Keep one.")
    for name in NEEDED:
        if name not in names:
            findings.add("row 1", f"The column {quoted(name)} is not there. Add it.")
    return names if len(findings.faults) == before else None


def _record(
    row: int, cells: list[str], heading: list[str], findings: Findings
) -> dict[str, Any] | None:
    """The filled cells of a row by column, flags and lists in their own types."""
    if len(cells) != len(heading):
        findings.add(
            f"row {row}",
            f"It has {len(cells)} cells and the heading {len(heading)}. A comma inside a cell needs"
            " quotes around the cell.",
        )
        return None
    before, record = len(findings.faults), dict[str, Any]()
    for name, cell in zip(heading, cells, strict=True):
        text = cell.strip(" ")
        if sentence := _spoilt(text):
            findings.add(_place(row)([name]), sentence)
        elif text and name in _FLAGS and text not in ("yes", "no"):
            findings.add(_place(row)([name]), f"{quoted(text)} is neither yes nor no. Write one.")
        elif text:
            record[name] = text
            if name in _FLAGS:
                record[name] = text == "yes"
            elif name in _LISTS:
                record[name] = [part.strip(" ") for part in text.split("|")]
    return record if len(findings.faults) == before else None


def _spoilt(text: str) -> str:
    """What a spreadsheet has made of a cell, in words; empty when it is a plain text."""
    if hidden := unseen(text):
        return f"The cell holds a character that cannot be seen ({quoted(hidden)}). Type it again."
    if text.startswith("#"):
        return f"{quoted(text)} is a spreadsheet's sign for a missing value. Fill the cell in."
    if text.startswith(("=", "+", "@")):
        return f"{quoted(text)} is a formula. Write the text itself."
    if re.fullmatch(r"'.*", text):
        return f"{quoted(text)} begins with a spreadsheet's text mark. Take the mark out."
    return ""


def _same_drug(
    row: int,
    record: dict[str, Any],
    drugs: dict[str, tuple[int, dict[str, Any]]],
    findings: Findings,
) -> None:
    """Take in the drug of a row the first time, and compare its columns from then on."""
    if "drug" not in record:
        return  # its product is told so
    drug = {key: record[key] for key in _DRUG if key in record} | {"name": record["drug"]}
    first_row, first = drugs.setdefault(record["drug"], (row, drug))
    for key in _DRUG:
        if drug.get(key) != first.get(key):
            findings.add(
                _place(row)([key]),
                f"It differs from row {first_row}, which is of the same drug. Write the same.",
            )
