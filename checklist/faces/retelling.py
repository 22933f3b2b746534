"""A preparation told again in words, the same at the terminal, on a page and on paper."""

from __future__ import annotations

from checklist.beside import CAUSES
from checklist.educator.story import Compared, Moment, Pace, Story, TooFast, compared, story_of
from checklist.educator.watch import NOT_SO, SEEN, Watch
from checklist.engine import GO_ON
from checklist.faces.study import Study, worded
from checklist.facts.row import BreakFact, PairFact
from checklist.review.small_cell import TOO_FEW
from checklist.timing import said_span
from checklist.verdict import REMEDY_WORDS, Remedy

MOST_BESIDE = 200
"""The newest preparations with the same container that times are compared with."""
TOO_FAST_HEAD = (
    "Faster than hands can be: ask, it is no verdict (it may have been entered afterwards)"
)


def told(at: Study, id_: str) -> tuple[Story, tuple[Compared, ...]]:
    """The story of a preparation, and its times beside those of the newest others."""
    entries = at.trail.of(id_)
    story = story_of(entries, at.rules(entries).workflow, at.facts(entries))
    ids = [one for one in at.trail.opened_with(story.container) if one != id_]
    return story, compared(story, list(at.facts_of(ids[-MOST_BESIDE:])))


def summed_up(story: Story) -> str:
    """One sentence: who, how it ended, how long, how many steps, stops, cautions and breaks."""
    stops = sum(f.tier == "hard" for f in story.findings)
    soft = sum(f.tier == "soft" for f in story.findings)
    return (
        f"By {story.person}: {worded(story.ending) or 'not ended yet'},"
        f" {said_span(story.moments[-1].at - story.opened)}, {len(story.stays)} steps;"
        f" stops {stops}, cautions {soft}, breaks {len(story.breaks)}"
    )


def what(one: Moment) -> str:
    """What one entry says."""
    codes = ", ".join(one.codes)
    beside = " (a note is kept apart)" if one.body.get("note") else ""
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
        case "explained":
            return f"what came between: {CAUSES.get(one.how, one.how)}"
        case "resumed":
            return "came back"
        case "ended":
            return f"ended: {worded(one.how)}{beside}"
        case "noted":
            return "a note is kept apart"
        case "printed":
            return f"printed: {one.body.get('what', '')}"
        case "revealed":
            return "the working was shown"
        case _:
            return one.what


def of_pair(one: PairFact) -> str:
    """What a second person came to, and how long after the first."""
    shown = "; the working had been shown before" if one.shown_before else ""
    word = "agreed" if one.agreed else "did not agree"
    return (
        f"{worded(one.step)}: {one.second} {word}, {one.apart:.0f} s after"
        f" {one.preparer}'s last entry{shown}"
    )


def of_break(one: BreakFact) -> str:
    """Where a break came, why, and how long it was."""
    away = "nobody came back" if one.away is None else f"{one.away:.0f} s away"
    critical = ", at a critical step" if one.critical else ""
    return f"{worded(one.step)}: {one.cause}, {away}{critical}"


def of_pace(pace: Pace | None) -> str:
    """A middle time with its middle half in seconds; a dash where there is none to show."""
    return f"{pace.middle:.0f} ({pace.low:.0f} to {pace.high:.0f})" if pace else "-"


def of_the_units(beside: tuple[Compared, ...]) -> str:
    """Whose figures the unit's are, or why there are none."""
    shown = [one.unit for one in beside if one.unit]
    if not shown:
        return f"The unit's figures: {TOO_FEW} (fewer than 5 people or 20 preparations)."
    most = max(shown, key=lambda one: one.preparations)
    return (
        f"The unit's figures are of other people with this container: up to"
        f" {most.preparations} preparations by {most.people} people, of the newest {MOST_BESIDE}."
    )


def of_too_fast(one: TooFast) -> str:
    """What was faster than hands, with the least time and where that comes from."""
    return (
        f"{one.phase} ({', '.join(map(worded, one.steps))}): {one.seconds:.0f} s; hands need"
        f" at least {one.needed} s ({'; '.join(one.sources)})"
    )


def of_watch(one: Watch) -> str:
    """What an observation came to, in counts."""
    state = "" if one.finished else ", not finished"
    return (
        f"Observation {one.id[:12]} by {one.observer}, {one.when} the preparation{state}: seen"
        f" {len(one.answered(SEEN))}, not so {len(one.answered(NOT_SO))} (critical"
        f" {len(one.answered(NOT_SO, critical=True))}), of {len(one.items)}"
    )
