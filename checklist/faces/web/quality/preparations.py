"""From a number to its preparations, and from one of them to what happened in it; no person named.

The time of day is left out of the lists: with a roster beside it, it would say who was at work.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from starlette.responses import Response

from checklist.drawing.plot import Bar, Mark, Plot
from checklist.drawing.sheet import Sheet
from checklist.faces import charting
from checklist.faces.charting import Wish
from checklist.faces.leaving import CannotGoOn
from checklist.faces.web.quality import replay
from checklist.faces.web.quality.asking import question_of
from checklist.faces.web.quality.figures import DRAWN, Figures
from checklist.faces.web.quality.page import PROVE, Seat
from checklist.faces.web.quality.wishing import asked, short
from checklist.facts.engine import Engine, quoted
from checklist.permission import Action

MOST = 50
"""How many preparations stand on one page of a list."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """The preparations behind a number: its name, what it says, and the way back to it."""

    title: str
    says: str
    ids: tuple[str, ...]
    wish: Wish
    back: str
    query: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One preparation in a list, with what was found in it."""

    id: str
    day: str
    day_said: str
    unit: str
    container: str
    drug: str
    ending: str
    minutes: str
    found: str


async def listed(seat: Seat) -> Response:
    """The preparations behind a mark or a row of an answer, a page of them at a time."""
    found = await behind(seat)
    number = _number(seat.params.get("page", "1"))
    pages = max(1, -(-len(found.ids) // MOST))
    if not 1 <= number <= pages:
        raise CannotGoOn(f"There is no page {number} of this list. It has {pages}.")
    ids = found.ids[(number - 1) * MOST : number * MOST]
    rows = await seat.figures.once(lambda: rows_of(found.wish, ids))
    words = urlencode([("list", found.query)])
    return seat.page("preparations", found=found, rows=rows, page=number, pages=pages, words=words)


async def behind(seat: Seat) -> Listed:
    """What stands behind the mark or row that an address names. Raises CannotGoOn."""
    of = seat.params.get("of", "")
    if of == "answer":
        return await _behind_answer(seat.figures, seat)
    if of not in DRAWN:
        raise CannotGoOn("An address of this list names a drawing. Come here from a mark.")
    figures = seat.figures
    one = asked(figures, seat.params, of, await figures.known())
    plot = await figures.plot(of, one.wish, one.column)
    mark = short("mark", seat.params.get("mark", ""))
    group = next((each for each in plot.groups if each.key == mark), None)
    if group is None:
        raise CannotGoOn(f"The drawing has no mark {mark!r} now. Look at it again.")
    return Listed(
        title=f"{plot.title}: {group.name}",
        says=_says(plot, mark),
        ids=group.ids,
        wish=one.wish,
        back=one.address,
        query=urlencode([("of", of), *one.pairs, ("mark", mark)]),
    )


async def _behind_answer(figures: Figures, seat: Seat) -> Listed:
    question = question_of(figures, seat.params, await figures.known())
    ids = await figures.of(("ids", question), question.ids)
    narrowed = ", ".join(one.partition("=")[2].replace("_", " ") for one in question.only)
    return Listed(
        title=f"{question.asks} {narrowed}".strip(),
        says="",
        ids=ids,
        wish=question.wish,
        back=question.address,
        query=urlencode([("of", "answer"), *question.pairs]),
    )


def _says(plot: Plot, key: str) -> str:
    marks: list[Mark | Bar] = [*plot.marks, *plot.bars]
    return next((mark.says for mark in marks if mark.key == key), "")


def rows_of(wish: Wish, ids: tuple[str, ...]) -> list[Row]:
    """What the facts say of these preparations, in the order of their days."""
    if not ids:
        return []
    with charting.opened(wish) as engine:
        listed = ", ".join(map(quoted, ids))
        reasons = _reasons(engine, listed)
        made = engine.rows(
            "SELECT preparation, day, unit, container, drug, ending, seconds - away AS spent"
            f" FROM preparations WHERE preparation IN ({listed}) ORDER BY day, preparation"
        ).dicts()
    return [_row(one, reasons.get(one["preparation"], [])) for one in made]


def _row(one: dict[str, Any], reasons: list[str]) -> Row:
    return Row(
        id=one["preparation"],
        day=one["day"],
        day_said=replay.day_said(one["day"]),
        unit=one["unit"],
        container=replay.words(one["container"]),
        drug=one["drug"],
        ending=replay.words(one["ending"]) or "still open",
        minutes=f"{one['spent'] / 60:.0f}",
        found="; ".join(reasons) or "nothing",
    )


def _reasons(engine: Engine, listed: str) -> dict[str, list[str]]:
    rows = engine.rows(
        "SELECT preparation, reason, tier, remedy, fate FROM findings"
        f" WHERE preparation IN ({listed}) ORDER BY preparation, seq"
    ).rows
    found: dict[str, list[str]] = {}
    for preparation, reason, tier, remedy, fate in rows:
        kind = "stop" if tier == "hard" else "caution"
        followed = replay.way(remedy) if remedy else replay.words(fate)
        found.setdefault(preparation, []).append(f"{kind}: {replay.words(reason)}, {followed}")
    return found


def sheet(title: str, rows: list[Row]) -> Sheet:
    """A list of preparations as a sheet to take away."""
    columns = ("preparation", "day", "unit", "container", "drug", "ended", "minutes", "found")
    return Sheet(
        name="Preparations",
        columns=columns,
        rows=tuple(
            (r.id, r.day, r.unit, r.container, r.drug, r.ending, int(r.minutes), r.found)
            for r in rows
        ),
        about=(title,),
    )


async def replayed(seat: Seat) -> Response:
    """What happened in one preparation, told without anybody's code, name or words."""
    id_ = short("the preparation", seat.request.path_params["id"])
    story = await seat.figures.once(lambda: replay.story(seat.figures.usual(), id_))
    here = await seat.desk.read(lambda trail: bool(trail.of(id_)))
    return seat.page(
        "preparation",
        story=story,
        list=short("list", seat.params.get("list", "")),
        for_person=here and seat.may(Action.REVIEW_PERSON),
        provable=here and seat.may(*PROVE),
    )


def _number(text: str) -> int:
    if not text.isdecimal() or len(text) > 6:
        raise CannotGoOn(f"{text[:20]!r} is no number of a page.")
    return int(text)
