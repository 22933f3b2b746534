"""How long it takes until something happens, for statistics on times and never for doses."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from checklist.review.distribution import chi_square_above, normal_quantile
from checklist.review.unusable import Unusable, enough, finite, share

_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """One wait of `time`, in any unit: `ending` names what ended it, None if it is still open."""

    time: float
    ending: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """A step of a curve at `time`: its height from there on, with limits, and who was waiting."""

    time: float
    height: float
    error: float
    low: float
    high: float
    waiting: int
    endings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A stair from `start`, 1 or 0, over the times at which something happened."""

    start: float
    rungs: tuple[Rung, ...]
    spells: int
    longest: float

    def at(self, time: float) -> float:
        """The height at a time; raises Unusable beyond the longest wait seen."""
        if not 0 <= time <= self.longest:
            raise Unusable(
                f"Nothing is known at {time:g}: the waits seen are from 0 to {self.longest:g}."
            )
        heights = [rung.height for rung in self.rungs if rung.time <= time]
        return heights[-1] if heights else self.start

    def quantile(self, part: float) -> float | None:
        """The first time by which `part` has happened; None if the curve never gets so far."""
        share("The part", part)
        for rung in self.rungs:
            # A hair's breadth, since a product of fractions can end just above 0.5.
            if abs(rung.height - self.start) >= part - _ROUNDING:
                return rung.time
        return None


def kaplan_meier(spells: Sequence[Spell], *, level: float = 0.95) -> Curve:
    """The share still waiting, where every ending is the event and open spells are censored.

    Open spells of the same time as an event count as still waiting then. Limits are log-log ones
    with Greenwood's variance. An abandoned preparation is no censored one: for that see
    `incidence`. Raises Unusable for no spells or a time below 0.
    Sources: Kaplan and Meier, J Am Stat Assoc 1958;53:457-481; Greenwood 1926; limits of
    Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data, 1980.
    """
    share("The level", level)
    z = normal_quantile((1 + level) / 2)
    height, summed = 1.0, 0.0
    rungs = []
    for time, waiting, ended in _table(spells):
        endings = sum(ended.values())
        height *= 1 - endings / waiting
        if endings < waiting:
            summed += endings / (waiting * (waiting - endings))
        error = height * math.sqrt(summed)
        low, high = _log_log(height, error, z)
        rungs.append(
            Rung(
                time=time,
                height=height,
                error=error,
                low=low,
                high=high,
                waiting=waiting,
                endings=endings,
            )
        )
    return _curve(1.0, rungs, spells)


def incidence(spells: Sequence[Spell], ending: str, *, level: float = 0.95) -> Curve:
    """The share that has had one ending by each time, where the others compete with it.

    The estimate of Aalen and Johansen with the variance of the delta method (Marubini and
    Valsecchi, Analysing Survival Data, 1995, equation 10.12); log-log limits. Only the times of
    that ending are rungs. Raises Unusable for no spells, a time below 0 or an ending that no spell
    has.
    Source: Aalen and Johansen, Scand J Stat 1978;5:141-150.
    """
    share("The level", level)
    table = _table(spells)
    if not any(ending in ended for _, _, ended in table):
        raise Unusable(
            f'No wait ended in "{ending}". Look at the name, or show 0 of {len(spells)}.'
        )
    z = normal_quantile((1 + level) / 2)
    left, height, sums = 1.0, 0.0, _Sums()
    rungs = []
    for time, waiting, ended in table:
        all_ended, own = sum(ended.values()), ended.get(ending, 0)
        height += left * own / waiting
        sums.add(height, left, waiting, all_ended, own)
        left *= 1 - all_ended / waiting
        if own == 0:
            continue
        error = math.sqrt(max(0.0, sums.variance(height)))
        # Limits of the share without that ending, turned round.
        low, high = _log_log(1 - height, error, z)
        rungs.append(
            Rung(
                time=time,
                height=height,
                error=error,
                low=1 - high,
                high=1 - low,
                waiting=waiting,
                endings=own,
            )
        )
    return _curve(0.0, rungs, spells)


class _Sums:
    """Running sums of the delta method: the variance of an incidence h is a square in h.

    V = sum over steps i of (h - h_i)^2 d_i / (n_i (n_i - d_i)) + S_i^2 (n_i - e_i) e_i / n_i^3
    - 2 (h - h_i) S_i e_i / n_i^2, with d all endings, e those of one kind, n those waiting, S the
    share still waiting before the step and h_i the incidence after it.
    """

    __slots__ = ("linear", "plain", "square")

    def __init__(self) -> None:
        self.square = self.linear = self.plain = 0.0

    def add(self, then: float, left: float, waiting: int, ended: int, own: int) -> None:
        # When all have ended there is no later step, and h - h_i is 0 at this one.
        hazard = ended / (waiting * (waiting - ended)) if ended < waiting else 0.0
        drop = left * own / waiting**2
        self.square += hazard
        self.linear -= 2 * (then * hazard + drop)
        self.plain += then**2 * hazard + 2 * then * drop
        self.plain += left**2 * (waiting - own) * own / waiting**3

    def variance(self, height: float) -> float:
        return (self.square * height + self.linear) * height + self.plain


def _table(spells: Sequence[Spell]) -> list[tuple[float, int, dict[str, int]]]:
    """At each time of an ending: how many were waiting just before, and how many ended by what."""
    enough("The list of waits", spells, 1)
    for spell in spells:
        finite("A wait", spell.time, least=0)
    ordered = sorted(spells, key=lambda spell: spell.time)
    table: list[tuple[float, int, dict[str, int]]] = []
    waiting, place = len(ordered), 0
    while place < len(ordered):
        time = ordered[place].time
        ended: dict[str, int] = {}
        gone = 0
        while place + gone < len(ordered) and ordered[place + gone].time == time:
            ending = ordered[place + gone].ending
            if ending is not None:
                ended[ending] = ended.get(ending, 0) + 1
            gone += 1
        if ended:
            table.append((time, waiting, ended))
        waiting -= gone
        place += gone
    return table


def _log_log(height: float, error: float, z: float) -> tuple[float, float]:
    """Limits of a share, normal on the scale of log(-log); none wider than 0 to 1.

    A share within rounding of 0 or 1 has no limits but itself: no list of waits is so long.
    """
    if not _ROUNDING < height < 1 - _ROUNDING:
        return height, height
    half = z * error / (height * abs(math.log(height)))
    return height ** math.exp(half), height ** math.exp(-half)


def _curve(start: float, rungs: list[Rung], spells: Sequence[Spell]) -> Curve:
    return Curve(
        start=start,
        rungs=tuple(rungs),
        spells=len(spells),
        longest=max(spell.time for spell in spells),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRank:
    """Whether groups differ in their waits: chi-square, its degrees and its P value."""

    chi_square: float
    freedom: int
    p_value: float


def log_rank(first: Sequence[Spell], second: Sequence[Spell]) -> LogRank:
    """Whether two groups of waits differ, any ending being the event.

    Raises Unusable when nothing happened in both while both were waiting.
    Sources: Mantel, Cancer Chemother Rep 1966;50:163-170; Peto and Peto, J R Stat Soc A
    1972;135:185-207.
    """
    enough("The first list of waits", first, 1)
    enough("The second list of waits", second, 1)
    excess = variance = 0.0
    times = sorted(spell.time for spell in first)
    ended_first = {time: sum(ended.values()) for time, _, ended in _table(first)}
    for time, waiting, ended in _table([*first, *second]):
        endings, own_endings = sum(ended.values()), ended_first.get(time, 0)
        part = (len(times) - bisect_left(times, time)) / waiting
        excess += own_endings - endings * part
        if waiting > 1:
            variance += endings * part * (1 - part) * (waiting - endings) / (waiting - 1)
    if not variance > 0:
        raise Unusable("Nothing happened while both groups were waiting, so they do not compare.")
    chi_square = excess**2 / variance
    return LogRank(chi_square=chi_square, freedom=1, p_value=chi_square_above(chi_square, 1))
