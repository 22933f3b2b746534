"""The talk afterwards, the learner first, and the one-page sheet that comes of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from checklist.educator.access import Act
from checklist.educator.watch import (
    LEARNERS,
    NOT_SO,
    OBSERVERS,
    SKIPPED,
    WORDS,
    NotObserved,
    Watch,
)
from checklist.faces.coached import sheet_of
from checklist.faces.leaving import CannotGoOn
from checklist.faces.study import Study, every_watch
from checklist.faces.watching import say_words
from checklist.faces.web.educator.replay import entries_of
from checklist.faces.web.educator.room import Room
from checklist.people import StaffMember
from checklist.permission import Action, may
from checklist.review.feedback import Sheet
from checklist.trail import Trail
from checklist.workflow import Technique

REASONS = ("called back to work", "wants to think about it first", "prefers to talk without notes")
"""Why a learner says nothing, offered beside words of one's own."""
LONGEST = 2_000
"""Characters of one text: more than anybody writes standing up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Talk:
    """What the page holds. `words` are the texts that are there; `seat` is who sits here:
    "observer", "learner", or "" for another reader.
    """

    watch: Watch
    words: Mapping[str, str]
    seat: str
    figures: tuple[str, ...]
    missed: tuple[Technique, ...]


async def shown(room: Room, request: Request, person: StaffMember) -> Response:
    """The page of the talk about one observation."""
    return await _page(room, request, person)


async def said(room: Room, request: Request, person: StaffMember) -> Response:
    """Keep the words of one column; the observer's are taken only once the learner's are there."""
    id_ = request.path_params["id"]
    talk = await room.look(request, person, lambda at: _talk(at, id_, request))
    form = await request.form()
    column = str(form.get("column", ""))
    wanted = {"learner": LEARNERS, "skipped": (SKIPPED,), "observer": OBSERVERS}.get(column)
    if wanted is None:
        raise NotObserved("Nothing was sent that could be kept. Go back and press one button.")
    words = {name: _text(form, name) for name in wanted}
    if column == "skipped" and str(form.get("why", "")) in REASONS:
        words[SKIPPED] = str(form["why"])
    if column == "observer":
        return await _observers(room, request, person, talk, words, _text(form, "due"))
    if not any(text.strip() for text in words.values()):
        what = "a reason" if column == "skipped" else "at least one line"
        return await _page(room, request, person, error=f"Nothing is written yet. Write {what}.")
    await room.note(_keeping(talk.watch.id, room, person, words))
    return _back(id_, talk.watch)


async def _observers(
    room: Room,
    request: Request,
    person: StaffMember,
    talk: Talk,
    words: Mapping[str, str],
    day: str,
) -> Response:
    if not talk.watch.learner_heard:
        return await _page(
            room,
            request,
            person,
            error="The learner speaks first. Save the learner's words, or why there are none.",
        )
    try:
        due = date.fromisoformat(day) if day else None
    except ValueError:
        return await _page(
            room,
            request,
            person,
            error=f"{day[:40]!r} is no day. Write it like 2026-12-09.",
            typed=words,
        )
    if due and not words["next_step"].strip():
        return await _page(
            room,
            request,
            person,
            error="There is a day and nothing to do by it. Write the one change.",
            typed=words,
        )
    try:
        await room.note(_keeping(talk.watch.id, room, person, words, due=due, finish=True))
    except NotObserved as fault:
        return await _page(room, request, person, error=str(fault), typed=words)
    return RedirectResponse(f"/review/feedback/{talk.watch.about}", 303)


def _keeping(
    id_: str,
    room: Room,
    person: StaffMember,
    words: Mapping[str, str],
    *,
    due: date | None = None,
    finish: bool = False,
) -> Callable[[Trail], Watch]:
    """The act that keeps words of an observation."""
    stamped = room.stamped(person)
    return lambda kept: say_words(kept, id_, stamped, words, due=due, finish=finish)


async def sheet(room: Room, request: Request, person: StaffMember) -> Response:
    """One page for the person and their educator, on the screen and on paper."""
    about, asked = request.path_params["about"], request.query_params
    container, names = asked.get("container", ""), "names" in asked

    def read(at: Study) -> tuple[Sheet, bool]:
        if about not in at.ward.staff:
            entries_of(at, about)
        with at.kept() as kept:
            observed = any(one.about == about for one in every_watch(kept))
        return sheet_of(at, about, container, names=names), observed

    made, observed = await room.look(request, person, read)
    return room.desk.page(
        request,
        "educator/sheet.html",
        sheet=made,
        about=about,
        of_person=about in room.desk.ward.staff,
        observed=observed,
        container=container,
        names=names,
        coaches=may(person, Action.REVIEW_PERSON),
    )


async def _page(
    room: Room,
    request: Request,
    person: StaffMember,
    *,
    error: str = "",
    typed: Mapping[str, str] | None = None,
) -> Response:
    id_ = request.path_params["id"]
    talk = await room.look(request, person, lambda at: _talk(at, id_, request))
    return room.desk.page(
        request,
        "educator/talk.html",
        status=422 if error else 200,
        talk=talk,
        error=error,
        typed={**dict.fromkeys(WORDS, ""), **talk.words, **(typed or {})},
        labels=WORDS,
        learners=LEARNERS,
        skipped=SKIPPED,
        observers=OBSERVERS,
        reasons=REASONS,
        longest=LONGEST,
    )


def _talk(at: Study, id_: str, request: Request) -> Talk:
    entries = entries_of(at, id_)
    preparer = entries[0].event.by
    with at.kept() as kept:
        every = [one for one in every_watch(kept) if one.about == id_]
        watch = _meant(every, request.query_params.get("of", ""), at.person.code, preparer)
        found = {name: kept.unsealed(ref) if kept else None for name, ref in watch.words.items()}
    if at.person.code not in (watch.observer, watch.person):
        at.allow(Act.SEE, watch.person, id_)
    seat = {watch.observer: "observer", watch.person: "learner"}.get(at.person.code, "")
    heard = watch.learner_heard
    return Talk(
        watch=watch,
        words={
            name: text if text is not None else "(this text was erased)"
            for name, text in found.items()
            # The learner does not read the observer's words before their own are there.
            if heard or name not in OBSERVERS
        },
        seat=seat,
        figures=sheet_of(at, id_, "", names=False).figures if heard else (),
        missed=watch.answered(NOT_SO, critical=True),
    )


def _meant(every: Sequence[Watch], named: str, by: str, preparer: str) -> Watch:
    """The observation whose talk this is: the named one, one's own newest, or the newest."""
    fitting = [one for one in every if one.id == named] if named else list(every)
    own = [one for one in fitting if one.observer == by]
    if own or fitting:
        return (own or fitting)[-1]
    raise CannotGoOn(
        f"Nobody has observed this preparation of {preparer} yet. Observe it first; then talk."
    )


def _back(id_: str, watch: Watch) -> Response:
    return RedirectResponse(f"/review/feedback/{id_}/talk?of={watch.id}", 303)


def _text(form: Mapping[str, object], name: str) -> str:
    text = str(form.get(name, "")).replace("\r\n", "\n").strip()
    if len(text) > LONGEST:
        raise NotObserved(
            f"One text has {len(text)} characters; {LONGEST} are taken. Nothing was kept: go back"
            " and make it shorter."
        )
    return text
