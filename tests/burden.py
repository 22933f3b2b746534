"""What a workflow asks of a nurse: screens, scans, typed numbers, presses and lines to look at."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import astuple, dataclass

from checklist.observation import Kind
from checklist.workflow import Workflow

SCANNED = (Kind.PRODUCT, Kind.IDENTIFIER)
NUMBERS = (Kind.QUANTITY, Kind.COUNT, Kind.CONCENTRATION, Kind.DATE, Kind.TIME)


@dataclass(frozen=True, slots=True, kw_only=True)
class Burden:
    """How much one preparation asks, from the order to the record.

    `scans` are codes and identifiers, which a scanner reads where there is one. `numbers` are
    those that have to be typed: not what a scan brings along, nor what may stay empty. `words` are
    typed texts. A press is one choice from a list, or one screen whose `lines` are looked at and
    answered together.
    """

    screens: int
    scans: int
    numbers: int
    words: int
    presses: int
    lines: int


def burden(workflow: Workflow, traits: Iterable[str] = ()) -> Burden:
    """What the workflow asks for an order with these traits."""
    steps = workflow.for_(frozenset(traits)).steps
    asked = [f for s in steps for f in s.fields if not f.optional and not f.carried]
    kinds = [f.kind for f in asked]
    looked = sum(any(f.kind is Kind.SEEN for f in s.fields) for s in steps)
    return Burden(
        screens=len(steps),
        scans=sum(kind in SCANNED for kind in kinds),
        numbers=sum(kind in NUMBERS for kind in kinds),
        words=kinds.count(Kind.TEXT),
        presses=kinds.count(Kind.CHOICE) + looked,
        lines=kinds.count(Kind.SEEN),
    )


def table(workflows: Iterable[Workflow], traits: Iterable[str] = ()) -> str:
    """The burdens of some workflows as a table to print."""
    heads = ("screens", "scans", "numbers", "words", "presses", "lines")
    rows = [f"{'':22}" + "".join(f"{head:>9}" for head in heads)]
    for workflow in workflows:
        figures = astuple(burden(workflow, traits))
        rows.append(f"{workflow.name:22}" + "".join(f"{figure:>9}" for figure in figures))
    return "\n".join(rows) + "\n"
