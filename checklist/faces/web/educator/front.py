"""The front of looking back: what is under way, what is due, and preparations to look at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import quote, urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from checklist.educator.access import Act
from checklist.educator.competence import NOT_YET, Decision, Due, due, standing
from checklist.faces.study import Study, every_decision, every_watch, worded
from checklist.faces.web.educator.room import Room
from checklist.faces.workplace import preparation_of
from checklist.facts.row import Facts
from checklist.people import StaffMember
from checklist.permission import Action, may
from checklist.preparation import CLOSED
from checklist.timing import said_date
from checklist.trail import Listed

A_PAGE = 25
"""How many preparations stand on one page."""
SOON = 90
"""So many days ahead what is due is listed; the rest is a press away. Common practice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One preparation in the list: counts are of this preparation alone and rank nobody."""

    id: str
    day: str
    time: str
    person: str
    container: str
    ending: str
    stops: int
    cautions: int
    breaks: int
    observed: int
    own: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DueRow:
    """What one person has to renew by one day, decided by one person or by the staff file."""

    until: date
    days: int
    person: str
    what: tuple[str, ...]
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Front:
    """What the front page holds."""

    verified: str
    open: tuple[Row, ...]
    rows: tuple[Row, ...]
    number: int
    pages: int
    due: tuple[DueRow, ...]
    later: int
    not_yet: tuple[Decision, ...]
    people: tuple[str, ...]
    containers: tuple[str, ...]


async def shown(room: Room, request: Request, person: StaffMember) -> Response:
    """The list, or the way on to what was looked for."""
    asked = request.query_params
    if named := asked.get("find", "").strip():
        found = await room.look(request, person, lambda at: _found(at, named))
        return RedirectResponse(f"/review/{quote(found, safe='')}", 303)
    educator = may(person, Action.REVIEW_PERSON)
    whose = asked.get("person", "") if educator else person.code
    container, every = asked.get("container", ""), "all" in asked
    number = int(asked["page"]) if asked.get("page", "").isdecimal() else 1
    front = await room.look(
        request,
        person,
        lambda at: _front(at, whose, container, min(number, 100_000), every=every),
    )
    kept = {k: v for k, v in (("person", whose), ("container", container)) if v}
    return room.desk.page(
        request,
        "educator/front.html",
        front=front,
        educator=educator,
        whose=whose,
        container=container,
        query=urlencode(kept),
        worded=worded,
        said_date=said_date,
        local=room.desk.ward.unit.local,
        soon=SOON,
    )


def _found(at: Study, named: str) -> str:
    listed = preparation_of(at.trail, named)
    at.allow(Act.SEE, listed.opened_by, listed.id)
    return listed.id


def _front(at: Study, whose: str, container: str, number: int, *, every: bool) -> Front:
    at.allow(Act.SEE, whose)
    listed = [one for one in at.trail.preparations() if whose in ("", one.opened_by)]
    if container:
        wanted = set(at.trail.opened_with(container))
        listed = [one for one in listed if one.id in wanted]
    ended = [one for one in reversed(listed) if one.place in CLOSED]
    open_ = [one for one in reversed(listed) if one.place not in CLOSED]
    pages = max(1, -(-len(ended) // A_PAGE))
    number = min(max(number, 1), pages)
    some = ended[(number - 1) * A_PAGE : number * A_PAGE]
    with at.kept() as kept:
        watched = [one.about for one in every_watch(kept)]
        decisions = every_decision(kept)
    rows = due(decisions, at.ward.staff, at.today)
    mine = tuple(one for one in rows if whose in ("", one.person) and container in ("", one.what))
    near = tuple(one for one in mine if every or one.days <= SOON)
    return Front(
        verified=at.verified,
        open=_rows(at, open_, watched),
        rows=_rows(at, some, watched),
        number=number,
        pages=pages,
        due=tuple(_together(near)),
        later=len(mine) - len(near),
        not_yet=tuple(
            one
            for one in standing(decisions).values()
            if one.outcome == NOT_YET and whose in ("", one.person)
        ),
        people=tuple(sorted({one.opened_by for one in at.trail.preparations()})),
        containers=at.trail.containers(),
    )


def _together(rows: Sequence[Due]) -> Iterator[DueRow]:
    """One row for a person and a day, in the order of days."""
    found: dict[tuple[date, str, str], list[Due]] = {}
    for one in rows:
        found.setdefault((one.until, one.person, one.by), []).append(one)
    for (until, person, by), same in found.items():
        what = tuple(one.what for one in same)
        yield DueRow(until=until, days=same[0].days, person=person, what=what, by=by)


def _rows(at: Study, listed: Sequence[Listed], watched: Sequence[str]) -> tuple[Row, ...]:
    facts = at.facts_of([one.id for one in listed])
    return tuple(
        _row(at, one, found, watched.count(one.id))
        for one, found in zip(listed, facts, strict=True)
    )


def _row(at: Study, one: Listed, found: Facts, observed: int) -> Row:
    opened = at.local(one.opened_at)
    return Row(
        id=one.id,
        day=said_date(opened.date()),
        time=f"{opened:%H:%M}",
        person=one.opened_by,
        container=found.preparation.container,
        ending=found.preparation.ending,
        stops=found.preparation.refusals,
        cautions=found.preparation.cautions,
        breaks=found.preparation.breaks,
        observed=observed,
        own=one.opened_by == at.person.code,
    )
