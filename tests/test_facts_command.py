"""The commands on facts, run as a person would run them."""

from __future__ import annotations

import json
import shutil
import sqlite3
import sys
from pathlib import Path

import pexpect
import pytest
from typer.testing import CliRunner, Result

from checklist.faces.cli import app
from checklist.facts.asking import QUESTIONS
from checklist.facts.folder import Folder
from checklist.facts.modelled import MODELLED, Modelled
from checklist.facts.numbered import NUMBERED
from checklist.facts.question import Question
from checklist.verdict import Remedy
from tests.scene import NURSE, Scene


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trail with one preparation that was refused once, and its facts."""
    at = tmp_path_factory.mktemp("ward")
    scene = Scene(at)
    scene.open()
    scene.to("set_the_dose")
    scene.attempt({"drawn_volume": "2.1"})
    scene.station.remedy(scene.id, Remedy.ADJUST, NURSE)
    scene.finish()
    scene.trail.close()
    found = run("facts", "export", at / "trail.db", "--facts", at / "facts")
    assert found.exit_code == 0, found.output
    assert "1 preparations ended, 0 open" in found.output
    assert f"next: checklist ask --facts {at / 'facts'}" in found.output
    return at


def test_an_export_can_be_run_again_and_verified(folder: Path) -> None:
    again = run("facts", "export", folder / "trail.db", "--facts", folder / "facts")
    assert again.exit_code == 0 and "0 entries read" in again.output
    found = run("facts", "verify", "--facts", folder / "facts")
    assert found.exit_code == 0 and "as written" in found.output


def test_drug_classes_come_from_the_wards_formulary(folder: Path) -> None:
    found = run("ask", "classes", "--facts", folder / "facts", "--json")
    assert [row["drug_class"] for row in json.loads(found.output)] == ["antiemetic"]


def test_every_question_is_listed_and_can_be_asked(folder: Path) -> None:
    listed = run("ask", "--facts", folder / "facts").output.splitlines()
    assert [line.split("\t")[0] for line in listed[1:]] == [*QUESTIONS, *MODELLED]
    for more in ((), ("--ids",), ("--sqlite",), ("--sql",), ("--json",)):
        found = run("ask", "recovery", "--facts", folder / "facts", *more)
        assert found.exit_code == 0, found.output


def test_a_question_can_be_asked_by_its_number_where_one_answers_it(folder: Path) -> None:
    assert "beyond" not in run("ask", "9", "--facts", folder / "facts").output
    found = run("ask", "13", "--facts", folder / "facts")
    assert found.exit_code == 2 and "`checklist ask remedies`" in found.output


def test_small_tables_say_so(folder: Path) -> None:
    found = run("ask", "reasons", "--facts", folder / "facts")
    assert "too few to show" in found.output
    assert "1 rows rest on too few" in found.output
    ids = run("ask", "reasons", "--facts", folder / "facts", "--ids")
    assert ids.output.splitlines() == ["reason\tpreparation"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("ask", "nothing"), "There is no question"),
        (("ask", "units", "--only", "person=x"), "is no key of units; keys: unit"),
        (("ask", "units", "--near-miss", "mine"), "No definition of a near miss"),
        (("facts", "harm", "x", "C", "--as", "QI-1", "--because", "seen"), "hold no preparation"),
        (("facts", "before-after", "soon"), "is no day"),
        (("facts", "before-after", "2026-01-01"), "Put the"),
    ],
)
def test_what_cannot_be_answered_is_said_in_a_sentence(
    folder: Path, words: tuple[str, ...], said: str
) -> None:
    found = run(*words, "--facts", folder / "facts")
    assert found.exit_code == 2
    if said != "Put the":
        assert said in found.output


def test_without_facts_the_way_to_them_is_named(tmp_path: Path) -> None:
    found = run("ask", "units", "--facts", tmp_path / "none")
    assert found.exit_code == 2 and "checklist facts export" in found.output


@pytest.mark.parametrize("words", [("ask", "reasons"), ("ask", "reasons", "--sqlite"),
                                   ("chart", "kinds")])  # fmt: skip
def test_facts_that_cannot_be_read_are_told_by_every_command(
    folder: Path, tmp_path: Path, words: tuple[str, ...]
) -> None:
    facts = tmp_path / "facts"
    shutil.copytree(folder / "facts", facts)
    file = Path(Folder(facts).paths("findings")[0])
    file.write_bytes(file.read_bytes()[:100])
    done = run(*words, "--facts", facts)
    assert done.exit_code == 2
    assert "The facts cannot be read" in done.output and "facts verify" in done.output


def test_without_the_libraries_the_extra_is_named(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "duckdb", None)
    found = run("ask", "units", "--facts", folder / "facts")
    assert found.exit_code == 2 and "checklist[analytics]" in found.output


def test_a_letter_of_harm_is_entered_and_the_last_one_counts(folder: Path) -> None:
    facts = folder / "facts"
    (id_,) = {row[0] for row in _rows(facts)}
    for letter in ("C", "B"):
        found = run(
            "facts", "harm", id_, letter, "--as", "QI-1", "--because", "seen", "--facts", facts
        )
        assert found.exit_code == 0, found.output
    assert run("facts", "harm", id_, "X", "--as", "Q", "--because", "s", "--facts", facts).exit_code
    assert len((facts / "harm.jsonl").read_text(encoding="utf-8").splitlines()) == 2
    told = json.loads(run("ask", "harm", "--facts", facts, "--json").output)
    assert [(row["harm"], row["said"]) for row in told] == [("B", "entered")]


def _rows(facts: Path) -> list[tuple[str]]:
    from checklist.facts.engine import Duck

    with Duck(Folder(facts)) as duck:
        return [(row[0],) for row in duck.rows("SELECT preparation FROM preparations").rows]


def test_gaps_audits_and_judged_samples_are_worked_out(folder: Path, tmp_path: Path) -> None:
    facts = folder / "facts"
    found = run("facts", "gaps", "volume_over_target", "--facts", facts)
    assert "1 events" in found.output and "since the last: 0" in found.output
    # 59 without an event show less than 5 %: (1 - 0.05)^59 = 0.0485, the "rule of three".
    assert "59 preparations without one" in run("facts", "audit-size", "0.05").output
    sample = tmp_path / "judged.csv"
    sample.write_text("a, right\nb, right\nc, not right\n", encoding="utf-8")
    assert "2 of 3 refusals were right" in run("facts", "judged", sample).output
    sample.write_text("a right\n", encoding="utf-8")
    assert run("facts", "judged", sample).exit_code == 2


def test_a_sqlite_copy_holds_no_trail_and_is_not_written_over(folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "small.db"
    found = run("facts", "sqlite", file, "--facts", folder / "facts")
    assert found.exit_code == 0 and "datasette serve --immutable" in found.output
    db = sqlite3.connect(file)
    names = {name for (name,) in db.execute("SELECT name FROM sqlite_master")}
    db.close()
    assert {"preparations", "answer_units", "ids_units"} <= names
    assert names.isdisjoint({"entries", "private"})
    assert run("facts", "sqlite", file, "--facts", folder / "facts").exit_code == 2


def test_a_table_at_a_terminal_has_a_head_and_is_set_in_columns(folder: Path) -> None:
    command = [sys.executable, "-m", "checklist.faces.cli", "ask", "funnel", "--facts"]
    child = pexpect.spawn(
        command[0], [*command[1:], str(folder / "facts")], dimensions=(60, 120), encoding="utf-8"
    )
    child.expect(pexpect.EOF, timeout=60)
    text = child.before or ""
    assert "reached" in text and "take_the_product" in text
    assert all(len(line) <= 120 for line in text.splitlines() if "\x1b" not in line)


def test_a_year_is_made_and_looked_through(tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "letter").touch()
    assert run("year", "make", other).exit_code == 2
    found = run("year", "find", tmp_path)
    assert found.exit_code == 2 and "checklist year make" in found.output


def test_each_of_the_forty_questions_has_its_answer_or_says_why_not() -> None:
    """Every name can be asked, and every other command is one that exists."""
    import typer

    assert list(NUMBERED) == list(range(1, 41))
    known: set[str] = set()

    def walk(group: object, path: str) -> None:
        for name, one in getattr(group, "commands", {}).items():
            known.add(f"{path} {name}")
            walk(one, f"{path} {name}")

    walk(typer.main.get_command(app), "checklist")
    for number, one in NUMBERED.items():
        assert one.names or one.commands or one.note, number
        for name in one.names:
            question = QUESTIONS.get(name) or MODELLED[name]
            assert number in question.numbers, (number, name)
        for command in one.commands:
            assert " ".join(command.split()[:3]) in known, command
    every: list[Question | Modelled] = [*QUESTIONS.values(), *MODELLED.values()]
    for each in every:
        for number in each.numbers:
            assert each.name in NUMBERED[number].names, (number, each.name)


def test_a_number_leads_to_what_answers_it(folder: Path) -> None:
    facts = ("--facts", folder / "facts")
    due = run("ask", "29", *facts)
    assert due.exit_code == 2 and "`checklist review due`" in due.output
    assert "numbered 1 to 40" in run("ask", "41", *facts).output
    assert run("ask", "36", *facts).output == run("ask", "teaching", *facts).output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("session",), "Say which day with --day"),
        (("session", "--day", "July"), "is no day"),
        (("workload", "--day", "2026-07-01"), "asks about no day"),
        (("reasons", "--day", "2026-07-01"), "asks about no day"),
        (("workload", "--only", "unit=W7E"), "takes no --only"),
        (("workload", "--near-miss", "x"), "No definition of a near miss"),
    ],
)
def test_what_a_question_cannot_take_is_told(
    folder: Path, words: tuple[str, ...], said: str
) -> None:
    found = run("ask", *words, "--facts", folder / "facts")
    assert found.exit_code == 2 and said in " ".join(found.output.split())


@pytest.mark.parametrize("name", MODELLED)
def test_questions_by_method_show_nothing_of_too_few(folder: Path, name: str) -> None:
    day = ("--day", "2026-07-01") if MODELLED[name].of_a_day else ()
    found = run("ask", name, *day, "--facts", folder / "facts")
    assert found.exit_code == 0, found.output
    assert "too few to show" in found.output
    ids = run("ask", name, *day, "--facts", folder / "facts", "--ids")
    assert len(ids.output.splitlines()) == 1
