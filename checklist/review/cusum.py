"""Cumulative sums of attempts and of values, for statistics on counts and never for doses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from checklist.review.unusable import Unusable, enough, finite, positive, share


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The sum after one attempt and whether it reached its limit; the next starts from 0."""

    sum: float
    signal: bool


def odds_moved(chance: float, odds_ratio: float) -> float:
    """The chance whose odds are `odds_ratio` times those of `chance`."""
    share("The chance", chance)
    positive("The odds ratio", odds_ratio)
    return odds_ratio * chance / (1 + chance * (odds_ratio - 1))


def weights(chance: float, odds_ratio: float) -> tuple[float, float]:
    """What an attempt with and one without the event add to the sum.

    The log of how much likelier the outcome is at the moved odds: w = ln(R / (1 - p + R p)) with
    the event and -ln(1 - p + R p) without.
    Source: Steiner, Cook, Farewell and Treasure, Biostatistics 2000;1:441-452.
    """
    share("The chance", chance)
    positive("The odds ratio", odds_ratio)
    if odds_ratio == 1:
        raise Unusable("The odds ratio is 1: nothing to look for. Take 2 for a doubling of odds.")
    without = -math.log1p(chance * (odds_ratio - 1))
    return math.log(odds_ratio) + without, without


def bernoulli(
    events: Sequence[bool], *, chance: float, odds_ratio: float, limit: float
) -> tuple[Step, ...]:
    """The CUSUM of attempts that all have the same chance of the event when all is well."""
    return adjusted(events, [chance] * len(events), odds_ratio=odds_ratio, limit=limit)


def adjusted(
    events: Sequence[bool], chances: Sequence[float], *, odds_ratio: float, limit: float
) -> tuple[Step, ...]:
    """The CUSUM of attempts that each have their own chance of the event when all is well.

    S = max(0, S + w) with the weights for the attempt's chance; a signal at S >= `limit`, after
    which S starts from 0. An odds ratio above 1 looks for more events, below 1 for fewer. Raises
    Unusable for no attempts, unequal lengths, a chance outside 0 to 1 or a limit not above 0.
    Source: as `weights`.
    """
    enough("The series of attempts", events, 1)
    positive("The limit", limit)
    if len(events) != len(chances):
        raise Unusable(
            f"There are {len(events)} attempts and {len(chances)} chances. Give one for each."
        )
    found: list[Step] = []
    total = 0.0
    for event, chance in zip(events, chances, strict=True):
        with_event, without = weights(chance, odds_ratio)
        total = max(0.0, total + (with_event if _truth(event) else without))
        signal = total >= limit
        found.append(Step(sum=total, signal=signal))
        if signal:
            total = 0.0
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What a trainee is judged by, all of it stated and printed with the curve.

    `acceptable` and `unacceptable` are shares of attempts not right; `alpha` is the chance of
    stopping one who is at the acceptable share, `beta` of passing one at the unacceptable share.
    Raises Unusable unless 0 < acceptable < unacceptable < 1, and alpha + beta < 1.
    """

    acceptable: float
    unacceptable: float
    alpha: float
    beta: float

    def __post_init__(self) -> None:
        for name in ("acceptable", "unacceptable", "alpha", "beta"):
            share(f"The plan's {name}", getattr(self, name))
        if not self.acceptable < self.unacceptable:
            raise Unusable(
                f"The acceptable share {self.acceptable:g} is not below the unacceptable "
                f"{self.unacceptable:g}. Put the smaller first."
            )
        if not self.alpha + self.beta < 1:
            raise Unusable("Alpha and beta together are 1 or more. Take 0.05 or 0.1 for each.")

    @property
    def step(self) -> float:
        """s: what a right attempt takes off the sum; one that is not right adds 1 - s.

        s = Q / (P + Q), P = ln(p1 / p0), Q = ln((1 - p0) / (1 - p1)): Wald, Sequential Analysis,
        1947, for the binomial; as used by Kestin, Br J Anaesth 1995;75:805-809.
        """
        return self._right / self._both

    @property
    def competent(self) -> float:
        """h0: how far the sum must fall for the trainee to count as competent."""
        return math.log((1 - self.alpha) / self.beta) / self._both

    @property
    def stop(self) -> float:
        """h1: how far the sum must rise for training to stop and teaching to start."""
        return math.log((1 - self.beta) / self.alpha) / self._both

    @property
    def fewest(self) -> int:
        """How many attempts, all right, it takes from 0 to competent."""
        return math.ceil(self.competent / self.step - 1e-9)

    @property
    def _right(self) -> float:
        return math.log((1 - self.acceptable) / (1 - self.unacceptable))

    @property
    def _both(self) -> float:
        return math.log(self.unacceptable / self.acceptable) + self._right


class Standing(StrEnum):
    """What the last line that a trainee's curve has reached says."""

    OPEN = "not decided yet"
    COMPETENT = "competent"
    STOP = "stop and teach"


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """The curve after one attempt: its sum, the line reached by it if any, the standing since."""

    sum: float
    reached: Standing | None
    standing: Standing


def trainee(right: Sequence[bool], plan: Plan) -> tuple[Attempt, ...]:
    """A trainee's curve, attempt by attempt; the standing is that of the last one.

    The sum starts from 0 again whenever a line is reached, so that one who was competent and has
    relapsed is seen. Raises Unusable for no attempts.
    """
    enough("The series of attempts", right, 1)
    found: list[Attempt] = []
    total, standing = 0.0, Standing.OPEN
    for attempt in right:
        total += -plan.step if _truth(attempt) else 1 - plan.step
        reached = decided(total, plan)
        standing = reached or standing
        found.append(Attempt(sum=total, reached=reached, standing=standing))
        if reached:
            total = 0.0
    return tuple(found)


def decided(total: float, plan: Plan) -> Standing | None:
    """The line that the sum has reached, or None. A hair's breadth is allowed for rounding."""
    if total <= -plan.competent + 1e-9:
        return Standing.COMPETENT
    return Standing.STOP if total >= plan.stop - 1e-9 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sides:
    """The upper and lower sum after one value, and for how many values each has been above 0."""

    high: float
    low: float
    high_run: int
    low_run: int
    signal: int


def tabular(
    values: Sequence[float], *, target: float, slack: float, limit: float
) -> tuple[Sides, ...]:
    """The two-sided CUSUM of measured values, in their own unit; it is not reset.

    C+ = max(0, x - (target + slack) + C+) and C- likewise below; `signal` is +1 or -1 while that
    sum is above `limit`, the upper first. `slack` is half the shift looked for.
    Source: Page, Biometrika 1954;41:100-115, in the form of Montgomery's handbook.
    """
    enough("The series of values", values, 1)
    finite("The target", target)
    finite("The slack", slack, least=0)
    positive("The limit", limit)
    found: list[Sides] = []
    high = low = 0.0
    high_run = low_run = 0
    for value in values:
        finite("A value", value)
        high = max(0.0, high + value - target - slack)
        low = max(0.0, low + target - slack - value)
        high_run = high_run + 1 if high > 0 else 0
        low_run = low_run + 1 if low > 0 else 0
        signal = 1 if high > limit else -int(low > limit)
        found.append(Sides(high=high, low=low, high_run=high_run, low_run=low_run, signal=signal))
    return tuple(found)


def _truth(outcome: bool) -> bool:
    if not isinstance(outcome, bool):
        raise Unusable(f"An outcome is {outcome!r}. True or False is expected.")
    return outcome
