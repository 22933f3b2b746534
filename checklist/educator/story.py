"""A preparation told again from its entries: what happened when, and what is worth a question."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median
from typing import Any

from checklist.facts.row import BreakFact, Facts, FindingFact, PairFact, StepFact
from checklist.preparation import ITEM, Entry
from checklist.review.small_cell import FLOOR, Cell, shown
from checklist.workflow import Workflow

EARLIER = 5
"""Fewest earlier preparations of one person that a median is made of. Common practice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One entry: `since` and `took` are seconds from the opening and from the entry before.

    `step` is the step it stood at, `what` the kind of entry, `codes` the reasons that stood there
    or were answered, `how` the remedy, the reason to go on, the cause or the ending, by its code.
    `lands` is the step it led to, `back` whether that lies before the one it stood at. `body` is
    the entry's own.
    """

    turn: int
    seq: int
    at: datetime
    since: float
    took: float
    by: str
    step: str
    what: str
    codes: tuple[str, ...]
    how: str
    lands: str
    back: bool
    body: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """All the time at one step: every try, without breaks and the time at a stop.

    `passes` counts how often it was passed, `stops` how often refused. `shortest` is the least time
    for one pass and `source` where that comes from.
    """

    step: str
    phase: str
    who: str
    seconds: float
    tries: int
    passes: int
    stops: int
    shortest: int
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TooFast:
    """A step, or a phase entered as a whole, that took less time than hands need.

    `needed` is the least time in seconds for all its passes. It is a question, never a verdict:
    entries made afterwards look the same.
    """

    steps: tuple[str, ...]
    phase: str
    seconds: float
    needed: int
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """A preparation as its educator replays it."""

    id: str
    container: str
    person: str
    opened: datetime
    ending: str
    moments: tuple[Moment, ...]
    stays: tuple[Stay, ...]
    too_fast: tuple[TooFast, ...]
    findings: tuple[FindingFact, ...]
    pairs: tuple[PairFact, ...]
    breaks: tuple[BreakFact, ...]


def story_of(entries: Sequence[Entry], workflow: Workflow, facts: Facts) -> Story:
    """The story of a preparation under the workflow of its day; `facts` are those of its entries.

    The staff codes in the story are those of the facts.
    """
    opened = entries[0].event
    stays = tuple(_stays(facts.steps, workflow))
    return Story(
        id=opened.preparation,
        container=facts.preparation.container,
        person=facts.preparation.preparer,
        opened=opened.at,
        ending=facts.preparation.ending,
        moments=tuple(_moments(entries, workflow)),
        stays=stays,
        too_fast=tuple(_too_fast(stays, workflow)),
        findings=facts.findings,
        pairs=facts.pairs,
        breaks=facts.breaks,
    )


def _moments(entries: Sequence[Entry], workflow: Workflow) -> Iterator[Moment]:
    order = {step.name: number for number, step in enumerate(workflow.steps)}
    first, before = entries[0].event, entries[0].event
    for entry in entries:
        event, body = entry.event, entry.event.body
        codes = (
            *(one["code"] for one in body.get("reasons", [])),
            *body.get("codes", []),
            *body.get("answers", []),
        )
        step, lands = (place.partition("/")[0] for place in (event.place, event.lands))
        yield Moment(
            turn=event.turn,
            seq=entry.seq,
            at=event.at,
            since=(event.at - first.at).total_seconds(),
            took=(event.at - before.at).total_seconds(),
            by=event.by,
            step=step or lands,
            what=event.kind,
            codes=tuple(codes),
            how=next((body[k] for k in ("remedy", "because", "cause") if body.get(k)), ""),
            lands=lands,
            back=order.get(lands, len(order)) < order.get(step, 0),
            body=body,
        )
        before = event


def _stays(tried: Sequence[StepFact], workflow: Workflow) -> Iterator[Stay]:
    """One stay for each step of the main sequence that was tried, in its order."""
    for phase in workflow.phases:
        for step in phase.steps:
            name, _, item = step.name.partition(ITEM)
            own = [t for t in tried if (t.step, t.item, t.side) == (name, item, "")]
            if own:
                yield Stay(
                    step=step.name,
                    phase=phase.name,
                    who=step.who.value,
                    seconds=sum(t.seconds for t in own),
                    tries=len(own),
                    passes=sum(t.outcome != "refused" for t in own),
                    stops=sum(t.outcome == "refused" for t in own),
                    shortest=step.shortest,
                    source=step.shortest_from,
                )


def _too_fast(stays: Sequence[Stay], workflow: Workflow) -> Iterator[TooFast]:
    """What was faster than hands can be.

    A phase that is done and then entered is asked about as a whole: there a step entered in a
    moment may have been done well before.
    """
    for phase in workflow.phases:
        timed = [s for s in stays if s.phase == phase.name and s.shortest and s.passes]
        together = phase.mode == "do, then enter"
        in_phase = [s for s in stays if s.phase == phase.name]
        groups = [(timed, in_phase)] if together and timed else [([s], [s]) for s in timed]
        for asked, spent in groups:
            needed = sum(s.shortest * s.passes for s in asked)
            seconds = sum(s.seconds for s in spent)
            if not seconds >= needed:
                yield TooFast(
                    steps=tuple(s.step for s in asked),
                    phase=phase.title,
                    seconds=seconds,
                    needed=needed,
                    sources=tuple(dict.fromkeys(s.source for s in asked)),
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """The middle time and the middle half of a step in seconds, over how many by how many."""

    middle: float
    low: float
    high: float
    preparations: int
    people: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """A stay beside the unit's and the person's own earlier ones; None where too few to show."""

    stay: Stay
    unit: Pace | None
    own: Pace | None


def compared(story: Story, others: Sequence[Facts]) -> tuple[Compared, ...]:
    """Each stay beside others of the same container.

    `others` are the facts of preparations of the unit; those of another container or still open
    are left out, and so is this one. The unit's figures are of other people and shown only from
    5 people and 20 preparations on, the person's own from EARLIER preparations on.
    """
    own_seconds: dict[str, list[float]] = {}
    seconds: dict[str, list[float]] = {}
    people: dict[str, set[str]] = {}
    for facts in others:
        one = facts.preparation
        if one.container != story.container or one.preparation == story.id or not one.ending:
            continue
        for step, spent in _by_step(facts.steps).items():
            if one.preparer != story.person:
                seconds.setdefault(step, []).append(spent)
                people.setdefault(step, set()).add(one.preparer)
            elif one.first_seq < story.moments[0].seq:
                own_seconds.setdefault(step, []).append(spent)

    def of_unit(step: str) -> Pace | None:
        found, who = seconds.get(step, []), people.get(step, set())
        fits = shown(Cell(people=len(who), preparations=len(found)), FLOOR)
        return _pace(found, len(who)) if fits else None

    def of_person(step: str) -> Pace | None:
        found = own_seconds.get(step, [])
        return _pace(found, 1) if len(found) >= EARLIER else None

    return tuple(
        Compared(stay=stay, unit=of_unit(stay.step), own=of_person(stay.step))
        for stay in story.stays
    )


def _by_step(tried: Sequence[StepFact]) -> Mapping[str, float]:
    spent: dict[str, float] = {}
    for one in tried:
        if not one.side:
            name = f"{one.step}{ITEM}{one.item}" if one.item else one.step
            spent[name] = spent.get(name, 0.0) + one.seconds
    return spent


def _pace(found: Sequence[float], people: int) -> Pace:
    """The median, and the medians of the two halves (Tukey's hinges)."""
    ordered = sorted(found)
    half = (len(ordered) + 1) // 2
    return Pace(
        middle=median(ordered),
        low=median(ordered[:half]),
        high=median(ordered[-half:]),
        preparations=len(ordered),
        people=people,
    )
