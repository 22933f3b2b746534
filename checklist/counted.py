"""Facts as points of a chart, each with the preparations behind it; for counts, never for doses.

One SQL text for both engines. A point that rests on too few people or preparations is told apart
and never given its figures.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType

from checklist.facts.engine import Engine, quoted
from checklist.review.series import Kind, Point
from checklist.review.small_cell import Cell, shown

PERIODS = ("week", "month")
_HARD, _SOFT = "tier = 'hard'", "tier = 'soft'"


@dataclass(frozen=True, slots=True, kw_only=True)
class Counting:
    """What can be charted: its title and words, the usual chart, and where its events are.

    An event is a row of the table `source` for which `where` holds; with `once` a preparation
    counts one, however many it has. `value` is SQL for one value a period, in `unit`, in place of
    a count.
    """

    title: str
    events_are: str
    kind: Kind
    source: str = "found"
    where: str = "1 = 1"
    once: bool = False
    value: str = ""
    unit: str = ""


MEASURES: Mapping[str, Counting] = MappingProxyType(
    {
        "stopped": Counting(
            title="Preparations with a stop", events_are="with a stop", kind=Kind.P,
            where=_HARD, once=True,
        ),
        "stops": Counting(title="Stops", events_are="stops", kind=Kind.U, where=_HARD),
        "cautions": Counting(title="Cautions", events_are="cautions", kind=Kind.U, where=_SOFT),
        "near-misses": Counting(
            title="Near misses", events_are="near misses", kind=Kind.U, where="near_miss = 1"
        ),
        "late-stops": Counting(
            title="Stops found late", events_are="late stops", kind=Kind.U,
            where=f"{_HARD} AND late = 'late'",
        ),
        "not-given": Counting(
            title="Preparations ended without giving", events_are="not given", kind=Kind.P,
            source="preparations", where="ending IN ('discarded', 'abandoned')", once=True,
        ),
        "breaks": Counting(
            title="Interruptions", events_are="interruptions", kind=Kind.U, source="breaks"
        ),
        "minutes": Counting(
            title="Time for a preparation, middle value", events_are="preparations",
            kind=Kind.XMR, source="preparations", where="ending <> ''",
            value="percentile(seconds - away, 0.5) / 60.0", unit="minutes",
        ),
        "recovery": Counting(
            title="Time from a stop until it is put right, middle value", events_are="stops",
            kind=Kind.XMR, where=f"{_HARD} AND fate = 'recovered'",
            value="percentile(wait, 0.5)", unit="seconds",
        ),
    }
)  # fmt: skip
"""The measures by the names that are typed."""

FILTERS = ("reason", "hazard", "step", "drug_class")
"""Columns of a finding that a measure can be narrowed by."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """Points in order of time with the preparations of each, and what could not be shown.

    `hidden` are the labels of points too small to show; `people` and `preparations` are those
    behind the whole series.
    """

    points: tuple[Point, ...]
    ids: Mapping[str, tuple[str, ...]]
    hidden: tuple[str, ...]


def series(
    engine: Engine, measure: Counting, *, by: str, only: Mapping[str, str] | None = None
) -> Counted:
    """One point for each week or month (`by`) that has preparations.

    `only` narrows findings by FILTERS. The size is the number of preparations, 1 for a value.
    """
    assert by in PERIODS, by
    where = condition(measure, only or {})
    sizes = engine.rows(
        f"SELECT {by}, count(*), count(DISTINCT preparer) FROM preparations"
        f" GROUP BY {by} ORDER BY {by}"
    ).rows
    listed = engine.rows(
        f"SELECT {by}, preparation, count(*) FROM {measure.source} WHERE {where}"
        f" GROUP BY {by}, preparation ORDER BY {by}, preparation"
    ).rows
    ids: dict[str, list[str]] = {}
    counts: dict[str, int] = {}
    for label, preparation, count in listed:
        ids.setdefault(label, []).append(preparation)
        counts[label] = counts.get(label, 0) + (1 if measure.once else int(count))
    values = _values(engine, measure, by, where)
    points, hidden = [], []
    for label, size, people in sizes:
        if not shown(Cell(people=int(people), preparations=int(size))):
            hidden.append(str(label))
        elif not measure.value:
            points.append(Point(label=label, count=counts.get(label, 0), size=int(size)))
        elif values.get(label) is not None:
            points.append(Point(label=label, count=values[label]))
    return Counted(
        points=tuple(points),
        ids={point.label: tuple(ids.get(point.label, ())) for point in points},
        hidden=tuple(hidden),
    )


def between(
    engine: Engine, measure: Counting, *, in_time: bool, only: Mapping[str, str] | None = None
) -> tuple[Counted, int]:
    """What lies between events: preparations (each counts its event), or days where `in_time`.

    With it the open gap: how many preparations since the last event. All is hidden where the whole
    series rests on too few.
    """
    where = condition(measure, only or {})
    rows = engine.rows(
        "SELECT preparations.preparation, preparations.opened_at, preparations.preparer,"
        f" CASE WHEN hit.preparation IS NULL THEN 0 ELSE 1 END FROM preparations LEFT JOIN"
        f" (SELECT DISTINCT preparation FROM {measure.source} WHERE {where}) AS hit"
        " ON hit.preparation = preparations.preparation"
        " ORDER BY preparations.opened_at, preparations.preparation"
    ).rows
    people = len({row[2] for row in rows})
    if not shown(Cell(people=people, preparations=len(rows))):
        return Counted(points=(), ids={}, hidden=("the whole series",)), 0
    points: list[Point] = []
    ids: dict[str, tuple[str, ...]] = {}
    gap, last, seen = 0, "", 0
    for preparation, opened, _, hit in rows:
        gap += 1
        if not hit:
            continue
        seen += 1
        label = f"{opened[:10]} no. {seen}"
        count = _days(last, opened) if in_time else float(gap)
        if (last or not in_time) and count > 0:
            points.append(Point(label=label, count=count))
            ids[label] = (preparation,)
        gap, last = 0, opened
    return Counted(points=tuple(points), ids=ids, hidden=()), gap


def by_column(
    engine: Engine, measure: Counting, column: str, *, only: Mapping[str, str] | None = None
) -> tuple[dict[str, int], dict[str, tuple[str, ...]]]:
    """How many events each value of a column has, and their preparations."""
    where = condition(measure, only or {})
    rows = engine.rows(
        f"SELECT {column}, preparation, count(*) FROM {measure.source} WHERE {where}"
        f" GROUP BY {column}, preparation ORDER BY {column}, preparation"
    ).rows
    counts: dict[str, int] = {}
    ids: dict[str, list[str]] = {}
    for name, preparation, count in rows:
        word = str(name) or "none"
        counts[word] = counts.get(word, 0) + (1 if measure.once else int(count))
        ids.setdefault(word, []).append(preparation)
    return counts, {word: tuple(found) for word, found in ids.items()}


def sizes_of(engine: Engine, column: str) -> dict[str, Cell]:
    """How many preparations and people stand behind each value of a column of preparations."""
    rows = engine.rows(
        f"SELECT {column}, count(*), count(DISTINCT preparer) FROM preparations"
        f" GROUP BY {column} ORDER BY {column}"
    ).rows
    return {str(name): Cell(people=int(p), preparations=int(n)) for name, n, p in rows}


def new_rules(engine: Engine, by: str) -> tuple[tuple[str, str], ...]:
    """The periods in which a workflow came in another version, each with what is new there.

    The digest of the rules does not tell, since it differs from order to order by the traits; so a
    workflow whose text was changed under the same version is not seen here.
    """
    rows = engine.rows(
        f"SELECT workflow, version, min({by}) AS since FROM preparations"
        " GROUP BY workflow, version ORDER BY since, workflow, version"
    ).rows
    known: set[str] = set()
    found: dict[str, list[str]] = {}
    for workflow, version, since in rows:
        if workflow in known:
            found.setdefault(str(since), []).append(f"{workflow} {version}")
        known.add(workflow)
    return tuple((since, f"new rules: {', '.join(what)}") for since, what in found.items())


def condition(measure: Counting, only: Mapping[str, str]) -> str:
    """The events of a measure as SQL over its source, narrowed by values of FILTERS."""
    parts = [measure.where]
    for column, value in only.items():
        assert column in FILTERS, column
        parts.append(f"{column} = {quoted(value)}")
    return " AND ".join(parts)


def _values(engine: Engine, measure: Counting, by: str, where: str) -> dict[str, float]:
    if not measure.value:
        return {}
    sql = f"SELECT {by}, {measure.value} FROM {measure.source} WHERE {where} GROUP BY {by}"
    rows: Sequence[tuple[str, float | None]] = engine.rows(sql).rows
    return {label: float(value) for label, value in rows if value is not None}


def _days(earlier: str, later: str) -> float:
    """The time between two moments of the facts, in days; 0 where there is no earlier one."""
    if not earlier:
        return 0.0
    return (datetime.fromisoformat(later) - datetime.fromisoformat(earlier)).total_seconds() / 86400
