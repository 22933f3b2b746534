"""A replayed preparation as a drawing: lanes over time, and one mark for each entry."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from checklist.drawing.plot import spread
from checklist.educator.story import Moment, Story
from checklist.preparation import BESIDE, CLOSED
from checklist.workflow import Workflow

LEFT, RIGHT = 136, 24
"""Room beside the lanes, in units of the drawing: for their names, and for the last mark."""
LEAST_WIDE = 900
APART = 30
"""The least room from mark to mark in one lane: no target is narrower than 24."""
TOP, LANE = 56, 84
"""Room for the phases, and the height of a lane."""
NICE = (5, 10, 15, 30, 60, 120, 300, 600, 900, 1_800, 3_600, 7_200, 14_400, 28_800)
"""Seconds from tick to tick that people read at once."""
MOST_TICKS = 12
_Placed = Callable[[float], float]
LETTER = 8.4
"""About how wide a letter of the drawing is, to leave out what has no room."""


class Lane(StrEnum):
    """Whose doing an entry is."""

    PREPARER = "preparer"
    SECOND = "second person"
    ENGINE = "engine"


class Kind(StrEnum):
    """What sort of mark an entry has, by the word that stands in the list."""

    STEP = "step"
    STOP = "stop"
    CAUTION = "caution"
    DIFFERED = "differed"
    WAY_OUT = "way out"
    WENT_ON = "went on"
    BREAK = "break"
    BACK = "came back"
    OTHER = "other"


LETTERS = {
    Kind.STOP: "S",
    Kind.CAUTION: "c",
    Kind.DIFFERED: "D",
    Kind.WAY_OUT: "w",
    Kind.WENT_ON: "g",
    Kind.BREAK: "B",
    Kind.BACK: "b",
    Kind.OTHER: "n",
}
"""What stands in a mark before its number among those of its kind; a kept step has none."""
KEY = (
    (Kind.STEP, "step kept"),
    (Kind.STOP, "stop"),
    (Kind.CAUTION, "caution"),
    (Kind.DIFFERED, "second person did not agree"),
    (Kind.WAY_OUT, "way out taken"),
    (Kind.WENT_ON, "went on with a reason"),
    (Kind.BREAK, "break"),
    (Kind.BACK, "came back"),
    (Kind.OTHER, "opened, ended, note, cause, label or working shown"),
)
_KINDS = {
    "passed": Kind.STEP,
    "refused": Kind.STOP,
    "cautioned": Kind.CAUTION,
    "remedied": Kind.WAY_OUT,
    "proceeded": Kind.WENT_ON,
    "interrupted": Kind.BREAK,
    "resumed": Kind.BACK,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One entry: `x` is where it is drawn, `at` where its time is; `number` counts from 1.

    `name` is short, as S1; "" for a kept step. `back` says that it led to an earlier step.
    """

    number: int
    turn: int
    lane: Lane
    kind: Kind
    name: str
    back: bool
    x: float
    at: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A stretch of time: a phase, somebody's work, a break or the time at a stop."""

    x: float
    wide: float
    seconds: float
    words: str
    shown: str
    lane: Lane | None = None
    y: float = 0.0
    shaded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """The drawing: marks, the work between them, and where the minutes are.

    `work` are the stretches between one entry and the next, whose seconds add up to the whole;
    `breaks` and `waits` lie within them. `ends` is where the preparation came to its end, None
    while it is open.
    """

    wide: float
    high: float
    left: float
    lanes: tuple[tuple[Lane, float], ...]
    marks: tuple[Mark, ...]
    phases: tuple[Band, ...]
    work: tuple[Band, ...]
    breaks: tuple[Band, ...]
    waits: tuple[Band, ...]
    ticks: tuple[tuple[float, str], ...]
    ends: float | None


def drawn(story: Story, workflow: Workflow) -> Timeline:
    """The drawing of a story. Entries behind the end, as a late note, stand together past it."""
    kinds = _kinds(story)
    lanes = [_lane(one, kind, story) for one, kind in zip(story.moments, kinds, strict=True)]
    end = next((m for m in story.moments if m.lands in CLOSED), None)
    total = (end or story.moments[-1]).since
    in_time = [lane for one, lane in zip(story.moments, lanes, strict=True) if one.since <= total]
    late = len(lanes) - len(in_time)
    most = max(in_time.count(lane) for lane in Lane)
    high = {lane: TOP + LANE * place for place, lane in enumerate(Lane)}
    inner = max(LEAST_WIDE - LEFT - RIGHT, (most + 1) * APART)
    past = late * APART

    def x(since: float) -> float:
        return LEFT + inner * (min(since, total) / total if total else 0.0)

    def true(one: Moment) -> float:
        beyond = sum(total < m.since <= one.since for m in story.moments)
        return x(one.since) + beyond * APART

    marks: dict[int, Mark] = {}
    counts: dict[Kind, int] = {}
    names = [_named(kind, counts) for kind in kinds]
    right = LEFT + inner + past
    for lane in Lane:
        own = [i for i, of in enumerate(lanes) if of is lane]
        places = spread([true(story.moments[i]) for i in own], APART, LEFT, right)
        for i, place in zip(own, places, strict=True):
            one = story.moments[i]
            marks[i] = Mark(
                number=i + 1,
                turn=one.turn,
                lane=lane,
                kind=kinds[i],
                name=names[i],
                back=one.back,
                x=place,
                at=true(one),
                y=high[lane] + LANE / 2 - 6,
            )
    return Timeline(
        wide=right + RIGHT,
        high=TOP + LANE * len(Lane) + 40,
        left=LEFT,
        lanes=tuple(high.items()),
        marks=tuple(marks[i] for i in range(len(marks))),
        phases=tuple(_phases(story, workflow, x, total)),
        work=tuple(_work(story, lanes, x, high)),
        breaks=tuple(_breaks(story, x)),
        waits=tuple(_waits(story, x, high[Lane.ENGINE])),
        ticks=tuple((x(at), words) for at, words in _ticks(total)),
        ends=x(total) if end else None,
    )


def _kinds(story: Story) -> list[Kind]:
    differed = {one.seq for one in story.pairs if not one.agreed}
    return [
        Kind.DIFFERED
        if one.seq in differed and one.what == "refused"
        else _KINDS.get(one.what, Kind.OTHER)
        for one in story.moments
    ]


def _lane(one: Moment, kind: Kind, story: Story) -> Lane:
    if kind in (Kind.STOP, Kind.CAUTION, Kind.DIFFERED):
        return Lane.ENGINE
    return Lane.PREPARER if one.by == story.person else Lane.SECOND


def _named(kind: Kind, counts: dict[Kind, int]) -> str:
    if kind not in LETTERS:
        return ""
    counts[kind] = counts.get(kind, 0) + 1
    return f"{LETTERS[kind]}{counts[kind]}"


def _phases(story: Story, workflow: Workflow, x: _Placed, total: float) -> Iterator[Band]:
    """Stretches in one phase; a step of a side phase belongs to where the work stood before."""
    titles = {step.name: phase.title for phase in workflow.phases for step in phase.steps}
    runs: list[tuple[str, float, float]] = []
    before = 0.0
    for one in story.moments[1:]:
        if before >= total:
            break
        title = titles.get(one.step, runs[-1][0] if runs else "")
        until = min(one.since, total)
        if runs and runs[-1][0] == title:
            runs[-1] = (title, runs[-1][1], until)
        else:
            runs.append((title, before, until))
        before = until
    for number, (title, start, until) in enumerate(runs):
        wide = x(until) - x(start)
        yield Band(
            x=x(start),
            wide=wide,
            seconds=until - start,
            words=title,
            shown=title if len(title) * LETTER < wide - 6 else "",
            shaded=bool(number % 2),
        )


def _work(
    story: Story, lanes: Sequence[Lane], x: _Placed, high: Mapping[Lane, float]
) -> Iterator[Band]:
    """Who worked up to each entry: a stop of the engine ends somebody's work all the same."""
    before, away = story.moments[0], False
    for one in story.moments[1:]:
        lane = Lane.PREPARER if one.by == story.person else Lane.SECOND
        away = before.what == "interrupted" or (away and before.what in BESIDE)
        if not away:
            yield Band(
                x=x(before.since),
                wide=x(one.since) - x(before.since),
                seconds=one.took,
                words=one.step,
                shown="",
                lane=lane,
                y=high[lane] + LANE - 18,
            )
        before = one


def _breaks(story: Story, x: _Placed) -> Iterator[Band]:
    begun: Moment | None = None
    why = ""
    for one in story.moments:
        if begun is not None and one.what not in BESIDE:
            yield Band(
                x=x(begun.since),
                wide=x(one.since) - x(begun.since),
                seconds=one.since - begun.since,
                words=why,
                shown="",
            )
            begun = None
        if one.what in ("interrupted", "explained"):
            begun, why = begun or one, one.how


def _waits(story: Story, x: _Placed, y: float) -> Iterator[Band]:
    """How long each stop stood until it was put right, gone past or ended; one for each entry."""
    since = {one.seq: one.since for one in story.moments}
    longest: dict[int, float] = {}
    for found in story.findings:
        if found.wait is not None:
            longest[found.seq] = max(found.wait, longest.get(found.seq, 0.0))
    for seq, wait in longest.items():
        start = since[seq]
        yield Band(
            x=x(start),
            wide=x(start + wait) - x(start),
            seconds=wait,
            words="wait",
            shown="",
            lane=Lane.ENGINE,
            y=y + LANE - 18,
        )


def _ticks(total: float) -> Iterator[tuple[float, str]]:
    each = next((one for one in NICE if total / one <= MOST_TICKS), NICE[-1])
    for at in range(0, int(total) + 1, each):
        minutes, seconds = divmod(at, 60)
        yield at, f"{minutes}:{seconds:02d}"
