"""Questions that take a method and not a table alone: shifts, workload, trainees, sessions.

People are told apart here, since their preparations are alike, and never shown.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from checklist.facts.engine import Answer, Engine, quoted
from checklist.review.clustered import DRAWS, Cluster, Clustered, ratio
from checklist.review.comparison import paired_change
from checklist.review.cusum import Plan, Standing, trainee
from checklist.review.poisson_regression import Cell, fit
from checklist.review.small_cell import TOO_FEW, Floor, shown
from checklist.review.small_cell import Cell as Small
from checklist.review.survival import Spell, kaplan_meier
from checklist.review.unusable import Unusable

SHIFT = (
    "CASE WHEN hour >= 7 AND hour < 14 THEN 'early' WHEN hour >= 14 AND hour < 21 THEN 'late'"
    " ELSE 'night' END"
)
"""Hours of shifts are common practice, no source; the same as the label `shift`."""
PLAN = Plan(acceptable=0.10, unacceptable=0.20, alpha=0.10, beta=0.10)
"""What trainees are held to, as `review progress` does where nothing else is said."""
MOST_BREAKS = 4
CAUSES = ("break", "other preparation in that hour")
WARN = 0.20
"""A share of the work by one person from which limits hang on that person. Common practice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Worked:
    """A table that was worked out, with sentences on how to read it."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Modelled:
    """A question with a name that can be typed; `ids` is SQL, with {day} where a day is asked."""

    name: str
    numbers: tuple[int, ...]
    asks: str
    work: Callable[[Engine, Floor, str], Worked]
    ids: str
    of_a_day: bool = False


# -- 10: shifts and weekdays -----------------------------------------------------------------------


def _shifts(engine: Engine, floor: Floor, _day: str) -> Worked:
    """Each shift and weekday beside all the others, limits by drawing whole nurses again."""
    rows: list[tuple[Any, ...]] = []
    large, narrow = 0.0, 0
    for kind, key in (("shift", SHIFT), ("weekday", "weekday")):
        counts = engine.rows(
            f"SELECT {key} AS part, preparer, sum(refusals) AS stops, count(*) AS made"
            " FROM preparations GROUP BY 1, 2 ORDER BY 1, 2"
        ).dicts()
        for part in sorted({row["part"] for row in counts}):
            people = _beside(counts, part)
            cell = Small(
                people=sum(one.first_exposure > 0 for one in people),
                preparations=int(sum(one.first_exposure for one in people)),
            )
            if not shown(cell, floor):
                rows.append((kind, part, TOO_FEW, None, None, None, None, None))
                continue
            found = _ratio(people)
            stops = sum(one.first for one in people)
            if isinstance(found, str):
                rows.append((kind, part, stops, cell.preparations, cell.people, found, None, None))
                continue
            large, narrow = max(large, found.largest), min(narrow or found.people, found.people)
            told = tuple(round(value, 2) for value in (found.ratio, found.low, found.high))
            rows.append((kind, part, stops, cell.preparations, cell.people, *told))
    notes = [
        (
            "ratio: stops for each preparation, over those of all other shifts or weekdays;"
            f" weekday 1 is Monday. 95 % limits from {DRAWS} draws of whole nurses, since"
            " preparations of one nurse are alike."
        ),
        "Limits that hold 1 say that no difference was shown. One in twenty misses 1 by chance.",
    ]
    if large > WARN:
        notes.append(
            f"One person did {100 * large:.0f} % of the work: what is seen may be that person's."
        )
    if narrow and narrow < 20:
        notes.append(f"With {narrow} people the limits are rather too narrow.")
    return Worked(columns=_RATIO, rows=tuple(rows), notes=tuple(notes))


_RATIO = ("by", "part", "stops", "preparations", "people", "ratio", "low", "high")


def _ratio(people: Sequence[Cluster]) -> Clustered | str:
    try:
        return ratio(people)
    except Unusable:
        return "no ratio"


def _beside(counts: Sequence[Mapping[str, Any]], part: object) -> list[Cluster]:
    own: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for row in counts:
        at = 0 if row["part"] == part else 2
        own[row["preparer"]][at] += int(row["stops"])
        own[row["preparer"]][at + 1] += int(row["made"])
    return [
        Cluster(first=a, first_exposure=b, second=c, second_exposure=d)
        for _, (a, b, c, d) in sorted(own.items())
    ]


# -- 20: interruptions and workload ----------------------------------------------------------------


def _workload(engine: Engine, floor: Floor, _day: str) -> Worked:
    """Refusals by breaks and by preparations begun in the same hour of the unit."""
    rows = engine.rows(
        "WITH load AS (SELECT unit, day, hour, count(*) AS made FROM preparations"
        " GROUP BY unit, day, hour), each_one AS (SELECT p.preparer, p.refusals,"
        f" CASE WHEN p.breaks > {MOST_BREAKS} THEN {MOST_BREAKS} ELSE p.breaks END AS breaks,"
        " load.made - 1 AS others FROM preparations AS p JOIN load ON load.unit = p.unit"
        " AND load.day = p.day AND load.hour = p.hour) SELECT preparer, breaks, others,"
        " sum(refusals) AS stops, count(*) AS made FROM each_one"
        " GROUP BY preparer, breaks, others ORDER BY preparer, breaks, others"
    ).dicts()
    cells = [
        Cell(
            events=int(row["stops"]),
            exposure=float(row["made"]),
            causes=(float(row["breaks"]), float(row["others"])),
            person=str(row["preparer"]),
        )
        for row in rows
    ]
    columns = ("one more", "times", "low", "high", "p", "stops", "preparations", "people")
    made, people = sum(int(row["made"]) for row in rows), len({one.person for one in cells})
    if not shown(Small(people=people, preparations=made), floor):
        return Worked(columns=columns, rows=((TOO_FEW, *[None] * 7),))
    # What is the same for all has no factor: a ward where one dose is prepared at a time.
    apart = [n for n in range(len(CAUSES)) if len({one.causes[n] for one in cells}) > 1]
    found = fit([replace(one, causes=tuple(one.causes[n] for n in apart)) for one in cells])
    names = [CAUSES[n] for n in apart]
    told = [
        (
            name, round(one.times, 3), round(one.low, 3), round(one.high, 3),
            float(f"{one.p_value:.2g}"), found.events, made, people,
        )
        for name, one in zip(names, found.factors, strict=True)
    ]  # fmt: skip
    return Worked(
        columns=columns,
        rows=tuple(told),
        notes=(
            (
                "times: what stops are multiplied by for one more, the other held as it is (Poisson"
                " regression on log preparations; 95 % limits robust to nurses being unlike)."
            ),
            (
                f"{MOST_BREAKS} breaks or more count as {MOST_BREAKS}. Breaks come more often in"
                " long preparations, and a stop makes one long: this shows what goes together,"
                " not why."
            ),
        ),
    )


# -- 33: how many attempts competence takes --------------------------------------------------------


def _competence(engine: Engine, floor: Floor, _day: str) -> Worked:
    """New people's attempts until the CUSUM calls them competent; who is not there yet is open."""
    rows = engine.rows(
        "WITH units AS (SELECT unit, min(month) AS begun FROM preparations GROUP BY unit),"
        " own AS (SELECT unit, preparer, min(month) AS begun FROM preparations"
        " GROUP BY unit, preparer), missed AS (SELECT DISTINCT preparation FROM found"
        " WHERE tier = 'hard' AND caught_by = 'comparison')"
        " SELECT p.unit, p.preparer, CASE WHEN m.preparation IS NULL THEN 1 ELSE 0 END AS fine"
        " FROM preparations AS p JOIN own ON own.unit = p.unit AND own.preparer = p.preparer"
        " JOIN units ON units.unit = p.unit LEFT JOIN missed AS m ON m.preparation = p.preparation"
        " WHERE own.begun > units.begun AND p.ending <> ''"
        " ORDER BY p.unit, p.preparer, p.opened_at, p.preparation"
    ).rows
    attempts: dict[tuple[str, str], list[bool]] = defaultdict(list)
    for unit, person, fine in rows:
        attempts[(unit, person)].append(bool(fine))
    spells = []
    for series in attempts.values():
        reached = [a.reached is Standing.COMPETENT for a in trainee(series, PLAN)]
        there = reached.index(True) + 1 if True in reached else None
        spells.append(Spell(time=there or len(series), ending="competent" if there else None))
    columns = ("attempts", "competent_percent", "low", "high", "still_learning", "trainees")
    notes = (
        (
            "A trainee is one whose first preparation is of a later month than the unit's first. An"
            " attempt is right when no comparison stopped it. Competent: the line of the CUSUM with"
            f" {100 * PLAN.acceptable:.0f} % acceptable, {100 * PLAN.unacceptable:.0f} % not, risks"
            f" {PLAN.alpha:g} and {PLAN.beta:g}; at least {PLAN.fewest} right in a row. Who left or"
            " is not there yet counts up to their last attempt (Kaplan-Meier, 95 % limits)."
        ),
    )
    if not shown(Small(people=len(spells), preparations=len(rows)), floor):
        known = f"{len(spells)} trainees here; from {floor.people} on this is shown."
        return Worked(columns=columns, rows=((TOO_FEW, *[None] * 5),), notes=(known, *notes))
    curve = kaplan_meier(spells)
    told = [
        (
            int(rung.time), round(100 * (1 - rung.height), 1), round(100 * (1 - rung.high), 1),
            round(100 * (1 - rung.low), 1), rung.waiting - rung.endings, len(spells),
        )
        for rung in curve.rungs
    ]  # fmt: skip
    half = curve.quantile(0.5)
    middle = (
        f"Half are competent by attempt {half:.0f}." if half else "Fewer than half are there yet."
    )
    return Worked(columns=columns, rows=tuple(told), notes=(middle, *notes))


# -- 37: whether a session helped ------------------------------------------------------------------


def _session(engine: Engine, floor: Floor, day: str) -> Worked:
    """The same people before a day and from it on: the pairs nearest to it, and all of it."""
    rows = engine.rows(
        f"SELECT preparer, CASE WHEN day < {quoted(day)} THEN 0 ELSE 1 END AS after, refusals"
        " FROM preparations WHERE ending <> '' ORDER BY opened_at, preparation"
    ).rows
    series: dict[str, tuple[list[int], list[int]]] = defaultdict(lambda: ([], []))
    for person, after, refusals in rows:
        series[person][int(after)].append(int(refusals))
    both = [one for one in series.values() if one[0] and one[1]]
    columns = ("same people", "before", "after", "change", "low", "high", "p")
    made = sum(len(before) + len(after) for before, after in both)
    if not shown(Small(people=len(both), preparations=made), floor):
        return Worked(columns=columns, rows=((TOO_FEW, *[None] * 6),))
    worse = sum(not before[-1] and bool(after[0]) for before, after in both)
    better = sum(bool(before[-1]) and not after[0] for before, after in both)
    try:
        chance: float | None = float(f"{paired_change(better, worse):.3g}")
    except Unusable:
        chance = None
    people = [
        Cluster(
            first=sum(map(bool, after)),
            first_exposure=len(after),
            second=sum(map(bool, before)),
            second_exposure=len(before),
        )
        for before, after in both
    ]
    found = _ratio(people)
    shares = [
        round(100 * sum(map(bool, part)) / len(part), 1)
        for part in ([b for one in both for b in one[n]] for n in (0, 1))
    ]
    limits = (
        (found, None, None)
        if isinstance(found, str)
        else tuple(round(value, 2) for value in (found.ratio, found.low, found.high))
    )
    return Worked(
        columns=columns,
        rows=(
            (f"{len(both)}: last one before, first one after, with a stop",
             sum(bool(b[-1]) for b, _ in both), sum(bool(a[0]) for _, a in both), worse - better,
             None, None, chance),
            (f"{len(both)}: percent of their preparations with a stop", *shares, *limits, None),
        ),
        notes=(
            (f"First row: {better} people had a stop before only, {worse} after only; the others"
            " say nothing (McNemar, exact P). Second row: change is the share after over that"
            f" before, 95 % limits from {DRAWS} draws of whole people."),
            ("The day has to be chosen before the numbers are seen. Others may have changed as"
            " well: look at the chart of a unit without a session."),
        ),
    )  # fmt: skip


MODELLED: Mapping[str, Modelled] = MappingProxyType(
    {
        each.name: each
        for each in (
            Modelled(
                name="shift-ratios",
                numbers=(10,),
                asks="Is one shift or weekday different from the others, nurse by nurse?",
                work=_shifts,
                ids=f"SELECT {SHIFT} AS shift, weekday, preparation FROM preparations"
                " WHERE refusals > 0 ORDER BY 1, 2, 3",
            ),
            Modelled(
                name="workload",
                numbers=(20,),
                asks="Do stops rise with interruptions or with workload?",
                work=_workload,
                ids="SELECT breaks, preparation FROM preparations WHERE refusals > 0 ORDER BY 1, 2",
            ),
            Modelled(
                name="competence",
                numbers=(33,),
                asks="How many attempts does it take new people to be competent here?",
                work=_competence,
                ids="SELECT p.unit, p.preparation FROM preparations AS p JOIN (SELECT unit,"
                " min(month) AS begun FROM preparations GROUP BY unit) AS u ON u.unit = p.unit"
                " JOIN (SELECT unit, preparer, min(month) AS begun FROM preparations"
                " GROUP BY unit, preparer) AS own ON own.unit = p.unit"
                " AND own.preparer = p.preparer WHERE own.begun > u.begun AND p.ending <> ''"
                " ORDER BY 1, 2",
            ),
            Modelled(
                name="session",
                numbers=(37,),
                asks="Did a session help the same people? Needs --day.",
                work=_session,
                ids="SELECT CASE WHEN day < {day} THEN 'before' ELSE 'after' END AS part,"
                " preparation FROM preparations WHERE refusals > 0 AND ending <> '' ORDER BY 1, 2",
                of_a_day=True,
            ),
        )
    }
)
"""The questions that take a method, by name."""


def ids(engine: Engine, question: Modelled, worked: Worked, day: str) -> Answer:
    """The preparations behind the answer; none where it is too small to be shown."""
    found = engine.rows(question.ids.replace("{day}", quoted(day)))
    hidden = all(TOO_FEW in row for row in worked.rows)
    return Answer(columns=found.columns, rows=() if hidden else found.rows)
