"""Which few kinds make up most, as a plot: bars from the largest, with the share of all so far."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from checklist.drawing import origin as origins
from checklist.drawing.origin import Origin
from checklist.drawing.plot import Axis, Bar, Group, Plot, Row, height, nice_axis
from checklist.drawing.sheet import Sheet
from checklist.drawing.wording import Measure, figure
from checklist.review.pareto import Bar as Counted
from checklist.review.pareto import Pareto

MOST = 24
"""No more bars than these are drawn; the rest are in the table."""


def plotted(
    found: Pareto,
    measure: Measure,
    *,
    ids: Mapping[str, tuple[str, ...]],
    trails: tuple[Origin, ...] = (),
    hidden: Sequence[str] = (),
    weighted: bool = False,
    wide: int = 760,
) -> Plot:
    """The Pareto chart; `ids` leads from a kind to its preparations."""
    bars = found.bars[:MOST]
    heights = [bar.weighted if weighted else float(bar.count) for bar in bars]
    title = f"{measure.events}, weighted" if weighted else measure.events
    lead = found.bars[found.lead - 1]
    about = (
        f"{found.lead} of {len(found.bars)} kinds make up {figure(100 * lead.cumulative, 0)}% of"
        f" {found.total} {measure.events}."
    )
    return Plot(
        title=measure.title,
        about=(about,),
        described=f"{measure.title}. {about} Largest: {_listed(bars)}.",
        x=Axis(title="", low=0.5, high=len(bars) + 0.5),
        y=nice_axis(title, 0, max(heights) * 1.08),
        wide=wide,
        high=height(wide),
        bars=tuple(
            Bar(
                x=place,
                wide=0.7,
                high=height,
                says=(
                    f"{bar.kind}: {bar.count} {measure.events},"
                    f" {figure(100 * bar.cumulative, 0)}% with those before it"
                ),
                key=f"kind-{place}" if bar.kind in ids else "",
                words=figure(height),
                shade=0.45 if place <= found.lead else 0.12,
            )
            for place, (bar, height) in enumerate(zip(bars, heights, strict=True), 1)
        ),
        rows=_rows(bars, wide),
        notes=_notes(found, bars, hidden, weighted),
        foot=origins.sentences(trails),
        stamp=origins.stamp(trails),
        sheet=_sheet(found, measure, ids),
        groups=tuple(
            Group(key=f"kind-{place}", name=bar.kind, ids=ids[bar.kind])
            for place, bar in enumerate(found.bars, 1)
            if bar.kind in ids
        ),
    )


def _listed(bars: Sequence[Counted]) -> str:
    return ", ".join(f"{bar.kind} {bar.count}" for bar in bars[:3])


def _rows(bars: Sequence[Counted], wide: int) -> tuple[Row, ...]:
    places = list(enumerate(bars, 1))
    return (
        Row(name="kind", cells=tuple((float(i), bar.kind) for i, bar in places)),
        Row(
            name="% so far",
            cells=tuple((float(i), f"{100 * bar.cumulative:.0f}") for i, bar in places),
        ),
        Row(
            name="order sure",
            cells=tuple((float(i), "yes" if bar.settled else "no") for i, bar in places[:-1]),
        ),
    )


def _notes(
    found: Pareto, bars: Sequence[Counted], hidden: Sequence[str], weighted: bool
) -> tuple[str, ...]:
    notes = [f"Darker bars: the fewest kinds that make up {figure(100 * found.share, 0)}% of all."]
    if weighted:
        notes.append("Counts are multiplied by their weight, so the order is not tested.")
    else:
        notes.append(
            "Order sure: whether a bar and the next one differ more than by chance (exact, 5%);"
            " those that do not may well change places."
        )
    if len(found.bars) > len(bars):
        notes.append(f"{len(found.bars) - len(bars)} smaller kinds are in the table only.")
    if hidden:
        notes.append(f"Too few to show: {len(hidden)} of the kinds.")
    return tuple(notes)


def _sheet(found: Pareto, measure: Measure, ids: Mapping[str, tuple[str, ...]]) -> Sheet:
    return Sheet(
        name=measure.title,
        columns=(
            "kind",
            measure.events,
            "weighted",
            "% so far",
            "P that the next one is alike",
            "preparations to look at",
        ),
        rows=tuple(
            (
                bar.kind,
                bar.count,
                bar.weighted,
                100 * bar.cumulative,
                bar.apart,
                len(ids.get(bar.kind, ())),
            )
            for bar in found.bars
        ),
    )
