"""A preparation replayed at the terminal for its educator, or for the person who prepared it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import typer

from checklist.educator.access import Act
from checklist.educator.story import EARLIER, Compared, Moment, Pace, Story, compared, story_of
from checklist.educator.watch import NOT_SO, SEEN, Watch
from checklist.engine import GO_ON
from checklist.faces.review_desk import Desk, desk, say, table, worded
from checklist.faces.workplace import preparation_of
from checklist.review.small_cell import TOO_FEW
from checklist.timing import said_date, said_span
from checklist.verdict import REMEDY_WORDS, Remedy


def replay(named: str, *, trail: Path | None, ward: Path | None, by: str, as_json: bool) -> None:
    """Tell a preparation again, step by step, beside the unit's and the person's own times."""
    with desk(trail, ward, by) as at:
        id_ = preparation_of(at.trail, named).id
        entries = at.trail.of(id_)
        at.allow(Act.SEE, entries[0].event.by, id_)
        story, beside = told(at, id_)
        with at.kept() as kept:
            watches = [one for one in at.watches(kept) if one.about == id_]
        if as_json:
            typer.echo(json.dumps(_data(story, beside, watches, at.verified)))
            return
        _show(at, story, beside, watches)


def told(at: Desk, id_: str) -> tuple[Story, tuple[Compared, ...]]:
    """The story of a preparation, and its times beside those of others."""
    entries = at.trail.of(id_)
    rules = at.rules(entries)
    story = story_of(entries, rules.workflow, at.facts(entries))
    container = entries[0].event.body["container"]
    others = at.all_facts(lambda one: one.event.body["container"] == container)
    return story, compared(story, list(others))


def _show(at: Desk, story: Story, beside: Sequence[Compared], watches: Sequence[Watch]) -> None:
    opened = at.local(story.opened)
    say(f"Preparation {story.id[:12]}   {worded(story.container)}   {said_date(opened.date())}")
    stops = sum(f.tier == "hard" for f in story.findings)
    soft = sum(f.tier == "soft" for f in story.findings)
    say(
        f"By {story.person}: {worded(story.ending) or 'not ended yet'},"
        f" {said_span(story.moments[-1].at - story.opened)}, {len(story.stays)} steps;"
        f" stops {stops}, cautions {soft}, breaks {len(story.breaks)}"
    )
    say(at.verified)
    say()
    for one in story.moments:
        head = f"{at.local(one.at):%H:%M:%S}  {one.took:>5.0f} s  {one.by:<6}  "
        say(f"{worded(one.step)}: {_what(one)}", head)
    _pairs(story)
    _breaks(story)
    _times(beside)
    _too_fast(story)
    _watched(watches)
    say()
    typer.echo(f"next: checklist review feedback {story.id[:12]} {at.options}")


def _what(one: Moment) -> str:
    codes = ", ".join(one.codes)
    note = one.body.get("note", "")
    beside = f" ({note})" if note else ""
    match one.what:
        case "passed":
            return "kept"
        case "cautioned":
            return f"CAUTION {codes}"
        case "refused":
            return f"STOP {codes}"
        case "proceeded":
            return f"went on past {codes}: {GO_ON.get(one.how, one.how)}{beside}"
        case "remedied":
            return f"way out of {codes}: {REMEDY_WORDS[Remedy(one.how)]}{beside}"
        case "interrupted":
            return f"interrupted: {one.how}"
        case "resumed":
            return "came back"
        case "ended":
            return f"ended: {worded(one.how)}{beside}"
        case "noted":
            return f"note: {one.body['text']}"
        case "revealed":
            return "the working was shown"
        case _:
            return one.what


def _pairs(story: Story) -> None:
    if not story.pairs:
        return
    say()
    say("Second person")
    for one in story.pairs:
        shown = "; the working had been shown before" if one.shown_before else ""
        word = "agreed" if one.agreed else "did not agree"
        say(
            f"{worded(one.step)}: {one.second} {word}, {one.apart:.0f} s after"
            f" {one.preparer}'s last entry{shown}",
            "  ",
        )


def _breaks(story: Story) -> None:
    if not story.breaks:
        return
    say()
    say("Breaks")
    for one in story.breaks:
        away = "nobody came back" if one.away is None else f"{one.away:.0f} s away"
        critical = ", at a critical step" if one.critical else ""
        say(f"{worded(one.step)}: {one.cause}, {away}{critical}", "  ")


def _times(beside: Sequence[Compared]) -> None:
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
                _pace(one.unit),
                _pace(one.own),
                least,
            )
        )
    heads = ("step", "this one", "tries", "unit: middle (half)", "own earlier", "hands need")
    table(heads, rows, right=5)
    shown = [one.unit for one in beside if one.unit]
    if shown:
        most = max(shown, key=lambda one: one.preparations)
        say(
            f"The unit's figures are of other people with this container: up to"
            f" {most.preparations} preparations by {most.people} people."
        )
    else:
        say(f"The unit's figures: {TOO_FEW} (fewer than 5 people or 20 preparations).")
    if not any(one.own for one in beside):
        say(f"Own earlier ones: fewer than {EARLIER}, so none are shown.")


def _pace(pace: Pace | None) -> str:
    return f"{pace.middle:.0f} ({pace.low:.0f} to {pace.high:.0f})" if pace else "-"


def _too_fast(story: Story) -> None:
    if not story.too_fast:
        return
    say()
    say("Faster than hands can be: ask, it is no verdict (it may have been entered afterwards)")
    for one in story.too_fast:
        say(
            f"{one.phase} ({', '.join(map(worded, one.steps))}): {one.seconds:.0f} s; hands need"
            f" at least {one.needed} s ({'; '.join(one.sources)})",
            "  ",
        )


def _watched(watches: Sequence[Watch]) -> None:
    for one in watches:
        say()
        state = "" if one.finished else ", not finished"
        say(
            f"Observation {one.id[:12]} by {one.observer}, {one.when} the preparation{state}: seen"
            f" {len(one.answered(SEEN))}, not so {len(one.answered(NOT_SO))} (critical"
            f" {len(one.answered(NOT_SO, critical=True))}), of {len(one.items)}"
        )
        for item in one.answered(NOT_SO):
            mark = "critical: " if item.critical else ""
            say(f"not so: {mark}{item.say}", "  ")


def _data(
    story: Story, beside: Sequence[Compared], watches: Sequence[Watch], verified: str
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
