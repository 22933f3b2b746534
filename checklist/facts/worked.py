"""Questions whose answer is worked out from several numbers: before and after, gaps, sizes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from checklist.facts.engine import Engine, quoted
from checklist.review.baseline import freeze
from checklist.review.chart import since_last
from checklist.review.comparison import RateRatio, rate_ratio
from checklist.review.interval import Interval, proportion, tries_for_width, tries_without_event
from checklist.review.series import Bounds, Design, Kind, Point
from checklist.review.two_source import TwoSource, chapman


@dataclass(frozen=True, slots=True, kw_only=True)
class BeforeAfter:
    """Refusals and preparations before a day and from it on, with the ratio of their rates."""

    before: tuple[int, int]
    after: tuple[int, int]
    ratio: RateRatio


def before_after(engine: Engine, day: str) -> BeforeAfter:
    """Whether the rate of refusals changed on a day (question 4). Raises Unusable for no data."""
    rows = engine.rows(
        f"SELECT CASE WHEN day < {quoted(day)} THEN 0 ELSE 1 END AS part, sum(refusals), count(*)"
        " FROM preparations GROUP BY 1"
    ).rows
    found = {int(part): (int(stops), int(made)) for part, stops, made in rows}
    before, after = found.get(0, (0, 0)), found.get(1, (0, 0))
    return BeforeAfter(
        before=before, after=after, ratio=rate_ratio(after[0], after[1], before[0], before[1])
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaps:
    """Preparations from one event to the next: the id of each event, its gap with the event.

    `open` is the gap since the last event, `high` the exact limit above which it would be a signal
    (from the gaps seen, frozen), None for fewer than two gaps.
    """

    events: tuple[tuple[str, int], ...]
    open: int
    high: float | None
    signal: bool


def gaps(engine: Engine, reasons: Sequence[str]) -> Gaps:
    """How many preparations lie between refusals for these reasons (questions 11 and 12)."""
    listed = ", ".join(map(quoted, reasons))
    rows = engine.rows(
        "SELECT p.preparation, max(CASE WHEN f.preparation IS NULL THEN 0 ELSE 1 END) AS hit"
        " FROM preparations AS p LEFT JOIN (SELECT preparation FROM findings"
        f" WHERE tier = 'hard' AND reason IN ({listed})) AS f ON f.preparation = p.preparation"
        " GROUP BY p.preparation, p.opened_at ORDER BY p.opened_at, p.preparation"
    ).rows
    events, since = [], 0
    for preparation, hit in rows:
        since += 1
        if hit:
            events.append((str(preparation), since))
            since = 0
    high, signal = None, False
    if len(events) >= 2:
        points = [Point(label=id_, count=gap) for id_, gap in events]
        frozen = freeze(Design(kind=Kind.G, bounds=Bounds.EXACT), points, reason="all gaps seen")
        judged = since_last(frozen, since)
        high, signal = judged.high, judged.signal
    return Gaps(events=tuple(events), open=since, high=high, signal=signal)


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditSize:
    """How many preparations to observe: for an interval so wide, or to show that a share is low."""

    for_width: int
    without_event: int


def audit_size(expected: float, half_width: float) -> AuditSize:
    """How many preparations to audit for a share thought likely (question 28)."""
    return AuditSize(
        for_width=tries_for_width(expected, half_width), without_event=tries_without_event(expected)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Linked:
    """Incident reports beside near misses: how many of each, how many are both, all by Chapman."""

    near_misses: int
    reports: int
    both: int
    share: Interval
    all: TwoSource


def reports(engine: Engine, reported: Sequence[str]) -> Linked:
    """Do incident reports match near misses (question 21)? A lower bound, never a target."""
    found = {
        id_
        for (id_,) in engine.rows("SELECT DISTINCT preparation FROM found WHERE near_miss = 1").rows
    }
    named = set(reported)
    both = len(found & named)
    return Linked(
        near_misses=len(found),
        reports=len(named),
        both=both,
        share=proportion(both, len(found)),
        all=chapman(len(found), len(named), both),
    )


def judged_right(judged: Mapping[str, bool]) -> Interval:
    """Of refusals that people judged, the share that was right (question 23), by Wilson."""
    return proportion(sum(judged.values()), len(judged))
