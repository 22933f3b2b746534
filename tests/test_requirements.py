"""R-01 to R-40 on records: each is held by a test that is there, or says why it is not."""

from __future__ import annotations

import ast
import csv
from functools import cache
from pathlib import Path

import pytest

from tests.faces import ROOT

TABLE = ROOT / "tests" / "data" / "requirements.csv"
STATES = ("met", "in part", "not here")


def rows() -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@cache
def named_in(file: str) -> frozenset[str]:
    """The names of the tests of a file; none where there is no such file."""
    path = ROOT / "tests" / file
    if not path.is_file():
        return frozenset()
    names = (
        n.name for n in ast.parse(path.read_text("utf-8")).body if isinstance(n, ast.FunctionDef)
    )
    return frozenset(name for name in names if name.startswith("test_"))


def test_the_table_holds_each_requirement_once_in_order() -> None:
    assert [row["id"] for row in rows()] == [f"R-{n:02d}" for n in range(1, 41)]


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["id"])
def test_a_requirement_is_held_by_tests_that_are_there_or_says_why_not(row: dict[str, str]) -> None:
    tests = [one for one in row["tests"].split(";") if one]
    assert row["state"] in STATES
    assert bool(tests) is (row["state"] != "not here")
    assert row["state"] == "met" or len(row["sentence"].split()) >= 8
    for one in tests:
        file, _, name = one.partition("::")
        assert named_in(file), f"there is no {file}"
        assert name == "*" or name in named_in(file), f"there is no {one}"


def test_the_page_says_what_a_trail_cannot_prove() -> None:
    page = (ROOT / "checklist" / "independent" / "FORMAT.md").read_text("utf-8")
    _, _, limits = page.partition("## What a trail cannot prove")
    said = " ".join(limits.partition("\n## ")[0].split())
    assert len([line for line in limits.splitlines() if line.startswith("- ")]) >= 4, said


def test_the_faults_that_are_tried_are_those_of_the_catalogue() -> None:
    """F01 to F26: each with tests, or with what stands in the way of trying it on one machine."""
    with Path(TABLE.with_name("faults.csv")).open(encoding="utf-8", newline="") as file:
        faults = list(csv.DictReader(file))
    assert [row["id"] for row in faults] == [f"F{n:02d}" for n in range(1, 27)]
    for row in faults:
        tests = [one.partition("::") for one in row["tests"].split(";") if one]
        assert tests or len(row["sentence"].split()) >= 6, row["id"]
        for name, _, test in tests:
            assert test == "*" or test in named_in(name), (row["id"], name, test)
