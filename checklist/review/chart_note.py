"""What a reader has to know beside a chart, in sentences: on counts and times, never doses."""

from __future__ import annotations

import math

from checklist.review.baseline import Baseline, Standing
from checklist.review.chart import Chart, DrawnPhase
from checklist.review.series import COUNTED, Kind

SCATTER = 1.2
"""From this sigma_z on a chart corrected after Laney is suggested (common practice)."""
SCATTER_CHANCE = 0.05
"""And only if chance alone scatters so much more seldom than this."""
FEW = 5
"""Below so many expected events the limits of a count are rough (common practice)."""

_PRIME = {Kind.P: Kind.P_PRIME, Kind.U: Kind.U_PRIME}


def notes(chart: Chart) -> tuple[str, ...]:
    """Cautions about the line, the limits and the points, phase by phase, in a fixed order."""
    several = len(chart.phases) > 1
    return tuple(
        f"From {phase.marks[0].label}: {note}" if several else note
        for phase in chart.phases
        for note in _of_phase(phase)
    )


def suggested(frozen: Baseline) -> Kind | None:
    """The chart after Laney, if the points scatter more than chance alone explains; else None."""
    kind = frozen.design.kind
    if kind not in _PRIME or frozen.sigma_z is None or frozen.scatter_chance is None:
        return None
    more = frozen.sigma_z > SCATTER and frozen.scatter_chance < SCATTER_CHANCE
    return _PRIME[kind] if more else None


def least_size(share: float) -> int:
    """From how many tries a 3-sigma p chart has a lower limit above 0: n > 9 (1 - p) / p."""
    # A hair's breadth up, so that 171 tries at 5% count as equal to the bound, not above it.
    return math.floor(9 * (1 - share) / share + 1e-9) + 1


def _of_phase(phase: DrawnPhase) -> list[str]:
    frozen, found = phase.baseline, []
    if not phase.frozen:
        found.append(
            "The line comes from the points it judges. A change in their middle can hide, and "
            "later points will move it: freeze a baseline."
        )
    if frozen.standing is not Standing.SETTLED:
        found.append(f"The line rests on {len(frozen.labels)} points ({frozen.standing}).")
    found.extend(_of_limits(phase))
    prime = suggested(frozen)
    if prime is not None:
        found.append(
            f"The points scatter {frozen.sigma_z:.2f} times as much as chance alone would make "
            f"them: look at the {prime} chart, too."
        )
    # The usual 95% bounds of r_1 for independent points (Box and Jenkins 1970).
    if len(phase.marks) >= 10 and abs(phase.lag_one) > 2 / math.sqrt(len(phase.marks)):
        found.append(
            f"Neighbouring points go together (correlation {phase.lag_one:.2f}), so runs on one "
            "side or few crossings may be chance more often than printed."
        )
    found.extend(
        f"{exclusion.label} is left out of the line: {exclusion.reason}."
        for exclusion in frozen.excluded
    )
    return found


def _of_limits(phase: DrawnPhase) -> list[str]:
    frozen, found = phase.baseline, []
    kind = frozen.design.kind
    if kind in COUNTED and min(frozen.mean * mark.size for mark in phase.marks) < FEW:
        found.append(
            f"Some points expect fewer than {FEW} events, so their limits are rough: join "
            "periods, or chart the gaps between events."
        )
    if kind in COUNTED and all(mark.low == 0 for mark in phase.marks):
        words = "The lower limit is 0, so one low point cannot show an improvement"
        if kind is Kind.P and not frozen.design.exact:
            words += f"; from {least_size(frozen.mean)} preparations a point it could"
        found.append(f"{words}.")
    return found
