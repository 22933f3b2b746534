"""An observation taken up and gone on with, whichever face the observer stands at."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date

from checklist.educator.competence import COMPETENT, decided
from checklist.educator.watch import (
    AFTER,
    DURING,
    NotObserved,
    Watch,
    answered,
    begun,
    said,
    watch_of,
)
from checklist.engine import Stamp
from checklist.faces.leaving import CannotGoOn
from checklist.faces.study import every_watch, signed, watch_named
from checklist.faces.workplace import new_id
from checklist.preparation import CLOSED, Entry, Event
from checklist.review.feedback import said as said_day
from checklist.trail import SealedText, Trail, TurnTaken
from checklist.workflow import Workflow

TRIES = 3
"""How often an entry is proposed anew when another one of the same observation came before it."""
Stamped = Callable[[], Stamp]
"""Makes what the next entry carries: who, when, and an id of its own."""
_Proposed = tuple[Event, tuple[SealedText, ...]]


def unfinished(every: Iterable[Watch], id_: str, observer: str) -> Watch | None:
    """This observer's observation of a preparation that is not complete, if there is one."""
    mine = (one for one in every if one.about == id_ and one.observer == observer)
    return next((one for one in mine if not one.finished), None)


def taken_up(kept: Trail, entries: Sequence[Entry], workflow: Workflow, stamped: Stamped) -> Watch:
    """The observation to go on with: this person's unfinished one of the preparation, or new.

    `entries` are those of the preparation and `workflow` the one it was begun under. Raises
    CannotGoOn where that names nothing to observe.
    """
    first, last, stamp = entries[0].event, entries[-1], stamped()
    if found := unfinished(every_watch(kept), first.preparation, stamp.by):
        return found
    if not workflow.observe:
        raise CannotGoOn(
            f"The workflow {workflow.name} under which this was prepared names nothing to observe."
            " Add `[[observe]]` tables to its file; they hold for preparations begun from then on."
        )
    event = begun(
        new_id(),
        last,
        person=first.by,
        container=first.body["container"],
        workflow=workflow.digest,
        items=workflow.observe,
        when=AFTER if last.event.lands in CLOSED else DURING,
        stamp=stamp,
    )
    kept.append(event)
    return again(kept, event.preparation)


def again(kept: Trail, id_: str) -> Watch:
    """The observation with this id as it stands now. Raises CannotGoOn when there is none."""
    watch = watch_of(kept.of(id_))
    if watch is None:
        raise CannotGoOn(f"There is no observation {id_[:12]!r} beside this trail.")
    return watch


def answer(
    kept: Trail,
    id_: str,
    stamped: Stamped,
    answers: Mapping[str, tuple[str, str]],
    *,
    because: str = "",
) -> Watch:
    """Record answers, item to word and remark, and give the observation with them."""
    return _kept(
        kept, id_, lambda watch: answered(watch, answers, stamped(), new_id, because=because)
    )


def say_words(
    kept: Trail,
    id_: str,
    stamped: Stamped,
    words: Mapping[str, str],
    *,
    due: date | None = None,
    finish: bool = False,
) -> Watch:
    """Record words of the talk afterwards, or that the observation is complete."""
    return _kept(
        kept, id_, lambda watch: said(watch, words, stamped(), new_id, due=due, finish=finish)
    )


def _kept(kept: Trail, id_: str, propose: Callable[[Watch], _Proposed]) -> Watch:
    """What is proposed on the observation as it stands, signed; anew when a turn was taken."""
    for tried in range(1, TRIES + 1):
        event, texts = propose(again(kept, id_))
        try:
            signed(kept, event, texts)
        except TurnTaken:
            if tried == TRIES:
                raise
        else:
            break
    return again(kept, id_)


def correct(kept: Trail, id_: str, stamped: Stamped, item: str, word: str, because: str) -> Watch:
    """Correct one answer by a new entry. Raises NotObserved where there is none to correct."""
    if item not in again(kept, id_).answers:
        raise NotObserved(f"{item!r} has no answer yet that could be corrected.")
    return answer(kept, id_, stamped, {item: (word, "")}, because=because)


def decide(
    kept: Trail,
    stamped: Stamped,
    person: str,
    container: str,
    outcome: str,
    on: Sequence[str],
    until: date,
) -> str:
    """Record a decision on a person and a container; the sentence that says it.

    Raises NotDecided, and CannotGoOn for an observation that nobody knows.
    """
    every = every_watch(kept)
    found = [watch_named(every, one) for one in on]
    signed(kept, decided(new_id(), person, container, outcome, found, stamped(), until=until))
    end = f", in date until {said_day(until)}" if outcome == COMPETENT else ""
    return f"Recorded: {person}, {container.replace('_', ' ')}: {outcome}{end}."
