"""What the screens are accepted by, A01 to A63: held by tests, judged by people, or not met."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from tests.faces import ROOT
from tests.test_requirements import named_in

TABLE = ROOT / "tests" / "data" / "acceptance.csv"
TEMPLATES = ROOT / "checklist" / "faces" / "web" / "templates"
STATES = ("met", "in part", "people", "not here")
BLAME = ("invalid", "illegal", "you forgot", "your fault", "mistake", "user error", "careless")
PROMISE = ("verified ok", "correct dose", "is safe", "the dose is right", "safe to give")
VAGUE = ("ok", "yes", "no", "continue", "ignore", "override", "submit", "cancel")


def rows() -> list[dict[str, str]]:
    with TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_table_holds_each_item_once_in_order() -> None:
    assert [row["id"] for row in rows()] == [f"A{n:02d}" for n in range(1, 64)]


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["id"])
def test_an_item_is_held_by_tests_that_are_there_or_says_who_judges_it(
    row: dict[str, str],
) -> None:
    tests = [one for one in row["tests"].split(";") if one]
    assert row["state"] in STATES
    assert tests or row["state"] in ("people", "not here")
    assert row["state"] == "met" or len(row["sentence"].split()) >= 8
    for one in tests:
        file, _, name = one.partition("::")
        assert named_in(file), f"there is no {file}"
        assert name == "*" or name in named_in(file), f"there is no {one}"


@pytest.mark.parametrize(
    "file", sorted(TEMPLATES.rglob("*.html")), ids=lambda file: str(file.relative_to(TEMPLATES))
)
def test_no_word_of_a_page_blames_or_promises(file: Path) -> None:
    text = file.read_text("utf-8").replace("aria-invalid", "")
    bare = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}|<[^>]+>", " ", text, flags=re.DOTALL)
    said = " ".join(bare.split()).casefold()
    for word in (*BLAME, *PROMISE):
        assert word not in said, word
    for label in re.findall(r"<button[^>]*>([^<{]*)</button>", text):
        assert label.strip().casefold() not in VAGUE, label
