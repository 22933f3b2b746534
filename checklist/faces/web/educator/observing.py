"""The observation form: marks kept as they are made, a phase at a time, beside the nurse."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from checklist.educator.access import Act
from checklist.educator.watch import (
    ANSWERS,
    NOT_SO,
    Answer,
    NotObserved,
    Watch,
)
from checklist.faces.study import Study, every_watch
from checklist.faces.watching import answer, taken_up, unfinished
from checklist.faces.web.educator.replay import entries_of, span
from checklist.faces.web.educator.room import Room
from checklist.people import StaffMember
from checklist.preparation import CLOSED, ITEM, Entry
from checklist.trail import Trail
from checklist.workflow import Technique, Workflow

OTHER = "other"
"""The phase of items whose step is in no phase, such as the account of opened items."""
ON_A_SCREEN = 6
"""Most items of one phase on one screen, so that nobody scrolls beside the nurse. Headings of more
phases take room from it; a phase that alone has more stands alone."""
SLIP = (
    "pressed the wrong mark",
    "seen later on",
    "looked at again with the person",
    "took the item for another one",
)
"""Reasons to correct a mark, offered beside words of one's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One line to mark: its answer so far, with the remark's text where there is one."""

    name: str
    say: str
    phase: str
    critical: bool
    word: str
    remarked: bool
    corrected: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What stands on one screen: the items of a phase, or of some short ones in a row.

    `phases` are their names, `name` is the first of them; `short` is the title of one of them that
    no part before has.
    """

    phases: tuple[str, ...]
    short: str
    items: tuple[Item, ...]

    @property
    def name(self) -> str:
        """What the part is called in an address."""
        return self.phases[0]

    @property
    def title(self) -> str:
        """The titles of its phases, each once."""
        return ", ".join(dict.fromkeys(one.phase for one in self.items))

    @property
    def left(self) -> int:
        """How many have no mark yet."""
        return sum(not one.word for one in self.items)


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """Where the preparation stands: what its step asks, its phase, and for how long."""

    turn: int
    ask: str
    phase: str
    stands: str
    since: str
    ended: str

    @property
    def said(self) -> str:
        """One line that says it."""
        if self.ended:
            return f"The preparation has ended: {self.ended}."
        return f"Now: {self.ask}{f' ({self.stands})' if self.stands else ''}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """What the form holds; `watch` is None until the observation was begun."""

    id: str
    preparer: str
    container: str
    workflow: str
    watch: Watch | None
    others: int
    parts: tuple[Part, ...]
    now: Now
    verified: str


async def shown(room: Room, request: Request, person: StaffMember) -> Response:
    """The form at one phase: the one asked for, where the nurse is, or the first with a gap."""
    return await _page(room, request, person)


async def marked(room: Room, request: Request, person: StaffMember) -> Response:
    """Begin the observation, or keep one mark of it; then back to the form."""
    id_ = request.path_params["id"]
    form = await request.form()
    entries, workflow = await room.look(request, person, lambda at: _begun_under(at, id_))
    stamped = room.stamped(person)
    name, word, phase = (str(form.get(one, "")) for one in ("item", "answer", "phase"))
    remark, because = str(form.get("remark", "")), str(form.get("because", ""))
    because = because if because in SLIP else str(form.get("words", ""))

    def keep(kept: Trail) -> str:
        watch = taken_up(kept, entries, workflow, stamped)
        if not name:
            return ""
        known = watch.answers.get(name)
        if known is not None and known.word == word and not remark.strip():
            return ""
        if known is not None and not because.strip():
            return name
        answer(kept, watch.id, stamped, {name: (word, remark)}, because=because)
        return ""

    if name and name not in {one.name for one in workflow.observe}:
        raise NotObserved(f"{name[:40]!r} is no item of this workflow. Nothing was kept.")
    if name and word not in ANSWERS:
        raise NotObserved(f"{word[:40]!r} is no mark. There are: {', '.join(ANSWERS)}.")
    to_correct = await room.note(keep)
    if to_correct:
        return await _page(room, request, person, phase=phase, correct=to_correct, word=word)
    query = f"?{urlencode({'phase': phase})}" if phase else ""
    place = f"#item-{name}" if name.isidentifier() else ""
    return RedirectResponse(f"/review/{id_}/observe{query}{place}", 303)


async def now(room: Room, request: Request, person: StaffMember) -> Response:
    """Where the preparation stands, for the script that follows it."""
    id_ = request.path_params["id"]

    def read(at: Study) -> Now:
        entries = _observed(at, id_)
        return _now(at, entries, at.rules(entries).workflow)

    found = await room.look(request, person, read)
    return JSONResponse({"turn": found.turn, "phase": found.phase, "said": found.said})


async def _page(
    room: Room,
    request: Request,
    person: StaffMember,
    *,
    phase: str = "",
    correct: str = "",
    word: str = "",
) -> Response:
    id_ = request.path_params["id"]
    form = await room.look(request, person, lambda at: _form(at, id_))
    wanted = phase or request.query_params.get("phase", "")
    part = _chosen(form, wanted)
    place = form.parts.index(part) if part else 0
    return room.desk.page(
        request,
        "educator/observe.html",
        status=422 if correct else 200,
        form=form,
        part=part,
        after=form.parts[place + 1] if place + 1 < len(form.parts) else None,
        remark=request.query_params.get("remark", ""),
        correct=correct,
        word=word,
        answers=ANSWERS,
        not_so=NOT_SO,
        slips=SLIP,
    )


def _chosen(form: Form, wanted: str) -> Part | None:
    """The part asked for; else where the nurse is; else the first with something left."""
    by_name = {name: one for one in form.parts for name in one.phases}
    if wanted in by_name:
        return by_name[wanted]
    if not form.now.ended and form.now.phase in by_name:
        return by_name[form.now.phase]
    return next((one for one in form.parts if one.left), form.parts[0] if form.parts else None)


def _observed(at: Study, id_: str) -> tuple[Entry, ...]:
    """The entries of a preparation that this person may observe."""
    entries = entries_of(at, id_)
    at.allow(Act.OBSERVE, entries[0].event.by, id_)
    return entries


def _begun_under(at: Study, id_: str) -> tuple[tuple[Entry, ...], Workflow]:
    entries = _observed(at, id_)
    return entries, at.rules(entries).workflow


def _form(at: Study, id_: str) -> Form:
    entries = _observed(at, id_)
    workflow = at.rules(entries).workflow
    with at.kept() as kept:
        every = [one for one in every_watch(kept) if one.about == id_]
    own = [one for one in every if one.observer == at.person.code]
    watch = unfinished(every, id_, at.person.code) or (own[-1] if own else None)
    items = watch.items if watch else workflow.observe
    return Form(
        id=id_,
        preparer=entries[0].event.by,
        container=entries[0].event.body["container"].replace("_", " "),
        workflow=f"version {entries[0].event.body['version']}",
        watch=watch,
        others=len({one.observer for one in every} - {at.person.code}),
        parts=tuple(parts_of(items, watch, workflow)),
        now=_now(at, entries, workflow),
        verified=at.verified,
    )


def parts_of(items: Sequence[Technique], watch: Watch | None, workflow: Workflow) -> Iterator[Part]:
    """The items in the order of the phases, as many phases to a screen as it has room for."""
    phases = _phases(workflow)
    known = {step for _, _, steps in phases for step in steps}
    phases.append((OTHER, "Other", {one.step for one in items} - known))
    names: tuple[str, ...] = ()
    found: tuple[Item, ...] = ()
    shorts: list[str] = []
    for name, title, steps in phases:
        own = tuple(_item(one, title, watch) for one in items if one.step in steps)
        if found and own and _tall((*found, *own)) > ON_A_SCREEN + 0.5:
            yield _part(names, found, shorts)
            names, found = (), ()
        if own or names:
            names, found = (*names, name), (*found, *own)
    if found:
        yield _part(names, found, shorts)


def _phases(workflow: Workflow) -> list[tuple[str, str, set[str]]]:
    """A key, the title and the steps of each phase; one that comes for each item says which."""
    found: list[tuple[str, str, set[str]]] = []
    for number, phase in enumerate(workflow.phases):
        steps = {step.name for step in phase.steps}
        item = next((one.partition(ITEM)[2] for one in sorted(steps) if ITEM in one), "")
        again = any(key == phase.name for key, _, _ in found)
        key = f"{phase.name}-{number}" if again else phase.name
        found.append((key, f"{phase.title} ({item})" if item else phase.title, steps))
    return found


def _part(names: tuple[str, ...], items: tuple[Item, ...], shorts: list[str]) -> Part:
    titles = [one.phase for one in items]
    same = sum(one.partition(" ")[0] == titles[0] for one in shorts)
    short = next((one for one in titles if one not in shorts), f"{titles[0]} {same + 1}")
    shorts.append(short)
    return Part(phases=names, short=short, items=items)


def _tall(items: Sequence[Item]) -> float:
    """How much room items take, a heading being half as tall as an item."""
    return len(items) + len({one.phase for one in items}) / 2


def _item(one: Technique, phase: str, watch: Watch | None) -> Item:
    found: Answer | None = watch.answers.get(one.name) if watch else None
    return Item(
        name=one.name,
        say=one.say,
        phase=phase,
        critical=one.critical,
        word=found.word if found else "",
        remarked=bool(found and found.remark),
        corrected=found.corrected if found else 0,
    )


_STANDS = {
    "refused": "stopped",
    "caution": "at a caution",
    "interrupted": "interrupted",
    "reverify": "coming back",
}


def _now(at: Study, entries: Sequence[Entry], workflow: Workflow) -> Now:
    last = entries[-1].event
    step, _, ends = last.lands.partition("/")
    asks = {one.name: one.ask for one in workflow.steps}
    phases = {one: key for key, _, steps in _phases(workflow) for one in steps}
    closed = step in CLOSED
    words = [_STANDS[end] for end in ends.split("/") if end in _STANDS]
    return Now(
        turn=last.turn,
        ask=asks.get(step, step.replace("_", " ")),
        phase=phases.get(step, ""),
        stands=", ".join(words),
        since=span(max((at.clock() - last.at).total_seconds(), 0.0)),
        ended=step if closed else "",
    )
