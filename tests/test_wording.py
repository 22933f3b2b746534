"""Our own words keep the rules we hold orders to: no misread form and no blame in any text."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from checklist import engine, library, needle
from checklist.checks import CHECKS, REASONS
from checklist.dose.sheets.catalogue import SHEETS
from checklist.dose.sheets.names import NAMES
from checklist.label import ITEMS, ROUTE_WORDS
from checklist.notation import SCOPES, faults
from checklist.verdict import REMEDY_WORDS

Text = tuple[str, str]
"""Where a text stands, and the text."""


def workflow_texts() -> Iterator[Text]:
    """Everything that a step shows or asks, in every shipped workflow."""
    for name, workflow in library.workflows().items():
        yield name, workflow.title
        for phase in (*workflow.phases, *workflow.asides):
            yield f"{name}, {phase.name}", phase.title
            for step in phase.steps:
                place = f"{name}, {step.name}"
                yield place, step.ask
                yield place, step.how
                for field in step.fields:
                    yield f"{place}, {field.name}", field.say
                    for answer in field.answers:
                        yield f"{place}, {field.name}", answer
        for ending in workflow.endings:
            yield f"{name}, {ending.code}", ending.say
        for technique in workflow.observe:
            yield f"{name}, {technique.name}", technique.say


def reason_texts() -> Iterator[Text]:
    """The three sentences of every reason; a slot is filled by the check."""
    for code, reason in REASONS.items():
        for sentence in (reason.found, reason.why, reason.next):
            yield code, sentence


def other_texts() -> Iterator[Text]:
    """The words of labels, remedies, reasons to go on, checks, needles and dose sums."""
    for words in (ITEMS, ROUTE_WORDS, engine.GO_ON):
        yield from words.items()
    yield from ((remedy.value, words) for remedy, words in REMEDY_WORDS.items())
    yield from ((name, check.doc) for name, check in CHECKS.items())
    table = library.limits().needles
    yield from (("needle", row.advice.note) for row in table.injections)
    yield from (("needle", row.advice.note) for row in table.drawings)
    yield "needle", needle.UNKNOWN_DEPTH
    yield from NAMES.items()
    for name, sheet in SHEETS.items():
        yield name, sheet.formula
        yield from ((f"{name}, {blank.name}", blank.what) for blank in sheet.asks)


TEXTS = (*workflow_texts(), *reason_texts(), *other_texts())


def test_there_are_texts_of_every_sort() -> None:
    assert len(list(workflow_texts())) > 200
    assert len(list(reason_texts())) == 3 * len(REASONS) > 200
    assert len(list(other_texts())) > 150


def test_every_shipped_text_keeps_the_writing_rules() -> None:
    """The published lists that each rule names: Joint Commission, ISMP, FDA; see notation.py."""
    found = [
        f"{place}: {text!r} has {fault.found!r} ({fault.rule.id})"
        for place, text in TEXTS
        for fault in faults(text, SCOPES, prose=True)
    ]
    assert found == []


def test_a_text_that_breaks_a_rule_would_be_found() -> None:
    for bad in ("Draw up 2.0 mL.", "Give .5 mg.", "Take 10 U.", "Draw 3 cc.", "Give 30 µg now."):
        assert faults(bad, SCOPES, prose=True), bad


# Words that blame, frighten or belong to a machine. Common practice, no source.
UNSAID = re.compile(
    r"(?i)\b(you forgot|forgot|your fault|careless|invalid|illegal|failed|failure|error|abort\w*"
    r"|wrong\w*|bad|must have|obviously)\b"
)


def test_no_shipped_text_blames() -> None:
    """Why a reason matters may say what can go wrong; what was found and what to do may not."""
    told = [(code, text) for code, r in REASONS.items() for text in (r.found, r.next)]
    remedies = [(remedy.value, words) for remedy, words in REMEDY_WORDS.items()]
    nurses = (*workflow_texts(), *told, *remedies)
    assert [(place, text) for place, text in nurses if UNSAID.search(text)] == []


# -- the sentences in the code of the dose sums ----------------------------------------------------

PACKAGE = Path(__file__).parent.parent / "checklist" / "dose"


def sentences(path: Path) -> Iterator[str]:
    """The literal parts of every text in a module, docstrings left out."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.value


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: p.stem)
def test_no_sentence_of_a_dose_sum_blames(path: Path) -> None:
    assert [text for text in sentences(path) if UNSAID.search(text)] == []
