"""An observation taken up and gone on with, whichever face the observer stands at."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date

from checklist.educator.access import Act
from checklist.educator.competence import COMPETENT, LASTS, decided
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
from checklist.faces.leaving import CannotGoOn
from checklist.faces.study import Study, signed, watch_named
from checklist.faces.workplace import new_id
from checklist.preparation import CLOSED, Event
from checklist.review.feedback import said as said_day
from checklist.trail import SealedText, Trail, TurnTaken

TRIES = 3
"""How often an entry is proposed anew when another one of the same observation came before it."""
_Proposed = tuple[Event, tuple[SealedText, ...]]


def unfinished(watches: Sequence[Watch], id_: str, observer: str) -> Watch | None:
    """This observer's observation of a preparation that is not complete, if there is one."""
    mine = (one for one in watches if one.about == id_ and one.observer == observer)
    return next((one for one in mine if not one.finished), None)


def taken_up(at: Study, kept: Trail, id_: str) -> Watch:
    """The observation to go on with: this person's unfinished one of the preparation, or new.

    Raises CannotGoOn where the preparation's workflow names nothing to observe.
    """
    entries = at.trail.of(id_)
    first, last = entries[0].event, entries[-1]
    if found := unfinished(at.watches(kept), id_, at.person.code):
        return found
    workflow = at.rules(entries).workflow
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
        stamp=at.stamp(),
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
    at: Study,
    kept: Trail,
    id_: str,
    answers: Mapping[str, tuple[str, str]],
    *,
    because: str = "",
) -> Watch:
    """Record answers, item to word and remark, and give the observation with them."""
    return _kept(
        kept, id_, lambda watch: answered(watch, answers, at.stamp(), new_id, because=because)
    )


def say_words(
    at: Study,
    kept: Trail,
    id_: str,
    words: Mapping[str, str],
    *,
    due: date | None = None,
    finish: bool = False,
) -> Watch:
    """Record words of the talk afterwards, or that the observation is complete."""
    return _kept(
        kept, id_, lambda watch: said(watch, words, at.stamp(), new_id, due=due, finish=finish)
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


def correct(at: Study, kept: Trail, id_: str, item: str, word: str, because: str) -> Watch:
    """Correct one answer by a new entry. Raises NotObserved where there is none to correct."""
    watch = again(kept, id_)
    if item not in watch.answers:
        raise NotObserved(f"{item!r} has no answer yet that could be corrected.")
    return answer(at, kept, id_, {item: (word, "")}, because=because)


def decide(
    at: Study,
    kept: Trail,
    person: str,
    container: str,
    outcome: str,
    on: Sequence[str],
    until: date | None,
) -> str:
    """Record a decision on a person and a container; the sentence that says it.

    Raises NotForYou, NotDecided, and CannotGoOn for a person or an observation that nobody knows.
    """
    at.allow(Act.DECIDE, person)
    if person not in at.ward.staff:
        raise CannotGoOn(f"No member of staff of this unit has the code {person!r}.")
    last = until or at.today + LASTS
    every = at.watches(kept)
    watches = [watch_named(every, one) for one in on]
    signed(kept, decided(new_id(), person, container, outcome, watches, at.stamp(), until=last))
    end = f", in date until {said_day(last)}" if outcome == COMPETENT else ""
    return f"Recorded: {person}, {container.replace('_', ' ')}: {outcome}{end}."
