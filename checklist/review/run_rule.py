"""Runs about a line and their exact chances, for statistics on counts and never for doses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache

from checklist.review.unusable import Unusable, finite, whole

LEAST = 10
"""The fewest useful points that the published limits of runs are given for."""


class Line(StrEnum):
    """Where the line of a run chart comes from."""

    FROZEN = "frozen beforehand"
    OWN_MEDIAN = "the points' own median"


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Neighbouring points on one side of the line: +1 above, -1 below.

    `points` are their places, from 0; points on the line lie on no side and are skipped.
    """

    side: int
    points: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Runs:
    """All runs about a line with the last quiet values: a longer run or fewer crossings signal.

    The limits are None below ten useful points (those not on the line).
    """

    runs: tuple[Run, ...]
    useful: int
    longest: int
    crossings: int
    longest_limit: int | None
    crossings_limit: int | None

    @property
    def too_long(self) -> tuple[Run, ...]:
        """The runs longer than their limit."""
        limit = self.longest_limit
        return () if limit is None else tuple(r for r in self.runs if len(r.points) > limit)

    @property
    def too_few_crossings(self) -> bool:
        """Whether the line is crossed more seldom than its limit."""
        return self.crossings_limit is not None and self.crossings < self.crossings_limit


def runs(values: Sequence[float], line: float) -> Runs:
    """The runs of the values about the line, with the published limits of Anhoej.

    Sources: Anhoej and Olesen, PLoS ONE 2014;9:e113825; Anhoej, PLoS ONE 2015;10:e0121349.
    """
    finite("The line", line)
    found: list[tuple[int, list[int]]] = []
    for place, value in enumerate(values):
        side = (finite("A value", value) > line) - (value < line)
        if side == 0:
            continue
        if found and found[-1][0] == side:
            found[-1][1].append(place)
        else:
            found.append((side, [place]))
    useful = sum(len(points) for _, points in found)
    judged = useful >= LEAST
    return Runs(
        runs=tuple(Run(side=side, points=tuple(points)) for side, points in found),
        useful=useful,
        longest=max((len(points) for _, points in found), default=0),
        crossings=max(0, len(found) - 1),
        longest_limit=longest_limit(useful) if judged else None,
        crossings_limit=crossings_limit(useful) if judged else None,
    )


def longest_limit(useful: int) -> int:
    """The longest run that is still quiet: round(log2 n) + 3 (Schilling, Math Mag 2012;85:141)."""
    whole("The number of useful points", useful, least=LEAST)
    return round(math.log2(useful)) + 3


@lru_cache
def crossings_limit(useful: int) -> int:
    """The fewest crossings that are still quiet: the 5% point of the binomial (n - 1, 1/2).

    Source: Chen, Commun Stat Simul Comput 2010;39:1471-1485, as used by Anhoej.
    """
    whole("The number of useful points", useful, least=LEAST)
    tries, total = useful - 1, 0
    for crossings in range(useful):
        total += math.comb(tries, crossings)
        if 20 * total >= 2**tries:
            return crossings
    raise AssertionError("the chances add up to 1")


def compositions(total: int, parts: int, largest: int) -> int:
    """In how many orders `parts` whole numbers from 1 to `largest` add up to `total`.

    By inclusion and exclusion over the parts that are too large (Riordan, Introduction to
    Combinatorial Analysis, 1958, chapter 6).
    """
    if parts == 0:
        return int(total == 0)
    count = 0
    for over in range(parts + 1):
        rest = total - over * largest - 1
        if rest < parts - 1:
            break
        count += (-1) ** over * math.comb(parts, over) * math.comb(rest, parts - 1)
    return count


def orders(points: int, crossings: int, longest: int, line: Line = Line.FROZEN) -> int:
    """How many equally likely orders have so many crossings and no run over `longest`.

    The first point is taken as above the line, which loses nothing. About a frozen line there are
    2^(n-1) orders in all; about their own median, with half the points on each side, half of
    the binomial (n, n/2). Raises Unusable for an odd number about their own median.
    Source: the joint distribution of Wentzel-Larsen and Anhoej, PLoS ONE 2019;14:e0223233.
    """
    count = crossings + 1
    if line is Line.FROZEN:
        return compositions(points, count, longest)
    if points % 2:
        raise Unusable(
            f"{points} points cannot lie half above and half below their median. Leave out the "
            "one on it."
        )
    above, below = (count + 1) // 2, count // 2
    return compositions(points // 2, above, longest) * compositions(points // 2, below, longest)


@lru_cache
def alarm_chance(points: int, line: Line = Line.FROZEN) -> Fraction:
    """The exact chance that so many stable points break the run or the crossings limit.

    Points are independent, as likely above as below, none on the line. 0 below ten points, where
    no limit is set.
    """
    whole("The number of points", points)
    if points < LEAST:
        return Fraction(0)
    longest = longest_limit(points)
    fewest = crossings_limit(points)
    quiet = sum(orders(points, crossings, longest, line) for crossings in range(fewest, points))
    return 1 - Fraction(quiet, _all_orders(points, line))


@lru_cache
def run_chance(points: int, length: int, line: Line = Line.FROZEN) -> Fraction:
    """The exact chance of a run of `length` or longer among so many stable points."""
    whole("The number of points", points, least=1)
    whole("The length of a run", length, least=1)
    quiet = sum(orders(points, crossings, length - 1, line) for crossings in range(points))
    return 1 - Fraction(quiet, _all_orders(points, line))


def _all_orders(points: int, line: Line) -> int:
    if line is Line.FROZEN:
        return 1 << (points - 1)
    return math.comb(points, points // 2) // 2


@lru_cache
def run_count_limits(useful: int) -> tuple[int, int]:
    """The fewest and the most runs that are still quiet, each tail at most 2.5%.

    Half the points lie above their median and half below (for an odd number one more below).
    Exact, by the distribution of Wald and Wolfowitz, Ann Math Stat 1940;11:147-162, the one
    behind the tables of Swed and Eisenhart, Ann Math Stat 1943;14:66-87.
    """
    whole("The number of useful points", useful, least=LEAST)
    above, below = useful // 2, useful - useful // 2
    ways = {
        count: sum(
            math.comb(above - 1, first - 1) * math.comb(below - 1, count - first - 1)
            for first in {count // 2, count - count // 2}
        )
        * (1 if count % 2 else 2)
        for count in range(2, useful + 1)
    }
    bar = math.comb(useful, above)
    return _beyond(ways, sorted(ways), bar), _beyond(ways, sorted(ways, reverse=True), bar)


def _beyond(ways: dict[int, int], counts: Sequence[int], whole_sum: int) -> int:
    """The first count, going inwards, at which the tail passes 2.5%."""
    total = 0
    for count in counts:
        total += ways[count]
        if 40 * total > whole_sum:
            return count
    raise AssertionError("the chances add up to 1")
