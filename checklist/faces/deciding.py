"""The competency record at the terminal: decisions, and what is due when."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

import typer

from checklist.educator.access import Act
from checklist.educator.competence import COMPETENT, LASTS, NOT_YET, standing
from checklist.educator.competence import due as what_is_due
from checklist.faces.leaving import CannotGoOn
from checklist.faces.review_desk import desk, say, table
from checklist.faces.study import every_decision, worded
from checklist.faces.watching import decide as record
from checklist.review.feedback import said


def due(
    person: str,
    within: int,
    *,
    trail: Path | None,
    ward: Path | None,
    by: str,
    as_json: bool,
) -> None:
    """List what has a last day in date, the nearest day first."""
    with desk(trail, ward, by) as at:
        at.allow(Act.SEE, person)
        with at.kept() as kept:
            decisions = every_decision(kept)
        rows = what_is_due(decisions, at.ward.staff, at.today)
        open_ = [
            one
            for one in standing(decisions).values()
            if one.outcome == NOT_YET and person in ("", one.person)
        ]
        rows = tuple(
            one for one in rows if person in ("", one.person) and (not within or one.days <= within)
        )
        if as_json:
            typer.echo(
                json.dumps(
                    [
                        {
                            "person": one.person,
                            "what": one.what,
                            "until": one.until.isoformat(),
                            "days": one.days,
                            "by": one.by,
                        }
                        for one in rows
                    ]
                )
            )
            return
        say(at.verified)
        for one in open_:
            day = said(at.local(one.at).date())
            say(f"{one.outcome}: {one.person}, {worded(one.container)} ({one.by}, {day})")
        if not rows:
            say("Nothing has a last day in date here.")
            return
        say()
        heads = ("last day", "person", "for", "decided by", "days left")
        table(
            heads,
            [
                (
                    said(one.until),
                    one.person,
                    worded(one.what),
                    one.by or "staff file",
                    f"{one.days}" if one.days >= 0 else f"passed {-one.days} days ago",
                )
                for one in rows
            ],
            right=1,
        )
        say("By day, not by how anybody did.")


def decide(
    person: str,
    container: str,
    outcome: str,
    on: list[str],
    until: str,
    *,
    trail: Path | None,
    ward: Path | None,
    by: str,
) -> None:
    """Record a decision on a person and a container."""
    with desk(trail, ward, by) as at:
        last = _day(until) if until else at.today + LASTS
        at.allow(Act.DECIDE, person)
        if person not in at.ward.staff:
            raise CannotGoOn(f"No member of staff of this unit has the code {person!r}.")
        with at.kept(write=True) as kept:
            assert kept is not None
            say(record(kept, at.stamp, person, container, outcome, on, last))
        if outcome == COMPETENT and not until:
            days = LASTS // timedelta(days=1)
            say(f"No day was named, so {days} days were taken (common practice, no source).")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as fault:
        raise CannotGoOn(f"{text!r} is no day. Write it like 2027-11-25.") from fault
