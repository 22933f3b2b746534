"""The rows of the facts tables: what happened, as plain values that any table program can hold.

Values are text, whole numbers, seconds as floats (times, never doses) and 0 or 1 for no or yes.
Text is "" and a number None where there is nothing to say. Moments are UTC text as in the trail
("2026-11-25T14:00:00.000000Z"); `month`, `week` (ISO), `day`, `weekday` (1 is Monday) and `hour`
are the unit's own, of the moment the preparation was opened. `preparer`, `person` and `second` are
pseudonyms of staff, `line` one of the order line. No name, no free text, no patient.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from types import MappingProxyType
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """What every row says of its preparation: which, and the cells that tables are made by."""

    preparation: str
    unit: str
    month: str
    week: str
    container: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PreparationFact(Base):
    """One preparation, open or at an end.

    `ending` is "given", "discarded", "abandoned" or "" while open; `ended_because` the code that
    was given for it. `dose_in` says that a step which takes the giving was passed, whatever became
    of the record. `traits` are the order's traits, joined by spaces. `rules` is the digest of the
    workflow in force, `settings` that of the unit's settings. `seconds` run from opening to the
    last entry, `opened_s` and `closed_s` are the moments in seconds since 1970 (0 while open),
    `away` is the part of them spent in breaks.
    """

    opened_at: str
    closed_at: str
    opened_s: int
    closed_s: int
    day: str
    weekday: int
    hour: int
    station: str
    workflow: str
    version: str
    rules: str
    settings: str
    software: str
    formulary: str
    traits: str
    drug: str
    drug_class: str
    route: str
    time_critical: int
    called: int
    line: str
    preparer: str
    ending: str
    ended_because: str
    dose_in: int
    first_seq: int
    last_seq: int
    entries: int
    refusals: int
    cautions: int
    restarts: int
    breaks: int
    shown: int
    seconds: float
    away: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StepFact(Base):
    """One try of a step.

    `step` is its name without an item, `item` the item of a mixture; `side` is "" for the main
    sequence, "reverify" or "account" for a side phase; `number` counts the main sequence. `who` is
    whose hands the step is for.
    `outcome` is "passed", "cautioned" or "refused"; `attempt` counts the tries of this step since
    the preparation was opened. `seconds` since the entry before; `shortest` is the least time in
    which hands can do it, 0 when the workflow does not say. `after_break` says that a break was in
    this step just before.
    """

    seq: int
    at: str
    step: str
    item: str
    side: str
    number: int
    phase: str
    stage: str
    who: str
    person: str
    outcome: str
    attempt: int
    seconds: float
    shortest: int
    critical: int
    after_break: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingFact(Base):
    """One reason that stood in the way, at one try of a step.

    `tier` is "hard" or "soft". `hazards` are register ids joined by spaces, `hazard` the first of
    them. `stage` says how far the dose had come, see `STAGES`. `tries` counts this reason at this
    step, from 1. `breaks_before` are the breaks of this preparation until then. `remedy` is the way
    out that answered it, `because` the reason with which a caution was released, `releaser` who
    did. `fate` is "recovered", "released", "given", "discarded", "abandoned" or "open": what
    followed first. `wait` is the time in seconds until then. `barrier` is the check that found it
    ("seen:..." for a line that somebody looked at). `expected` is the ordered drug, `read` the
    item, where the two differ. `ending` and `dose_in` are those of the preparation.
    """

    seq: int
    at: str
    hour: int
    drug: str
    drug_class: str
    rules: str
    step: str
    item: str
    side: str
    phase: str
    stage: str
    reason: str
    barrier: str
    tier: str
    hazard: str
    hazards: str
    who: str
    person: str
    preparer: str
    second: str
    tries: int
    breaks_before: int
    remedy: str
    because: str
    releaser: str
    fate: str
    wait: float | None
    expected: str
    read: str
    ending: str
    dose_in: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PairFact(Base):
    """One try of a step that is for a second person, or a giving by another than the preparer.

    `role` is "checker", "witness" or "giver". `apart` is the time in seconds since the preparer's
    own last entry. `same_person` and `same_station` compare with that entry; `shown_before` says
    that the working had been shown in this preparation. `agreed` is 0 when the try was refused.
    """

    seq: int
    at: str
    step: str
    role: str
    preparer: str
    second: str
    outcome: str
    agreed: int
    attempt: int
    apart: float
    same_person: int
    same_station: int
    shown_before: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseFact(Base):
    """One caution that was gone past: `reason` is its code, `because` the listed reason given."""

    seq: int
    at: str
    step: str
    reason: str
    because: str
    person: str
    by_preparer: int
    words: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BreakFact(Base):
    """One interruption; `away` is None when nobody came back."""

    seq: int
    at: str
    step: str
    stage: str
    cause: str
    critical: int
    away: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AmountFact(Base):
    """One accepted count or volume of a controlled drug.

    `amount` is exact text with its unit as recorded; `number` is the same for sums of many, in
    `measure`.
    """

    seq: int
    at: str
    step: str
    product: str
    drug: str
    field: str
    amount: str
    number: float
    measure: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeFact(Base):
    """One product code that was read at a try of a step.

    `channel` is "scanned", "typed" or "lines"; `why` is the reason that was given for typing it in
    place of a scan, one of `observation.KEYED`, and "" where none was asked for or given.
    """

    seq: int
    at: str
    step: str
    stage: str
    field: str
    channel: str
    why: str


STAGES = ("before opening", "open", "drawn up", "at the bedside", "once given", "account")
"""How far a dose has come, in their order; "account" is the side phase for opened items."""

TABLES: Mapping[str, type[Base]] = MappingProxyType(
    {
        "preparations": PreparationFact,
        "steps": StepFact,
        "findings": FindingFact,
        "pairs": PairFact,
        "releases": ReleaseFact,
        "breaks": BreakFact,
        "amounts": AmountFact,
        "codes": CodeFact,
    }
)
"""The tables by name, each with the form of its rows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """All that one preparation adds to the tables."""

    preparation: PreparationFact
    steps: tuple[StepFact, ...] = ()
    findings: tuple[FindingFact, ...] = ()
    pairs: tuple[PairFact, ...] = ()
    releases: tuple[ReleaseFact, ...] = ()
    breaks: tuple[BreakFact, ...] = ()
    amounts: tuple[AmountFact, ...] = ()
    codes: tuple[CodeFact, ...] = ()

    def rows(self, table: str) -> tuple[Base, ...]:
        """The rows that go into a table."""
        if table == "preparations":
            return (self.preparation,)
        found: tuple[Base, ...] = getattr(self, table)
        return found


def columns(table: str) -> dict[str, str]:
    """The columns of a table in their order: name to "text", "whole" or "number"."""
    kinds = {"str": "text", "int": "whole", "float": "number", "float | None": "number"}
    return {each.name: kinds[str(each.type)] for each in fields(TABLES[table])}


def values(row: Base) -> tuple[Any, ...]:
    """A row's values in the order of its table's columns."""
    return tuple(getattr(row, each.name) for each in fields(row))
