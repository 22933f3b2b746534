"""The first page: is the trail whole, what moved, which kinds, which units, how long it took."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from checklist.counted import MEASURES
from checklist.drawing.series_plot import own_rules
from checklist.drawing.sheet import Sheet
from checklist.drawing.wording import figure
from checklist.extra import NeedsExtra
from checklist.faces import charting
from checklist.faces.charting import Wish
from checklist.faces.leaving import CannotGoOn
from checklist.faces.web.quality.figures import Drawn, Figures, folder_said
from checklist.faces.web.quality.page import Seat, Table, figures_of, picture, table
from checklist.faces.web.quality.wishing import Asked, asked, month, word
from checklist.facts import asking
from checklist.report import UNKNOWN
from checklist.review.chart import Chart
from checklist.review.interval import proportion
from checklist.review.series import Kind

GLANCE = ("stopped", "stops", "cautions", "near-misses", "late-stops", "not-given", "breaks")
"""Measures side by side, all counted for each preparation, so that one scale holds for all."""
MOST_REASONS = 5
WIDE, HIGH = 150, 34


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One drawing of the page with what stands beside it; `why` says why there is none."""

    asked: Asked
    title: str
    drawn: Drawn | None = None
    svg: Markup | None = None
    said: str = ""
    beside: Table | None = None
    figures: Table | None = None
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """One measure among several on one scale: what is drawn small, and its last value in words."""

    name: str
    title: str
    n: str
    last: str
    line: str
    signal: str
    points: str
    middle: float


async def overview(seat: Seat) -> Response:
    """What was caught, a control chart first; without facts, how to make some."""
    figures = seat.figures
    if figures.verified is None and not figures.looking.ended:
        figures.look_over()
    entries, origin = await seat.desk.read(lambda trail: (trail.head().seq, trail.origin.id))
    context: dict[str, Any] = {
        "task": figures.bringing,
        "looking": figures.looking,
        "verified": figures.verified,
        "entries": entries,
        "age": figures.age(origin),
        "path": figures.path.name,
        "by_command": folder_said(figures.path),
        "local": seat.desk.ward.unit.local,
    }
    if context["age"] is None:
        return seat.page("without", **context)
    known = await figures.known()
    params = seat.params
    wish = replace(
        figures.usual(),
        unit=word(params, "unit", known.units),
        first=month(params, "from"),
        last=month(params, "to"),
    )
    parts = [
        await _part(figures, "series", wish, _share),
        await _part(figures, "kinds", replace(wish, measure="stops"), _reasons),
        await _part(figures, "units", replace(wish, unit=""), _units),
        await _part(figures, "recovery", replace(wish, measure="stops"), _waits),
    ]
    glance = await figures.of(("glance", wish), lambda: _glance(wish))
    return seat.page(
        "overview", **context, known=known, wish=wish, parts=parts, glance=glance,
        wide=WIDE, high=HIGH, unknown=UNKNOWN, query=asked(figures, params, "series", known).query,
    )  # fmt: skip


async def bring_over(seat: Seat) -> Response:
    """Begin to bring this trail's facts over, and show how far it is."""
    seat.figures.bring_over()
    return RedirectResponse("/quality", 303)


Beside = Callable[[Figures, Wish, Drawn], Awaitable[tuple[str, Table | None]]]


async def _part(figures: Figures, of: str, wish: Wish, beside: Beside) -> Part:
    """A drawing by week, or by month where weeks are too small; a sentence where neither can be."""
    why = ""
    for by in ("week", "month") if of == "series" else ("week",):
        one = Asked(of=of, wish=replace(wish, by=by))
        try:
            drawn = await figures.drawn(of, one.wish)
            said, rows = await beside(figures, one.wish, drawn)
        except NeedsExtra:
            raise
        except (CannotGoOn, ValueError) as fault:
            why = why or str(fault)
            continue
        return Part(
            asked=one, title=drawn.plot.title, drawn=drawn, svg=picture(drawn, one), said=said,
            beside=rows, figures=figures_of(drawn.plot, one),
        )  # fmt: skip
    return Part(asked=Asked(of=of, wish=wish), title=_TITLES[of], why=why)


_TITLES = {
    "series": "Preparations with a stop",
    "kinds": "Stops by reason",
    "units": "Units side by side",
    "recovery": "Time from a stop until it is put right",
}


async def _share(_: Figures, __: Wish, drawn: Drawn) -> tuple[str, Table | None]:
    """The share over the whole stretch with its interval."""
    rows = drawn.plot.sheet.rows
    count, size = (sum(int(float(row[at] or 0)) for row in rows) for at in (1, 2))
    found = proportion(count, size)
    told = [figure(100 * one) for one in (found.estimate, found.low, found.high)]
    return (
        (
            f"Over all that is shown: {count} of {size} preparations, {told[0]} % ({told[1]} to"
            f" {told[2]}, 95 % limits after Wilson)."
        ),
        None,
    )


async def _reasons(figures: Figures, wish: Wish, _: Drawn) -> tuple[str, Table | None]:
    asked_of = await answer(figures, "reasons", wish)
    kept = ("reason", "refusals", "preparations_hit", "preparations", "per_1000", "low", "high")
    return (
        f"The {MOST_REASONS} most frequent, for 1000 preparations, with exact 95 % limits:",
        _chosen(asked_of, kept, MOST_REASONS),
    )


async def _units(figures: Figures, wish: Wish, _: Drawn) -> tuple[str, Table | None]:
    asked_of = await answer(figures, "units", wish)
    kept = ("unit", "refused", "preparations", "people", "percent", "low", "high")
    return "In order of name, with 95 % limits after Wilson:", _chosen(asked_of, kept, None)


async def _waits(_: Figures, __: Wish, drawn: Drawn) -> tuple[str, Table | None]:
    """The share that was put right within ten minutes, with its interval."""
    rows = [r for r in drawn.plot.sheet.rows if r[0] == "put right" and float(r[1] or 0) <= 10]
    if not rows:
        return "", None
    share, low, high = (figure(float(one or 0)) for one in rows[-1][2:5])
    return f"Put right within 10 minutes: {share} % ({low} to {high}, 95 % limits).", None


async def answer(figures: Figures, name: str, wish: Wish) -> asking.Asked:
    """The answer to a question within the same bounds, small cells hidden."""

    def work() -> asking.Asked:
        with charting.opened(wish) as engine:
            return asking.ask(engine, asking.QUESTIONS[name])

    return await figures.of(("answer", name, wish.scope, wish.near_miss), work)


def _chosen(found: asking.Asked, columns: tuple[str, ...], most: int | None) -> Table:
    places = [found.columns.index(name) for name in columns]
    rows = tuple(tuple(row[at] for at in places) for row in found.rows[:most])
    return table(Sheet(name="", columns=columns, rows=rows))


def _glance(wish: Wish) -> list[Glance]:
    """The counted measures, each drawn on the same scale, those that can be shown."""
    found: list[tuple[str, Chart]] = []
    for name in GLANCE:
        for by in ("week", "month"):
            try:
                drawn, _, _ = charting.drawn_of(replace(wish, measure=name, by=by))
            except (CannotGoOn, ValueError):
                continue
            found.append((name, drawn))
            break
    top = max((mark.value for _, drawn in found for mark in drawn.marks), default=0.0) or 1.0
    return [_small(name, drawn, top) for name, drawn in found]


def _small(name: str, drawn: Chart, top: float) -> Glance:
    marks, last = drawn.marks, drawn.marks[-1]
    high = partial(_height, top)
    step = (WIDE - 6) / max(len(marks) - 1, 1)
    own = ", ".join(own_rules(last))
    assert drawn.design.kind in (Kind.P, Kind.U)
    return Glance(
        name=name,
        title=MEASURES[name].title,
        n=figure(sum(mark.size for mark in marks)),
        last=f"{figure(100 * last.value)} in {last.label}",
        line=figure(100 * last.line),
        signal=own or ("signal: earlier points or the series" if drawn.signals else "no signal"),
        points=" ".join(f"{3 + i * step:.1f},{high(mark.value)}" for i, mark in enumerate(marks)),
        middle=float(high(last.line)),
    )


def _height(top: float, value: float) -> str:
    return f"{HIGH - 3 - (HIGH - 6) * value / top:.1f}"
