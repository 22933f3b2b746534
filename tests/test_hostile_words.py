"""Hostile answers, scans, lines, command words and patterns: refused or taken inert, quickly."""

from __future__ import annotations

import ast
import importlib
import json
import random
import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from checklist.answer import Answer
from checklist.engine import ways
from checklist.faces.cli import app
from checklist.faces.line_form import NotUnderstood, read_line
from checklist.faces.saying import harmless
from checklist.intake.entry import EntryFault, read
from checklist.observation import Channel, Kind
from checklist.unit import Unit
from tests.effort import FULL
from tests.faces import ROOT, new_trail
from tests.hostile import ALL, LOOKALIKES, NUMBERS, STEERING, TURNED, bounded, inert
from tests.scene import Scene

UNIT = Unit(code="W7E", name="Ward 7 East")
AROUND = {"unit": "", "today": date(2026, 11, 25), "zone": "UTC", "settings": UNIT}


@pytest.mark.parametrize("kind", Kind)
def test_an_answer_of_any_kind_is_read_or_refused_in_a_sentence(kind: Kind) -> None:
    answers = ("luer lock", "luer slip") if kind is Kind.CHOICE else ()
    refused = 0
    for word in ALL:
        for raw in (word, f"5{word}", f"{word}5 mL"):
            try:
                with bounded():
                    read(kind, raw, **{**AROUND, "answers": answers})  # type: ignore[arg-type]
            except EntryFault as fault:
                refused += 1
                assert len(str(fault)) < 600
                assert inert(harmless(str(fault)))
    assert refused > len(ALL) / 2


@pytest.mark.parametrize("word", NUMBERS)
@pytest.mark.parametrize("kind", [Kind.QUANTITY, Kind.COUNT, Kind.CONCENTRATION])
def test_no_odd_number_is_taken_for_an_amount(kind: Kind, word: str) -> None:
    with pytest.raises(EntryFault):
        read(kind, f"{word} mL" if kind is Kind.QUANTITY else word, **AROUND)  # type: ignore[arg-type]


@pytest.mark.parametrize("word", [*TURNED, *STEERING[:4]])
def test_no_text_that_hides_or_turns_is_taken_for_a_name(word: str) -> None:
    for kind in (Kind.TEXT, Kind.IDENTIFIER, Kind.PRODUCT):
        with pytest.raises(EntryFault):
            read(kind, word, **AROUND)  # type: ignore[arg-type]


def test_a_drug_that_only_looks_like_the_ordered_one_is_not_it(tmp_path: Path) -> None:
    scene = Scene(tmp_path, "ORD-101")
    scene.open()
    while "read_drug" not in scene.right():
        scene.on()
    outcome = scene.attempt({"read_drug": LOOKALIKES[0]})
    assert outcome.entry.event.kind == "refused"
    assert scene.trail.verify().whole


@pytest.mark.parametrize("step", ["see_the_patient", "set_the_dose"])
def test_hostile_answers_at_a_step_are_recorded_and_never_lead_on(
    tmp_path: Path, step: str
) -> None:
    scene = Scene(tmp_path, "ORD-103")
    scene.open()
    scene.to(step)
    station, id_ = scene.station, scene.id
    for word in ALL:
        fields = station.screen(id_).fields
        with bounded():
            outcome = station.attempt(
                id_, {one.name: Answer(word, Channel.TYPED) for one in fields}, scene.hands()
            )
        assert outcome.entry.event.kind == "refused", word
        prep = station.find(id_)
        way = ways(prep, station.rules_of(prep.workflow))[0]
        station.remedy(id_, way.remedy, scene.hands())
        scene.to(step)
    assert scene.trail.verify().whole
    assert len(list(scene.trail.since(0))) == scene.trail.head().seq


LINES = [
    b"\xff\xfe\x00",
    b"[" * 90_000,
    b'{"seen": ' + b'{"a":' * 15_000,
    b'{"seen": {"a": NaN}}',
    b'{"turn": ' + b"9" * 5_000 + b', "resume": true}',
    b'{"resume": true, "resume": true}',
    b'{"seen": {}, "seen": {}}',
    b'{"resume": true, "__class__": 1}',
    b'"resume"',
    b"null",
    b"{" + b'"note": "x",' * 8_000 + b"}",
    b'{"note": "x"' + b" " * 100_000 + b"}",
]


@pytest.mark.parametrize("line", LINES, ids=range(len(LINES)))
def test_a_hostile_line_is_not_understood(line: bytes) -> None:
    with bounded(), pytest.raises(NotUnderstood) as told:
        read_line(line)
    assert len(json.dumps(str(told.value))) < 700


COMMANDS = (
    ("show",), ("list",), ("prepare",), ("trail", "verify"), ("workflow", "show"),
    ("workflow", "check"), ("workflow", "draw"), ("unit", "check"), ("dose", "volume"),
)  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_hostile_command_words_end_in_a_sentence(
    tmp_path: Path, command: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    trail = new_trail(tmp_path / "trail.db")
    runner, draw = CliRunner(), random.Random(" ".join(command))
    for word in ALL:
        if "\x00" in word or "\ud800" in word or word == "/dev/zero":
            continue  # no system hands a null on; the others are tried as files below
        forms = ([*command, word], [*command, f"--trail={word}"], [f"--{word}", *command])
        for words in forms if FULL else [draw.choice(forms)] * (draw.random() < 0.4):
            with bounded():
                done = runner.invoke(app, words)
            fault = done.exception
            assert fault is None or isinstance(fault, SystemExit), (words, fault)
            assert done.exit_code in (0, 1, 2, 3)
            assert inert(done.output), (words, done.output)
    assert trail.stat().st_size > 0


def test_an_endless_file_is_no_trail_no_ward_and_no_workflow(tmp_path: Path) -> None:
    runner = CliRunner()
    for words in (
        ["list", "--trail", "/dev/zero"],
        ["trail", "verify", "--trail", "/dev/zero"],
        ["workflow", "check", "/dev/zero"],
        ["unit", "check", "/dev/zero"],
    ):
        with bounded():
            done = runner.invoke(app, words)
        assert isinstance(done.exception, SystemExit) and done.exit_code in (1, 2, 3), words


# -- patterns ----------------------------------------------------------------------------------


def patterns() -> Iterator[tuple[str, str]]:
    """Every pattern written in the package: its file, and its text."""
    for file in sorted((ROOT / "checklist").rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            of_re = (
                isinstance(node.func, ast.Attribute) and getattr(node.func.value, "id", "") == "re"
            )
            texts = [node.args[0]] if of_re and node.args else []
            texts += [one.value for one in node.keywords if one.arg == "pattern"]
            for text in texts:
                if isinstance(text, ast.Constant) and isinstance(text.value, str):
                    yield file.name, text.value


def compiled() -> Iterator[tuple[str, str]]:
    """Every compiled pattern that a module holds, however it was put together."""
    for file in sorted((ROOT / "checklist").rglob("*.py")):
        name = ".".join(file.relative_to(ROOT).with_suffix("").parts)
        if name.endswith("__init__"):
            continue
        for value in vars(importlib.import_module(name)).values():
            if isinstance(value, re.Pattern):
                yield file.name, value.pattern


APART = {
    r"(?:\([0-9]{2,4}\)[^() ]+)+": "each round begins with a bracket, and none holds another",
    r'"([a-z]+(?:_[a-z]+)+)"': "each round begins with a line below, and none holds another",
    r"^[a-z][a-z0-9_]*( or [a-z][a-z0-9_]*)*$": "each round begins with a space, none holds one",
}
"""Patterns that repeat what repeats, and why there is only one way to try them."""


def nested(tree: Any, inside: bool = False) -> bool:
    """Whether an endless repetition stands in an endless repetition."""
    for op, value in tree:
        name = str(op)
        if name in ("MAX_REPEAT", "MIN_REPEAT", "POSSESSIVE_REPEAT"):
            _, most, body = value
            endless = int(most) > 1_000
            if (endless and inside) or nested(body, inside or endless):
                return True
        elif name in ("SUBPATTERN", "ATOMIC_GROUP"):
            if nested(value[-1] if name == "SUBPATTERN" else value, inside):
                return True
        elif name == "BRANCH":
            if any(nested(branch, inside) for branch in value[1]):
                return True
        elif name in ("ASSERT", "ASSERT_NOT") and nested(value[1], inside):
            return True
    return False


def test_the_scan_for_nested_repetitions_finds_them() -> None:
    parser = importlib.import_module("re._parser")
    for bad in (r"(\w+\s?)*", "(a*)*", "((ab)+|c)+", "(?:x+y?)+z"):
        assert nested(parser.parse(bad)), bad
    for good in ("a+b+", "(ab)+", "[a-z]*"):
        assert not nested(parser.parse(good)), good


def test_no_pattern_of_ours_repeats_what_repeats_or_takes_long() -> None:
    parser = importlib.import_module("re._parser")
    every = sorted({*patterns(), *compiled()})
    assert len(every) > 40
    long = ("a" * 20_000 + "!", "1" * 20_000 + "!", " " * 20_000 + "!", "1 mL " * 5_000 + "!",
            "(01)" * 5_000, "0." * 10_000, "a-" * 10_000 + "\x00")  # fmt: skip
    for file, pattern in every:
        assert pattern in APART or not nested(parser.parse(pattern)), (file, pattern)
        form = re.compile(pattern)
        for text in long:
            with bounded():
                form.fullmatch(text)
                form.match(text)
