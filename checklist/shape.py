"""What holds for every workflow, whatever it is for: ways out, ways back, breaks and ends."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator

from checklist.checks.events import CRITICAL
from checklist.definition import reasons_of
from checklist.preparation import ABANDONED, CLOSED, DISCARDED, GIVEN
from checklist.walks import Walks
from checklist.workflow import CAUTION, REFUSED, RESUME, REVERIFY, Layout, Move, Spot, ending_words


def structure(walks: Walks) -> Iterator[tuple[str, str]]:
    """What is wrong with the shape of a workflow: (step, sentence)."""
    yield from _out_of_reach(walks)
    yield from _closed_places(walks)
    yield from _idle_asides(walks.layout)
    for spot in walks.layout.spots.values():
        for sentence in itertools.chain(
            _unanswered(spot),
            _forward(walks.layout, spot),
            _stuck(walks, spot),
            _endless(walks.layout, spot),
        ):
            yield spot.step.name, sentence


def _out_of_reach(walks: Walks) -> Iterator[tuple[str, str]]:
    layout = walks.layout
    first = layout.workflow.steps[0].name
    onward, back = _reached([first], walks.all), _reached(CLOSED, _turned(walks.all))
    for spot in layout.spots.values():
        if spot.place not in onward:
            yield spot.step.name, f"`{spot.place}` is never reached from the first step"
    for place in layout.places:
        if place not in back:
            yield place.partition("/")[0], f"`{place}` is a dead end: nothing closed is in reach"


def _turned(all_: Iterable[Move]) -> list[Move]:
    return [Move(m.dest, m.trigger, m.source, m.when) for m in all_]


def _reached(starts: Iterable[str], all_: Iterable[Move]) -> set[str]:
    onward: dict[str, set[str]] = {}
    for move in all_:
        onward.setdefault(move.source, set()).add(move.dest)
    edge = list(starts)
    reached = set(edge)
    while edge:
        new = onward.get(edge.pop(), set()) - reached
        reached |= new
        edge.extend(new)
    return reached


def _closed_places(walks: Walks) -> Iterator[tuple[str, str]]:
    last = walks.layout.workflow.steps[-1].name
    for move in walks.all:
        if move.source in CLOSED:
            yield "", f"`{move.trigger}` leaves the closed place `{move.source}`"
        by_passing = move.trigger in ("attempt", "proceed") and move.source.partition("/")[0]
        if move.dest == GIVEN and by_passing != last:
            yield move.source, f"`{move.trigger}` leads to given, past the last step `{last}`"


def _idle_asides(layout: Layout) -> Iterator[tuple[str, str]]:
    flow = layout.workflow
    used = {flow.account, *(p.reverify for p in (*flow.phases, *flow.asides))}
    for phase in flow.asides:
        if phase.name not in used:
            yield "", f"no phase uses the aside `{phase.name}`; take it out of `asides`"


def _unanswered(spot: Spot) -> Iterator[str]:
    for reason in reasons_of(spot.step):
        if not any(reason.code in way.on for way in spot.step.ways):
            yield f"`{reason.code}` has no remedy at `{spot.place}`"


def _forward(layout: Layout, spot: Spot) -> Iterator[str]:
    """Ways out lead to this step, an earlier one, the account or an end; never past the step."""
    stem = spot.place.partition("/")[0]
    again = spot.place.endswith(f"/{REVERIFY}")
    back = {spot.place, spot.ends, spot.restart}
    for way in spot.step.ways:
        dest = layout.target(spot, way.to)
        sound = dest in back or layout.is_before(dest, stem)
        if again and dest == spot.resume_at:
            sound = way.to == RESUME and way.on == (CRITICAL.code,)
        if not sound:
            yield f"`{way.remedy}` leads from `{spot.place}` on to `{dest}`, neither back nor out"


def _stuck(walks: Walks, spot: Spot) -> Iterator[str]:
    """From every place of a step one can end, and break off behind a re-verification."""
    layout = walks.layout
    account = {s.place for s in layout.spots.values() if s.phase.name == layout.workflow.account}
    here = (spot.place, f"{spot.place}/{REFUSED}", f"{spot.place}/{CAUTION}")
    for place in (*here, spot.interrupted):
        ends = {m.dest for m in walks.from_(place, "end")}
        if not ends or not ends <= account | {DISCARDED, ABANDONED, spot.place}:
            yield f"ending from `{place}` leads to {', '.join(sorted(ends)) or 'nowhere'}"
    for place in here:
        if not walks.from_(place, "interrupt"):
            yield f"`{place}` cannot be interrupted"
    for move in walks.from_(spot.interrupted, "resume"):
        if not move.dest.endswith(f"/{REVERIFY}"):
            yield "a break here is taken up again without a re-verification; give its phase one"


def _endless(layout: Layout, spot: Spot) -> Iterator[str]:
    if not ending_words(layout.workflow, spot.phase.name):
        yield f"no reason to end is listed for phase `{spot.phase.name}`"
