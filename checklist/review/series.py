"""Points in order of time and how they are to be charted: for counts and times, never doses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from checklist.review.special_cause import DEFAULT, RuleSet
from checklist.review.unusable import Unusable, enough, finite, positive, whole


class Kind(StrEnum):
    """Which chart; see the table of measures in the handbook for which to take."""

    RUN = "run"
    P = "p"
    P_PRIME = "p'"
    NP = "np"
    U = "u"
    U_PRIME = "u'"
    C = "c"
    XMR = "XmR"
    G = "g"
    T = "t"


class Bounds(StrEnum):
    """How far out the limits lie."""

    SIGMA = "3 sigma"
    EXACT = "exact, 0.135% beyond each"


class GapCentre(StrEnum):
    """Which middle of the gaps a g chart draws; all three are in print."""

    MEDIAN = "median"
    MEAN = "mean"
    MEAN_0_693 = "0.693 x mean"


class GapCount(StrEnum):
    """What a gap counts."""

    WITH_EVENT = "with the event"
    BETWEEN = "only what lies between"


COUNTED = frozenset({Kind.P, Kind.P_PRIME, Kind.NP, Kind.U, Kind.U_PRIME, Kind.C})
"""Charts of counts of events."""
_WHOLE = COUNTED | {Kind.G}
_SHARE = frozenset({Kind.P, Kind.P_PRIME, Kind.NP})
_BARE = frozenset({Kind.C, Kind.G, Kind.T})
_EXACT = frozenset({Kind.P, Kind.NP, Kind.U, Kind.C, Kind.G})


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One period or gap: `count` events, or a measured value, over `size` units of opportunity.

    `label` names it and leads to its preparations; no two points of a chart share one.
    """

    label: str
    count: float
    size: float = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """How a series is charted.

    `bounds` None takes exact limits for a g chart, whose 3-sigma limit gives a false alarm in one
    gap of 55, and 3 sigma for all others. `centre` and `gap` are for g charts; `screened` leaves
    out large moving ranges once, for XmR and t charts.
    """

    kind: Kind
    rules: RuleSet = DEFAULT
    bounds: Bounds | None = None
    centre: GapCentre = GapCentre.MEDIAN
    gap: GapCount = GapCount.WITH_EVENT
    screened: bool = False

    @property
    def exact(self) -> bool:
        """Whether the limits are exact ones."""
        if self.bounds is None:
            return self.kind is Kind.G
        return self.bounds is Bounds.EXACT


def check(design: Design, points: Sequence[Point]) -> None:
    """Raises Unusable, naming the point, for figures that the chart cannot take."""
    enough(f"The series for the {design.kind} chart", points, 2)
    if design.exact and design.kind not in _EXACT:
        raise Unusable(f"A {design.kind} chart has no exact limits. Choose 3 sigma.")
    seen: set[str] = set()
    for point in points:
        if not point.label or point.label in seen:
            raise Unusable(
                f"The label {point.label!r} is empty or there twice. Give each point its own."
            )
        seen.add(point.label)
        _check_point(design, point)
    if design.kind is Kind.NP and len({point.size for point in points}) > 1:
        raise Unusable("An np chart needs the same size at each point. Choose a p chart.")


def _check_point(design: Design, point: Point) -> None:
    count, size = f'The count of "{point.label}"', f'The size of "{point.label}"'
    if design.kind in _WHOLE:
        # A whole float, such as 3.0 from a table's column, is no miscount.
        if isinstance(point.count, float) and point.count.is_integer():
            whole(count, int(point.count))
        else:
            whole(count, point.count)  # type: ignore[arg-type]
    else:
        finite(count, point.count)
    positive(size, point.size)
    if design.kind in _BARE and point.size != 1:
        raise Unusable(f"{size} is {point.size:g}; a {design.kind} chart takes no size.")
    if design.kind in _SHARE and not (point.count <= point.size == int(point.size)):
        raise Unusable(
            f'"{point.label}" has {point.count:g} of {point.size:g}. A whole number of tries, no '
            "fewer than the events, is expected."
        )
    if design.kind is Kind.T and not point.count > 0:
        raise Unusable(
            f'The time of "{point.label}" is {point.count:g}. A t chart needs times above 0: take '
            "the time of day along, or count preparations in between on a g chart."
        )
    if design.kind is Kind.G and design.gap is GapCount.WITH_EVENT and not point.count >= 1:
        raise Unusable(
            f'The gap of "{point.label}" is {point.count:g}. A gap that counts its event is at '
            'least 1; for gaps from 0 up choose "only what lies between".'
        )
