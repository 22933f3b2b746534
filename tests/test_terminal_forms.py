"""Guided preparation on terminals of all kinds: without colour, narrow, dumb, or none."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faces import STEERING, new_trail, run
from tests.nurse import Nurse, counted, kinds, to_the_count

# A pseudo-terminal is made by forking; where the test runner has threads, Python warns of that.
pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")


@pytest.fixture
def words(tmp_path: Path) -> tuple[str, ...]:
    return (
        "ORD-103",
        "--as",
        "RN-12",
        "--practice",
        "--trail",
        str(new_trail(tmp_path / "trail.db")),
    )


@pytest.fixture
def nurse(tmp_path: Path, words: tuple[str, ...]) -> Iterator[Nurse]:
    with Nurse(tmp_path, *words) as one:
        yield one


def test_the_second_screen_is_used_and_left_again(nurse: Nurse) -> None:
    nurse.wait()
    nurse.child.sendintr()
    nurse.end()
    assert nurse.all.count("\x1b[?1049h") == 1
    assert nurse.all.index("\x1b[?1049h") < nurse.all.rindex("\x1b[?1049l")


def test_a_terminal_that_cannot_be_cleared_is_sent_no_codes_and_says_so(tmp_path: Path) -> None:
    with Nurse(tmp_path, *counted(tmp_path), changes={"TERM": "dumb"}) as nurse:
        over = to_the_count(nurse)
        assert "This terminal cannot be cleared" in " ".join(over.split())
        assert "\x1b" not in nurse.all


def test_without_colour_the_words_are_the_same(tmp_path: Path) -> None:
    shown = []
    for number, (variable, value) in enumerate(
        [("LINES", ""), ("NO_COLOR", "1"), ("TERM", "dumb")]
    ):
        home = tmp_path / str(number)
        home.mkdir()
        words = ("ORD-103", "--as", "RN-12", "--practice", "--trail", str(new_trail(home / "t.db")))
        with Nurse(home, *words, changes={variable: value}) as nurse:
            nurse.type(nurse.answer(nurse.wait()))
            text = STEERING.sub("", nurse.all).replace("\r", "")
        text = re.sub(r"Preparation [0-9a-f]{8}", "Preparation", text)
        lines = [line for line in text.splitlines() if line.strip("- ")]
        shown.append([line.rstrip() for line in lines])
    assert shown[0] == shown[1]
    assert shown[0] == shown[2]


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_no_line_is_too_long_and_no_number_leaves_its_unit(columns: int, tmp_path: Path) -> None:
    words = ("ORD-103", "--as", "RN-12", "--practice", "--trail", str(new_trail(tmp_path / "t.db")))
    with Nurse(tmp_path, *words, columns=columns) as nurse:
        nurse.to("Work out the volume", nurse.wait())
        nurse.type("3")
        nurse.type("2.1")
        nurse.type("")
        lines = STEERING.sub("", nurse.all).replace("\r", "").splitlines()
    for line, after in zip(lines, [*lines[1:], ""], strict=True):
        typed = line.partition("> ")[2]
        assert len(line) - len(typed) <= columns, line
        assert not (re.search(r"[0-9]$", line) and re.match(r"\s*(mL|mg|microgram|units)\b", after))


def test_nobody_is_guided_without_a_terminal(tmp_path: Path) -> None:
    path = tmp_path / "trail.db"
    told = run(
        "prepare", "ORD-103", "--as", "RN-12", "--trail", str(path), home=tmp_path, text="y\n"
    )
    assert told.returncode == 2
    assert "needs a terminal with a person at it" in told.stderr
    assert told.stdout == "" and not path.exists()


def test_order_and_person_are_asked_where_they_are_not_named(tmp_path: Path) -> None:
    with Nurse(tmp_path, "--practice") as nurse:
        listed = nurse.wait()
        assert "ORD-101   P-301   morphine  7.5 mg  intravenous   due 14:20" in listed
        assert "beside the orders" in nurse.type("99")
        assert "Your staff code or badge" in nurse.type("3")
        assert "Open the order" in nurse.type("]d28017952000000000001122")
    practised = tmp_path / "checklist" / "practice" / "ORD-103-001.db"
    assert kinds(practised) == ["opened", "interrupted"]


def test_an_order_that_was_practised_to_its_end_is_practised_anew(tmp_path: Path) -> None:
    for number in (1, 2):
        with Nurse(tmp_path, "ORD-103", "--practice", "--as", "RN-12") as nurse:
            assert "step 1 of" in nurse.wait()
            nurse.type(":e")
            nurse.type("1")
            nurse.child.sendline("")
            assert nurse.end()[0] == 1
        assert len(list((tmp_path / "checklist" / "practice").glob("*.db"))) == number
