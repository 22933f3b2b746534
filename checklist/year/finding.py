"""Whether what was planted in the invented year is found again, and how long it took."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from checklist.facts.asking import QUESTIONS
from checklist.facts.engine import Engine, quoted
from checklist.review.baseline import Baseline, freeze
from checklist.review.chart import Chart, Phase, draw
from checklist.review.cusum import Attempt, Plan, trainee
from checklist.review.rehearsal import of_chart
from checklist.review.series import Design, Kind, Point

FROZEN = 20
"""Weeks on which the baseline is frozen."""
DESIGN = Design(kind=Kind.P)
LEARNING = Plan(acceptable=0.10, unacceptable=0.30, alpha=0.1, beta=0.1)
"""What a learner is held to: slips in 10 % of preparations are acceptable, in 30 % they are not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The weekly chart of a unit: the weeks, the first signal from `since` on, and earlier ones.

    Only signals of more refusals count. `after` is how many weeks it took, counting the first one;
    None when there was no signal. `earlier` are the weeks before `since` in which one would have
    been seen. `steady` is the share of years without any change in which this very chart shows
    some signal (rehearsed, seeded).
    """

    unit: str
    weeks: int
    since: str
    signal: str
    after: int | None
    earlier: tuple[str, ...]
    before: float
    since_then: float
    steady: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Learnt:
    """A learner's attempts: how many, the curve, and the share that was not right by thirds."""

    attempts: tuple[Attempt, ...]
    thirds: tuple[float, ...]


def weekly(engine: Engine, unit: str) -> list[Point]:
    """A unit's weeks with the preparations that had a refusal, in the order of time."""
    rows = engine.rows(QUESTIONS["refused-weekly"].sql).dicts()
    return [
        Point(label=row["week"], count=row["refused"], size=row["preparations"])
        for row in rows
        if row["unit"] == unit
    ]


def shift(points: Sequence[Point], unit: str, since: str) -> Found:
    """Watch the chart week by week, as it would have been seen, with its baseline frozen first."""
    frozen = freeze(DESIGN, points[:FROZEN], reason=f"the first {FROZEN} weeks")
    seen: list[str] = []
    for end in range(FROZEN + 1, len(points) + 1):
        if _more(_chart(points[:end], frozen)):
            seen.append(points[end - 1].label)
    later = [each.label for each in points if each.label >= since]
    hit = [label for label in seen if label >= since]
    before = [each for each in points if each.label < since]
    after = [each for each in points if each.label >= since]
    return Found(
        unit=unit,
        weeks=len(points),
        since=since,
        signal=hit[0] if hit else "",
        after=later.index(hit[0]) + 1 if hit else None,
        earlier=tuple(label for label in seen if label < since),
        before=_share(before),
        since_then=_share(after),
        steady=of_chart(_chart(points, frozen), series=400, seed=1).chance,
    )


def _chart(points: Sequence[Point], frozen: Baseline) -> Chart:
    phase = Phase(start=points[0].label, reason=frozen.reason, baseline=frozen)
    return draw(DESIGN, points, [phase])


def _more(chart: Chart) -> bool:
    """Whether a signal of more refusals stands at the last week."""
    last = chart.marks[-1].label
    return any(signal.side > 0 and last in labels for signal, labels in chart.signals)


def _share(points: Sequence[Point]) -> float:
    size = sum(each.size for each in points)
    return sum(each.count for each in points) / size if size else 0.0


def learning(engine: Engine, person: str) -> Learnt:
    """The attempts of one person, given as a pseudonym, in the order of time."""
    rows = engine.rows(
        "SELECT refusals FROM preparations WHERE preparer ="
        f" {quoted(person)} ORDER BY opened_at, preparation"
    ).rows
    right = [not refusals for (refusals,) in rows]
    third = max(len(right) // 3, 1)
    parts = [right[n : n + third] for n in range(0, third * 3, third)] if right else []
    return Learnt(
        attempts=trainee(right, LEARNING) if right else (),
        thirds=tuple(1 - sum(each) / len(each) for each in parts if each),
    )
