"""A person's way to competence: the curve with everything assumed, and the decision."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from checklist.drawing import picture, progress_plot
from checklist.drawing.plot import Plot
from checklist.educator.access import Act
from checklist.educator.competence import LASTS, OUTCOMES, Decision, NotDecided, standing
from checklist.educator.counsel import plan_said
from checklist.educator.progress import ALL, USUAL, Progress
from checklist.educator.watch import NOT_SO, Watch
from checklist.extra import NeedsExtra
from checklist.faces.coached import attempts_of, headed, verdict
from checklist.faces.leaving import CannotGoOn
from checklist.faces.study import Study, every_decision, every_watch, worded
from checklist.faces.watching import decide
from checklist.faces.web.educator.room import Room
from checklist.people import StaffMember
from checklist.permission import Action, may
from checklist.review.cusum import Plan
from checklist.timing import said_date
from checklist.trail import Trail

MOST_NAMED = 50
"""The longest code of a person or container that is looked for."""
_MARK = re.compile(r'href="#attempt-([0-9]+)"')
_PLAN = ("acceptable", "unacceptable", "alpha", "beta")


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What the page holds; `progress` is None where the person has ended no preparation yet."""

    person: str
    container: str
    containers: tuple[str, ...]
    steps: tuple[str, ...]
    progress: Progress | None
    nothing: str
    lines: tuple[str, ...]
    drawing: Markup | None
    undrawn: str
    described: str
    watches: tuple[Watch, ...]
    standing: Decision | None
    verified: str


async def shown(room: Room, request: Request, person: StaffMember) -> Response:
    """The page of one person with one container."""
    return await _page(room, request, person)


async def decided(room: Room, request: Request, person: StaffMember) -> Response:
    """Record a decision on the person's competence, resting on the observations named."""
    code = request.path_params["person"]
    form = await request.form()
    container = str(form.get("container", ""))
    outcome, on = str(form.get("outcome", "")), [str(one) for one in form.getlist("on")]

    def may_decide(at: Study) -> date:
        at.allow(Act.DECIDE, code)
        if code not in at.ward.staff:
            raise CannotGoOn(f"No member of staff of this unit has the code {code[:MOST_NAMED]!r}.")
        if container not in _containers(at, code):
            raise CannotGoOn(f"{code} has prepared nothing with {container[:MOST_NAMED]!r} here.")
        return at.today

    today = await room.look(request, person, may_decide)
    stamped = room.stamped(person)
    try:
        if outcome not in OUTCOMES:
            raise NotDecided("Choose what was decided; nothing is chosen beforehand.")
        until = _day(str(form.get("until", "")).strip()) or today + LASTS

        def keep(kept: Trail) -> str:
            return decide(kept, stamped, code, container, outcome, on, until)

        await room.note(keep)
    except NotDecided as fault:
        return await _page(room, request, person, container=container, error=str(fault))
    query = urlencode({"container": container})
    return RedirectResponse(f"/review/progress/{code}?{query}#decision", 303)


async def _page(
    room: Room, request: Request, person: StaffMember, *, container: str = "", error: str = ""
) -> Response:
    code, asked = request.path_params["person"], request.query_params
    wanted = container or asked.get("container", "")
    plan, step, every = _plan(asked), asked.get("step", ""), "every" in asked
    page = await room.look(
        request,
        person,
        lambda at: _read(at, code, wanted[:MOST_NAMED], step[:MOST_NAMED], plan, every=every),
    )
    today = room.desk.ward.unit.local(room.desk.clock()).date()
    return room.desk.page(
        request,
        "educator/progress.html",
        status=422 if error else 200,
        page=page,
        plan=plan,
        step=step,
        every=every,
        error=error,
        decides=may(person, Action.OBSERVE) and person.code != code,
        coaches=may(person, Action.REVIEW_PERSON),
        outcomes=OUTCOMES,
        until=today + LASTS,
        not_so=NOT_SO,
        all=ALL,
        worded=worded,
        said_date=said_date,
        local=room.desk.ward.unit.local,
        plan_said=plan_said,
        headed=headed,
    )


def _read(at: Study, code: str, container: str, step: str, plan: Plan, *, every: bool) -> Page:
    at.allow(Act.SEE, code)
    if code not in at.ward.staff:
        raise CannotGoOn(f"No member of staff of this unit has the code {code[:MOST_NAMED]!r}.")
    known = _containers(at, code)
    chosen = container or (known[0] if known else "")
    progress, nothing = None, ""
    try:
        progress = attempts_of([at], code, chosen, step, plan, every=every)
    except CannotGoOn as fault:
        nothing = str(fault)
        if container and known and container not in (ALL, *known):
            raise
    with at.kept() as kept:
        watches = [one for one in every_watch(kept) if one.person == code and one.finished]
        decisions = [one for one in every_decision(kept) if one.person == code]
    drawing, undrawn, described = _drawn(progress) if progress else (None, "", "")
    return Page(
        person=code,
        container=chosen,
        containers=known,
        steps=_steps(progress),
        progress=progress,
        nothing=nothing,
        lines=tuple(verdict(progress)) if progress else (),
        drawing=drawing,
        undrawn=undrawn,
        described=described,
        watches=tuple(one for one in reversed(watches) if one.container == chosen),
        standing=standing(decisions).get((code, chosen)),
        verified=at.verified,
    )


def _containers(at: Study, code: str) -> tuple[str, ...]:
    """What the person has prepared from, by name."""
    own = {one.id for one in at.trail.preparations() if one.opened_by == code}
    found = ((name, at.trail.opened_with(name)) for name in at.trail.containers())
    return tuple(name for name, ids in found if not own.isdisjoint(ids))


def _steps(progress: Progress | None) -> tuple[str, ...]:
    return tuple(one.step for one in progress.repeated) if progress else ()


def _drawn(progress: Progress) -> tuple[Markup | None, str, str]:
    """The curve as a picture whose marks lead to the replays; else why there is none."""
    plot: Plot = progress_plot.plotted(
        "Learning curve",
        progress.right,
        progress.curve,
        progress.plan,
        ids=progress.ids,
        dates=progress.dates,
    )
    bare = replace(plot, title="", about=(), notes=(), foot=())
    try:
        svg = picture.svg(bare)
    except NeedsExtra as fault:
        return None, str(fault), plot.described

    def to_replay(found: re.Match[str]) -> str:
        return f'href="/review/{progress.ids[int(found[1]) - 1]}"'

    return Markup(_MARK.sub(to_replay, svg)), "", plot.described


def _plan(asked: object) -> Plan:
    """The plan of the address, the usual where it says nothing. Raises Unusable."""
    given = {}
    for name in _PLAN:
        text = str(asked.get(name, "")) if hasattr(asked, "get") else ""
        given[name] = _share(text, getattr(USUAL, name))
    return Plan(**given)


def _share(text: str, usual: float) -> float:
    """A percentage as a share; the usual where none is written. Raises CannotGoOn."""
    if not text.strip():
        return usual
    if not re.fullmatch(r"[0-9]{1,2}(\.[0-9]{1,2})?", text.strip()):
        raise CannotGoOn(f"{text[:20]!r} is no percentage. Write it like 10 or 2.5.")
    return float(text) / 100


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as fault:
        raise NotDecided(f"{text[:20]!r} is no day. Write it like 2027-11-25.") from fault
