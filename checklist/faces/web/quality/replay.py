"""One preparation as the facts tell it: steps, stops, ways out, breaks, second persons, no person.

It is made of facts alone, so that it reads the same for every trail that was brought over, and so
that no code, name or typed word of anybody can stand in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from checklist.checks import REASONS
from checklist.engine import GO_ON
from checklist.faces import charting
from checklist.faces.charting import Wish
from checklist.faces.leaving import CannotGoOn
from checklist.facts.engine import Engine, quoted
from checklist.review.small_cell import Cell, shown
from checklist.timing import said_date
from checklist.verdict import REMEDY_WORDS, Remedy

WHOSE = {"preparer": "preparer", "checker": "second person", "witness": "witness"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A reason that stood there: stop or caution, its code in words, why, and what followed."""

    tier: str
    reason: str
    why: str
    followed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One thing that happened: `since` the opening, by which role, at which step.

    `what` is "kept", "stop", "caution" or "break"; `seconds` what it took, `least` what hands
    need, "" where that is not known, `middle` the unit's middle half, "" where too few are known.
    """

    number: int
    since: str
    role: str
    step: str
    what: str
    said: str
    seconds: str
    least: str
    middle: str
    fast: bool
    found: tuple[Found, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """A preparation as it is replayed where people do not count."""

    id: str
    day: str
    unit: str
    container: str
    drug: str
    ending: str
    because: str
    spent: str
    away: str
    entries: int
    stops: int
    cautions: int
    moments: tuple[Moment, ...]
    others: int


def story(wish: Wish, id_: str) -> Story:
    """The story of a preparation. Raises CannotGoOn where the facts do not hold it."""
    with charting.opened(wish) as engine:
        rows = _of(engine, "preparations", id_)
        if not rows:
            raise CannotGoOn(
                f"The facts hold no preparation {id_[:40]!r}. If it was made since they were"
                " brought over, bring them over again."
            )
        made = rows[0]
        steps, breaks = _of(engine, "steps", id_), _of(engine, "breaks", id_)
        findings, releases = _of(engine, "findings", id_), _of(engine, "releases", id_)
        halves, others = _halves(engine, made)
    opened = datetime.fromisoformat(made["opened_at"])
    told = sorted([*steps, *breaks], key=lambda row: row["seq"])
    return Story(
        id=id_,
        day=day_said(made["day"]),
        unit=made["unit"],
        container=words(made["container"]),
        drug=made["drug"],
        ending=words(made["ending"]) or "still open",
        because=words(made["ended_because"]),
        spent=span(made["seconds"] - made["away"]),
        away=span(made["away"]) if made["away"] else "",
        entries=int(made["entries"]),
        stops=int(made["refusals"]),
        cautions=int(made["cautions"]),
        moments=tuple(
            _moment(number, row, opened, findings, releases, halves)
            for number, row in enumerate(told, 1)
        ),
        others=others,
    )


def _moment(
    number: int,
    row: Mapping[str, Any],
    opened: datetime,
    findings: Sequence[Mapping[str, Any]],
    releases: Sequence[Mapping[str, Any]],
    halves: Mapping[str, str],
) -> Moment:
    since = span((datetime.fromisoformat(row["at"]) - opened).total_seconds())
    step = words(row["step"]) + (f" ({row['item']})" if row.get("item") else "")
    if "cause" in row:
        away = "nobody came back" if row["away"] is None else f"{span(row['away'])} away"
        critical = ", at a critical step" if row["critical"] else ""
        return Moment(
            number=number, since=since, role="", step=step, what="break",
            said=f"{words(row['cause'])}, {away}{critical}", seconds="", least="", middle="",
            fast=False,
        )  # fmt: skip
    what = {"passed": "kept", "cautioned": "caution"}.get(row["outcome"], "stop")
    found = tuple(_found(one, releases) for one in findings if one["seq"] == row["seq"])
    tries = f", try {row['attempt']}" if row["attempt"] > 1 else ""
    again = ", after a break" if row["after_break"] else ""
    return Moment(
        number=number,
        since=since,
        role=WHOSE.get(row["who"], "preparer"),
        step=step,
        what=what,
        said=f"{what}{tries}{again}",
        seconds=f"{row['seconds']:.0f}",
        least=str(row["shortest"]) if row["shortest"] else "",
        middle=halves.get(row["step"], "") if not row["side"] else "",
        fast=bool(what == "kept" and row["shortest"] and row["seconds"] < row["shortest"]),
        found=found,
    )


def _found(one: Mapping[str, Any], releases: Sequence[Mapping[str, Any]]) -> Found:
    followed = {
        "recovered": "put right", "released": "gone past with a reason", "given": "the dose was in",
        "discarded": "ended: discarded", "abandoned": "ended: abandoned", "open": "still open",
    }.get(one["fate"], words(one["fate"]))  # fmt: skip
    if one["remedy"]:
        followed = f"way out: {way(one['remedy'])}; {followed}"
    because = [r["because"] for r in releases if r["reason"] == one["reason"]]
    if one["fate"] == "released" and because:
        followed = f"{followed}: {GO_ON.get(because[-1], words(because[-1]))}"
    wait = f", after {span(one['wait'])}" if one["wait"] is not None else ""
    reason = REASONS.get(one["reason"])
    return Found(
        tier="STOP" if one["tier"] == "hard" else "CAUTION",
        reason=words(one["reason"]),
        why=reason.why if reason else "",
        followed=followed + wait,
    )


def _of(engine: Engine, table: str, id_: str) -> list[dict[str, Any]]:
    order = " ORDER BY seq" if table != "preparations" else ""
    sql = f"SELECT * FROM {table} WHERE preparation = {quoted(id_)}{order}"
    return engine.rows(sql).dicts()


def _halves(engine: Engine, made: Mapping[str, Any]) -> tuple[dict[str, str], int]:
    """The middle half of the seconds at each step, by others' preparations of this container.

    A step that too few people or preparations stand behind has none.
    """
    rows = engine.rows(
        "SELECT steps.step AS step, percentile(steps.seconds, 0.25) AS low,"
        " percentile(steps.seconds, 0.75) AS high, count(DISTINCT steps.preparation) AS made,"
        " count(DISTINCT preparations.preparer) AS people FROM steps JOIN preparations"
        " ON preparations.preparation = steps.preparation WHERE steps.side = ''"
        f" AND steps.container = {quoted(made['container'])}"
        f" AND steps.unit = {quoted(made['unit'])}"
        f" AND preparations.preparer <> {quoted(made['preparer'])} GROUP BY steps.step"
    ).dicts()
    kept = [
        one for one in rows if shown(Cell(people=int(one["people"]), preparations=int(one["made"])))
    ]
    halves = {one["step"]: f"{one['low']:.0f} to {one['high']:.0f}" for one in kept}
    return halves, max((int(one["made"]) for one in kept), default=0)


def way(remedy: str) -> str:
    """A way out in words, one of an older program's by its own name."""
    return REMEDY_WORDS[Remedy(remedy)] if remedy in list(Remedy) else words(remedy)


def day_said(day: str) -> str:
    """A day of the facts ("2026-11-25") in words that cannot be mistaken."""
    return said_date(date.fromisoformat(day))


def words(name: str) -> str:
    """A name of the code as words."""
    return name.replace("_", " ")


def span(seconds: float) -> str:
    """A time in words that people use."""
    whole = round(seconds)
    return f"{whole} s" if whole < 60 else f"{whole // 60} min {whole % 60:02d} s"
