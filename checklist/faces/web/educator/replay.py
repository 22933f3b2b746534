"""A preparation replayed: the drawing, every entry in its order, and times beside others'."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from checklist.checks import REASONS
from checklist.educator.access import Act
from checklist.educator.story import EARLIER, Compared, Moment, Pace, Story
from checklist.educator.watch import NOT_SO, Watch
from checklist.faces import retelling
from checklist.faces.leaving import CannotGoOn
from checklist.faces.study import Study, every_watch, worded
from checklist.faces.watching import unfinished
from checklist.faces.web.educator.room import Room
from checklist.faces.web.educator.timeline import KEY, Kind, Lane, Mark, Timeline, drawn
from checklist.people import StaffMember
from checklist.permission import Action, may
from checklist.preparation import CLOSED, Entry
from checklist.screen import told as reason_told
from checklist.timing import said_date

BAR = 180
"""How wide the longest time at a step is drawn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One entry in words, with its mark."""

    mark: Mark
    time: str
    since: str
    took: str
    by: str
    step: str
    what: str
    reasons: tuple[str, ...]
    lands: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """The time at one step beside others', all on one scale; pairs are a start and a length."""

    step: str
    seconds: str
    tries: int
    unit: str
    own: str
    needed: str
    long: float
    unit_half: tuple[float, float] | None
    own_half: tuple[float, float] | None
    needed_at: float | None
    asked: bool
    slow: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """What the page holds; `at` is the entry that is looked at, counted from 1."""

    story: Story
    verified: str
    summed_up: str
    day: str
    workflow: str
    timeline: Timeline
    lines: tuple[Line, ...]
    at: int
    next_mark: int
    last_mark: int
    bars: tuple[Bar, ...]
    units: str
    own: str
    watches: tuple[Watch, ...]
    hidden: int
    whole: str


async def shown(room: Room, request: Request, person: StaffMember) -> Response:
    """The page of one preparation, at one of its entries."""
    id_, asked = request.path_params["id"], request.query_params.get("at", "")
    number = int(asked) if asked.isdecimal() and len(asked) < 7 else 0
    found = await room.look(request, person, lambda at: replayed(at, id_, number))
    return room.desk.page(
        request,
        "educator/replay.html",
        replay=found,
        key=KEY,
        Lane=Lane,
        Kind=Kind,
        retelling=retelling,
        worded=worded,
        not_so=NOT_SO,
        bar=BAR,
        observes=may(person, Action.OBSERVE) and person.code != found.story.person,
        coaches=may(person, Action.REVIEW_PERSON),
    )


def entries_of(at: Study, id_: str) -> tuple[Entry, ...]:
    """The entries of a preparation that this person may see. Raises CannotGoOn, NotForYou."""
    entries = at.trail.of(id_)
    if not id_ or not entries:
        raise CannotGoOn(f"There is no preparation {id_[:40]!r} in this trail. Look for it again.")
    at.allow(Act.SEE, entries[0].event.by, id_)
    return entries


def replayed(at: Study, id_: str, number: int) -> Replay:
    """Everything that the page of a preparation holds."""
    entries = entries_of(at, id_)
    story, beside = retelling.told(at, id_)
    workflow = at.rules(entries).workflow
    timeline = drawn(story, workflow)
    titles = {step.name: step.ask.rstrip(".") for step in workflow.steps}
    lines = tuple(_lines(at, story, timeline, titles))
    number = min(max(number, 1), len(lines))
    marked = [one.mark.number for one in lines if one.mark.name]
    with at.kept() as kept:
        every = [one for one in every_watch(kept) if one.about == id_]
    # Whoever is still observing looks apart: what others saw is shown once they are done.
    apart = unfinished(every, id_, at.person.code) is not None
    visible = tuple(one for one in every if not apart or one.observer == at.person.code)
    opened = at.local(story.opened)
    return Replay(
        story=story,
        verified=at.verified,
        summed_up=retelling.summed_up(story),
        day=f"{said_date(opened.date())} {opened:%H:%M}",
        workflow=f"{workflow.name.replace('_', ' ')}, version {entries[0].event.body['version']}",
        timeline=timeline,
        lines=lines,
        at=number,
        next_mark=next((n for n in marked if n > number), 0),
        last_mark=next((n for n in reversed(marked) if n < number), 0),
        bars=tuple(_bars(story, beside)),
        units=retelling.of_the_units(beside),
        own=(
            ""
            if any(one.own for one in beside)
            else f"Own earlier ones: fewer than {EARLIER}, so none are shown."
        ),
        watches=visible,
        hidden=len(every) - len(visible),
        whole=span(story.moments[-1].since),
    )


def _lines(at: Study, story: Story, timeline: Timeline, titles: dict[str, str]) -> Iterator[Line]:
    before = 0
    for one, mark in zip(story.moments, timeline.marks, strict=True):
        # From whole second to whole second, so that what is shown adds up to what is shown.
        before, took = round(one.since), round(one.since) - before
        local = at.local(one.at)
        yield Line(
            mark=mark,
            time=f"{local:%H:%M:%S}",
            since=span(one.since),
            took=span(took),
            by=one.by,
            step=titles.get(one.step, worded(one.step)),
            what=retelling.what(one),
            reasons=tuple(_reasons(one)),
            lands=titles.get(one.lands, worded(one.lands)) if one.back else "",
        )


def _reasons(one: Moment) -> Iterator[str]:
    for told in one.body.get("reasons", []):
        if told["code"] in REASONS:
            yield reason_told(told["code"], told["tier"], told["facts"]).found


def _bars(story: Story, beside: Sequence[Compared]) -> Iterator[Bar]:
    asked = {step for one in story.too_fast for step in one.steps}
    most = max(
        (
            max(one.stay.seconds, *(pace.high for pace in (one.unit, one.own) if pace))
            if one.unit or one.own
            else one.stay.seconds
            for one in beside
        ),
        default=1.0,
    )
    scale = BAR / (most or 1.0)

    def half(pace: Pace | None) -> tuple[float, float] | None:
        return (pace.low * scale, (pace.high - pace.low) * scale) if pace else None

    for one in beside:
        needed = one.stay.shortest * max(one.stay.passes, 1)
        yield Bar(
            step=worded(one.stay.step),
            seconds=f"{one.stay.seconds:.0f}",
            tries=one.stay.tries,
            unit=retelling.of_pace(one.unit),
            own=retelling.of_pace(one.own),
            needed=f"{needed}" if needed else "",
            long=one.stay.seconds * scale,
            unit_half=half(one.unit),
            own_half=half(one.own),
            needed_at=min(needed * scale, BAR) if needed else None,
            asked=one.stay.step in asked,
            slow=bool(one.unit and one.stay.seconds > one.unit.high),
        )


def ended(story: Story) -> bool:
    """Whether the preparation has come to its end."""
    return story.ending in CLOSED


def span(seconds: float) -> str:
    """Minutes and seconds as people say them: "2 min 05 s"."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes:02d} min {rest:02d} s"
    return f"{minutes} min {rest:02d} s" if minutes else f"{rest} s"
