"""A person's learning curve as a plot: one sum over attempts between two lines that say so."""

from __future__ import annotations

from collections.abc import Sequence

from checklist.drawing import origin as origins
from checklist.drawing.origin import Origin
from checklist.drawing.plot import (
    Axis,
    Dash,
    Group,
    Mark,
    Plot,
    Row,
    Shape,
    Stroke,
    height,
    nice_axis,
)
from checklist.drawing.sheet import Sheet
from checklist.drawing.wording import figure
from checklist.review.cusum import Attempt, Plan, Standing

MOST_IN_ROW = 60


def plotted(
    title: str,
    right: Sequence[bool],
    attempts: Sequence[Attempt],
    plan: Plan,
    *,
    ids: Sequence[str] = (),
    dates: Sequence[str] = (),
    trails: tuple[Origin, ...] = (),
    wide: int = 760,
) -> Plot:
    """The sum after each attempt; `ids` and `dates` are one for each attempt, or none."""
    assert len(right) == len(attempts), "an attempt without its outcome"
    count = len(attempts)
    sums = [attempt.sum for attempt in attempts]
    reach = max(plan.stop, plan.competent, *(abs(value) for value in sums)) * 1.1
    last = attempts[-1]
    strokes = [
        *_runs(attempts),
        _line(count, plan.stop, f"stop and teach {figure(plan.stop, 2)}"),
        _line(count, -plan.competent, f"competent {figure(-plan.competent, 2)}"),
    ]
    return Plot(
        title=title,
        about=(f"CUSUM of {count} attempts; it starts anew when a line is reached.",),
        described=(
            f"{title}. {count} attempts, {sum(right)} right. Sum now {figure(last.sum, 2)};"
            f" standing: {last.standing}."
        ),
        x=Axis(title="", low=0.5, high=count + 0.5),
        y=nice_axis("sum: up when not right, down when right", -reach, reach),
        wide=wide,
        high=height(wide),
        strokes=tuple(strokes),
        marks=tuple(
            Mark(
                x=place,
                y=attempt.sum,
                shape=Shape.RING if ok else Shape.SIGNAL,
                says=(
                    f"attempt {place}: {'right' if ok else 'not right'}, sum"
                    f" {figure(attempt.sum, 2)}"
                    + (f"; reached: {attempt.reached}" if attempt.reached else "")
                ),
                key=f"attempt-{place}" if ids else "",
            )
            for place, (ok, attempt) in enumerate(zip(right, attempts, strict=True), 1)
        ),
        rows=_rows(right, dates) if count <= MOST_IN_ROW else (),
        notes=_notes(right, last, plan),
        foot=origins.sentences(trails),
        stamp=origins.stamp(trails),
        sheet=_sheet(title, right, attempts, ids),
        groups=tuple(
            Group(key=f"attempt-{place}", name=f"attempt {place}", ids=(one,))
            for place, one in enumerate(ids, 1)
        ),
    )


def _runs(attempts: Sequence[Attempt]) -> list[Stroke]:
    """The curve in pieces: it starts again from 0 after a line was reached."""
    found: list[Stroke] = []
    points = [(0.5, 0.0)]
    for place, attempt in enumerate(attempts, 1):
        points.append((float(place), attempt.sum))
        if attempt.reached:
            found.append(Stroke(points=tuple(points), weight=1.2))
            points = [(place + 0.5, 0.0)]
    return [*found, Stroke(points=tuple(points), weight=1.2)]


def _line(count: int, height: float, words: str) -> Stroke:
    ends = ((0.5, height), (count + 0.5, height))
    return Stroke(points=ends, dash=Dash.LONG, words=words)


def _rows(right: Sequence[bool], dates: Sequence[str]) -> tuple[Row, ...]:
    found = []
    if dates:
        found.append(
            Row(name="day", cells=tuple((float(i), day) for i, day in enumerate(dates, 1)))
        )
    numbers = tuple((float(i), str(i)) for i in range(1, len(right) + 1))
    found.append(Row(name="attempt", cells=numbers))
    words = tuple((float(i), "yes" if ok else "no") for i, ok in enumerate(right, 1))
    return (*found, Row(name="right", cells=words))


def _notes(right: Sequence[bool], last: Attempt, plan: Plan) -> tuple[str, ...]:
    notes = [
        (
            f"Acceptable: {figure(100 * plan.acceptable)}% not right; not acceptable:"
            f" {figure(100 * plan.unacceptable)}%. Risk of stopping without cause:"
            f" {figure(100 * plan.alpha)}%; of passing too soon: {figure(100 * plan.beta)}%."
        )
    ]
    if last.standing is Standing.OPEN:
        notes.append(f"Not decided yet after {len(right)} attempts.")
    else:
        notes.append(f"The last line reached: {last.standing}.")
    left = plan.competent + (0.0 if last.reached else last.sum)
    more = -(-left // plan.step)
    if last.standing is not Standing.COMPETENT and more > 0:
        notes.append(f"With every attempt right from here, {more:.0f} more reach the line.")
    return (*notes, "Circle: right. Filled diamond: not right.")


def _sheet(
    title: str, right: Sequence[bool], attempts: Sequence[Attempt], ids: Sequence[str]
) -> Sheet:
    return Sheet(
        name=title,
        columns=("attempt", "right", "sum", "line reached", "standing", "preparation"),
        rows=tuple(
            (
                place,
                "yes" if ok else "no",
                attempt.sum,
                str(attempt.reached or ""),
                str(attempt.standing),
                ids[place - 1] if ids else "",
            )
            for place, (ok, attempt) in enumerate(zip(right, attempts, strict=True), 1)
        ),
    )
