"""The plan of the invented year, as its files say it: units, rates, slips, what is planted."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPlan:
    """A unit, its share of the work (a weight), and how many nurses do it."""

    code: str
    name: str
    share: int
    nurses: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """How often things happen; each with its source in year.toml.

    `slips` are for each preparation, `breaks` too; `containers` are factors on slips. Times are in
    seconds unless the name says otherwise.
    """

    slips: float
    containers: Mapping[str, float]
    between_nurses: float
    between_weeks: float
    breaks: float
    break_factor: float
    break_minutes: float
    breaks_at_critical: float
    year_factor: float
    primed: float
    released: float
    recovery_median: float
    recovery_spread: float
    ended: float
    again: float
    late: float
    step_median: float
    step_spread: float
    slow: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """One thing that can be entered otherwise than it should: at which field, and as what."""

    kind: str
    field: str
    becomes: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """A lasting change of one unit's rate by a factor, from a calendar week on."""

    unit: str
    from_week: int
    factor: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Learner:
    """One nurse's learning curve: chance of a slip from `start` to `end`, see year.toml."""

    unit: str
    code: str
    from_month: int
    share: float
    start: float
    end: float
    half: float

    def chance(self, attempt: int) -> float:
        """The chance of a slip at an attempt, counted from 0."""
        gone: float = 0.5 ** (attempt / self.half)
        return self.end + (self.start - self.end) * gone


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """An order that comes up again and again, with the right answers by field."""

    order: str
    container: str
    weight: int
    answers: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The whole plan. `slips` are listed by kind, `weights` say how often each kind comes."""

    year: int
    timezone: str
    units: tuple[UnitPlan, ...]
    rates: Rates
    slips: Mapping[str, tuple[Slip, ...]]
    weights: Mapping[str, int]
    shift: Shift | None
    learner: Learner | None
    made: tuple[Made, ...]


def read_plan(folder: Path, *, planted: bool = True) -> Plan:
    """The plan in a folder with year.toml and answers.toml; without what is planted if asked."""
    said = _toml(folder / "year.toml")
    slips = {
        one["kind"]: tuple(Slip(kind=one["kind"], **each) for each in one["options"])
        for one in said["slip"]
    }
    return Plan(
        year=said["year"],
        timezone=said["timezone"],
        units=tuple(UnitPlan(**one) for one in said["unit"]),
        rates=Rates(**said["rates"]),
        slips=slips,
        weights={one["kind"]: one["weight"] for one in said["slip"]},
        shift=Shift(**said["planted"]["shift"]) if planted else None,
        learner=Learner(**said["planted"]["learner"]) if planted else None,
        made=tuple(Made(**one) for one in _toml(folder / "answers.toml")["made"]),
    )


def _toml(file: Path) -> dict[str, Any]:
    return tomllib.loads(file.read_text(encoding="utf-8"))
