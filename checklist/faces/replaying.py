"""A preparation replayed at the terminal for its educator, or for the person who prepared it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import typer

from checklist.educator.access import Act
from checklist.educator.story import EARLIER, Compared, Pace, Story
from checklist.educator.watch import NOT_SO, Watch
from checklist.faces.retelling import (
    TOO_FAST_HEAD,
    of_break,
    of_pace,
    of_pair,
    of_the_units,
    of_too_fast,
    of_watch,
    summed_up,
    told,
    what,
)
from checklist.faces.review_desk import Desk, desk, say, table
from checklist.faces.study import every_watch, worded
from checklist.faces.workplace import preparation_of
from checklist.timing import said_date


def replay(named: str, *, trail: Path | None, ward: Path | None, by: str, as_json: bool) -> None:
    """Tell a preparation again, step by step, beside the unit's and the person's own times."""
    with desk(trail, ward, by) as at:
        id_ = preparation_of(at.trail, named).id
        entries = at.trail.of(id_)
        at.allow(Act.SEE, entries[0].event.by, id_)
        story, beside = told(at, id_)
        with at.kept() as kept:
            watches = [one for one in every_watch(kept) if one.about == id_]
        if as_json:
            typer.echo(json.dumps(_data(story, beside, watches, at.verified)))
            return
        _show(at, story, beside, watches)


def _show(at: Desk, story: Story, beside: tuple[Compared, ...], watches: Sequence[Watch]) -> None:
    opened = at.local(story.opened)
    say(f"Preparation {story.id[:12]}   {worded(story.container)}   {said_date(opened.date())}")
    say(summed_up(story))
    say(at.verified)
    say()
    for one in story.moments:
        head = f"{at.local(one.at):%H:%M:%S}  {one.took:>5.0f} s  {one.by:<6}  "
        say(f"{worded(one.step)}: {what(one)}", head)
    _pairs(story)
    _breaks(story)
    _times(beside)
    _too_fast(story)
    _watched(watches)
    say()
    typer.echo(f"next: checklist review feedback {story.id[:12]} {at.options}")


def _pairs(story: Story) -> None:
    if not story.pairs:
        return
    say()
    say("Second person")
    for one in story.pairs:
        say(of_pair(one), "  ")


def _breaks(story: Story) -> None:
    if not story.breaks:
        return
    say()
    say("Breaks")
    for one in story.breaks:
        say(of_break(one), "  ")


def _times(beside: tuple[Compared, ...]) -> None:
    say()
    say("Seconds at each step, without breaks and the time at a stop")
    rows = []
    for one in beside:
        stay = one.stay
        least = f"{stay.shortest * max(stay.passes, 1)}" if stay.shortest else ""
        rows.append(
            (
                worded(stay.step),
                f"{stay.seconds:.0f}",
                f"{stay.tries}",
                of_pace(one.unit),
                of_pace(one.own),
                least,
            )
        )
    heads = ("step", "this one", "tries", "unit: middle (half)", "own earlier", "hands need")
    table(heads, rows, right=5)
    say(of_the_units(beside))
    if not any(one.own for one in beside):
        say(f"Own earlier ones: fewer than {EARLIER}, so none are shown.")


def _too_fast(story: Story) -> None:
    if not story.too_fast:
        return
    say()
    say(TOO_FAST_HEAD)
    for one in story.too_fast:
        say(of_too_fast(one), "  ")


def _watched(watches: Sequence[Watch]) -> None:
    for one in watches:
        say()
        say(of_watch(one))
        for item in one.answered(NOT_SO):
            mark = "critical: " if item.critical else ""
            say(f"not so: {mark}{item.say}", "  ")


def _data(
    story: Story, beside: tuple[Compared, ...], watches: Sequence[Watch], verified: str
) -> dict[str, Any]:
    def pace(one: Pace | None) -> dict[str, Any] | None:
        if one is None:
            return None
        return {
            "middle": one.middle,
            "low": one.low,
            "high": one.high,
            "preparations": one.preparations,
            "people": one.people,
        }

    return {
        "preparation": story.id,
        "container": story.container,
        "person": story.person,
        "ending": story.ending,
        "trail": verified,
        "moments": [
            {
                "turn": one.turn,
                "seq": one.seq,
                "since": one.since,
                "took": one.took,
                "by": one.by,
                "step": one.step,
                "what": one.what,
                "codes": list(one.codes),
                "how": one.how,
            }
            for one in story.moments
        ],
        "times": [
            {
                "step": one.stay.step,
                "seconds": one.stay.seconds,
                "tries": one.stay.tries,
                "stops": one.stay.stops,
                "shortest": one.stay.shortest,
                "source": one.stay.source,
                "unit": pace(one.unit),
                "own": pace(one.own),
            }
            for one in beside
        ],
        "too_fast": [
            {"steps": list(one.steps), "seconds": one.seconds, "needed": one.needed}
            for one in story.too_fast
        ],
        "pairs": [
            {"step": one.step, "second": one.second, "agreed": one.agreed, "apart": one.apart}
            for one in story.pairs
        ],
        "breaks": [
            {"step": one.step, "cause": one.cause, "away": one.away} for one in story.breaks
        ],
        "observations": [
            {
                "id": one.id,
                "observer": one.observer,
                "finished": one.finished,
                "answers": {name: answer.word for name, answer in one.answers.items()},
            }
            for one in watches
        ],
    }
