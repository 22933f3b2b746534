"""The competency record: who was found competent with which container, until when, by whom.

A decision is an entry of the observations' trail, in a thread of its own, and rests on named
observations. A newer decision takes the place of an older one; both stay.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from checklist.educator.watch import NOT_SO, SEEN, Watch
from checklist.engine import Stamp
from checklist.people import StaffMember
from checklist.preparation import Entry, Event
from checklist.signature import REVIEWED

ASSESSMENT = "assessment"
ASSESSED = "assessed"
COMPETENT, NOT_YET = "competent", "not yet"
OUTCOMES = (COMPETENT, NOT_YET)
LASTS = timedelta(days=365)
"""How long a decision holds unless another day is named. Common practice, no source."""


class NotDecided(Exception):
    """A decision that does not rest on what it needs; the message says what is missing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """One decision; `until` is the last day in date, None for "not yet"."""

    id: str
    person: str
    container: str
    outcome: str
    until: date | None
    watches: tuple[str, ...]
    at: datetime
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """Something that has a last day in date: `what` is a container, or a task of the staff file."""

    person: str
    what: str
    until: date
    days: int
    by: str


def decided(
    id_: str,
    person: str,
    container: str,
    outcome: str,
    watches: Sequence[Watch],
    stamp: Stamp,
    *,
    until: date | None = None,
) -> Event:
    """Propose a decision on a person and a container, resting on these observations.

    "competent" needs finished observations of this person with this container in which no critical
    item was not so, and in which together every critical item was seen. Raises NotDecided.
    """
    if outcome not in OUTCOMES:
        raise NotDecided(f"{outcome!r} is no decision. There are: {', '.join(OUTCOMES)}.")
    for watch in watches:
        if watch.person != person or watch.container != container:
            raise NotDecided(
                f"Observation {watch.id[:12]} is about {watch.person} with {watch.container}, not"
                f" {person} with {container}."
            )
    if outcome == COMPETENT:
        _rests_on(watches)
        if until is None or not until > stamp.at.date():
            raise NotDecided("A decision holds until a day to come. Name that day.")
    return stamp.event(
        id_,
        0,
        "opened",
        {
            "form": ASSESSMENT,
            "person": person,
            "container": container,
            "outcome": outcome,
            "until": until.isoformat() if until and outcome == COMPETENT else "",
            "watches": [watch.id for watch in watches],
            "meaning": REVIEWED,
        },
        lands=ASSESSED,
    )


def _rests_on(watches: Sequence[Watch]) -> None:
    if not watches:
        raise NotDecided(
            "No observation is named. A person is found competent by being watched: record one with"
            " `checklist review observe` first."
        )
    for watch in watches:
        if not watch.finished:
            raise NotDecided(f"Observation {watch.id[:12]} is not complete. Finish it first.")
        if missed := watch.answered(NOT_SO, critical=True):
            raise NotDecided(
                f"Observation {watch.id[:12]} has a critical item that was not so:"
                f" {missed[0].say}. However well the rest went, that is `{NOT_YET}`."
            )
    seen = {one.name for watch in watches for one in watch.answered(SEEN, critical=True)}
    for one in (one for watch in watches for one in watch.items):
        if one.critical and one.name not in seen:
            raise NotDecided(
                f"Nobody has seen this critical item yet: {one.say} ({one.name}). Observe another"
                " preparation in which it can be seen."
            )


def decision_of(entries: Sequence[Entry]) -> Decision | None:
    """The decision that a thread holds; None for another thread."""
    event = entries[0].event
    if event.kind != "opened" or event.body.get("form") != ASSESSMENT:
        return None
    body = event.body
    return Decision(
        id=event.preparation,
        person=body["person"],
        container=body["container"],
        outcome=body["outcome"],
        until=date.fromisoformat(body["until"]) if body["until"] else None,
        watches=tuple(body["watches"]),
        at=event.at,
        by=event.by,
    )


def standing(decisions: Iterable[Decision]) -> Mapping[tuple[str, str], Decision]:
    """The newest decision for each person and container, in the order of recording."""
    return {(one.person, one.container): one for one in decisions}


def due(
    decisions: Iterable[Decision], staff: Mapping[str, StaffMember], today: date
) -> tuple[Due, ...]:
    """Everything with a last day, by that day and never by how anybody did.

    The days of the staff file are told beside those that were decided here. People who have left
    are left out.
    """
    rows = [
        Due(person=p, what=c, until=one.until, days=(one.until - today).days, by=one.by)
        for (p, c), one in standing(decisions).items()
        if one.until is not None
    ]
    rows += [
        Due(person=code, what=task, until=until, days=(until - today).days, by="")
        for code, member in staff.items()
        for task, until in member.competent.items()
    ]
    gone = {code for code, member in staff.items() if not member.active}
    kept = [row for row in rows if row.person not in gone]
    return tuple(sorted(kept, key=lambda row: (row.until, row.what, row.person)))
