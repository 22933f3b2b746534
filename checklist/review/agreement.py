"""How far observers agree beyond chance, for statistics on counts and never for doses."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import fmean

from checklist.review.distribution import normal_quantile
from checklist.review.interval import Interval, proportion
from checklist.review.unusable import Unusable, enough, share, whole


class Weighting(StrEnum):
    """How much a near miss in the table counts; unweighted is for words without an order."""

    NONE = "unweighted"
    LINEAR = "linear"
    QUADRATIC = "quadratic"


@dataclass(frozen=True, slots=True, kw_only=True)
class Kappa:
    """Agreement beyond chance with a normal interval; 1 is full, 0 is what chance would give.

    `z` tests it against 0; `error` is its standard error and `null_error` that if it were 0.
    """

    kappa: float
    error: float
    low: float
    high: float
    level: float
    null_error: float
    z: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Agreement of two observers: never kappa alone, since it falls when nearly all pass.

    `agreement` is the share of subjects on which they agree; `expected` what chance would give.
    """

    subjects: int
    agreement: Interval
    expected: float
    kappa: Kappa


def of_two(
    table: Sequence[Sequence[int]],
    *,
    weighting: Weighting = Weighting.NONE,
    level: float = 0.95,
) -> Pair:
    """Cohen's kappa of a square table: rows are the first observer's words, columns the second's.

    Raises Unusable for a table that is not square, has fewer than two words or no subject, or in
    which both observers used one word only.
    Sources: Cohen, Educ Psychol Meas 1960;20:37-46; weighted, Psychol Bull 1968;70:213-220;
    standard errors, Fleiss, Cohen and Everitt, Psychol Bull 1969;72:323-327.
    """
    share("The level", level)
    counts = _square(table)
    size = len(counts)
    total = sum(map(sum, counts))
    cells = [[count / total for count in row] for row in counts]
    rows = [math.fsum(row) for row in cells]
    columns = [math.fsum(row[j] for row in cells) for j in range(size)]
    weight = _weights(weighting, size)
    observed = _both(cells, lambda i, j: weight[i][j])
    expected = math.fsum(
        rows[i] * columns[j] * weight[i][j] for i in range(size) for j in range(size)
    )
    if not expected < 1:
        raise Unusable(
            "Both observers used one word only, so chance alone explains their agreement. Show "
            "the share on which they agree."
        )
    kappa = (observed - expected) / (1 - expected)
    by_row = [
        math.fsum(w * c for w, c in zip(weight[i], columns, strict=True)) for i in range(size)
    ]
    by_column = [math.fsum(weight[i][j] * rows[i] for i in range(size)) for j in range(size)]

    def spread(i: int, j: int) -> float:
        return float((weight[i][j] - (by_row[i] + by_column[j]) * (1 - kappa)) ** 2)

    variance = _both(cells, spread) - (kappa - expected * (1 - kappa)) ** 2
    null = (
        math.fsum(
            rows[i] * columns[j] * (weight[i][j] - by_row[i] - by_column[j]) ** 2
            for i in range(size)
            for j in range(size)
        )
        - expected**2
    )
    scale = (1 - expected) * math.sqrt(total)
    agreed = sum(counts[i][i] for i in range(size))
    return Pair(
        subjects=total,
        agreement=proportion(agreed, total, level=level),
        expected=expected,
        kappa=_kappa(kappa, _root(variance) / scale, _root(null) / scale, level),
    )


def _square(table: Sequence[Sequence[int]]) -> list[list[int]]:
    if len(table) < 2 or any(len(row) != len(table) for row in table):
        raise Unusable(
            f"The table has {len(table)} rows of {sorted({len(row) for row in table})} columns. "
            "As many columns as rows, two or more, are expected."
        )
    counts = [[whole("A count in the table", count) for count in row] for row in table]
    if not any(map(any, counts)):
        raise Unusable("The table is empty. Record what both observers saw.")
    return counts


def _weights(weighting: Weighting, size: int) -> list[list[float]]:
    """1 on the diagonal; off it 0, or 1 less the distance (or its square) over the largest one."""
    if weighting is Weighting.NONE:
        return [[float(i == j) for j in range(size)] for i in range(size)]
    power = 1 if weighting is Weighting.LINEAR else 2
    return [[1 - (abs(i - j) / (size - 1)) ** power for j in range(size)] for i in range(size)]


def _both(cells: Sequence[Sequence[float]], times: Callable[[int, int], float]) -> float:
    return math.fsum(
        cell * times(i, j) for i, row in enumerate(cells) for j, cell in enumerate(row)
    )


def _root(variance: float) -> float:
    """The root of a variance, which rounding can put a hair below 0."""
    return math.sqrt(max(0.0, variance))


def _kappa(kappa: float, error: float, null_error: float, level: float) -> Kappa:
    half = normal_quantile((1 + level) / 2) * error
    return Kappa(
        kappa=kappa,
        error=error,
        low=kappa - half,
        high=min(1.0, kappa + half),
        level=level,
        null_error=null_error,
        z=kappa / null_error if null_error > 0 else math.inf,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Many:
    """Agreement of many observers, as a whole and word by word in the order of the columns.

    `agreement` is the mean share of pairs of observers that agree on a subject.
    """

    subjects: int
    raters: int
    agreement: float
    expected: float
    kappa: Kappa
    words: tuple[float | None, ...]


def of_many(counts: Sequence[Sequence[int]], *, level: float = 0.95) -> Many:
    """Fleiss' kappa: each row is a subject, each column how many observers chose that word.

    The interval is that of the delete-one jackknife over subjects; the test is that of Fleiss,
    Nee and Landis. A word that nobody or everybody chose has None. Raises Unusable for fewer than
    three subjects or two observers, unequal numbers of observers, or one word only.
    Sources: Fleiss, Psychol Bull 1971;76:378-382; Fleiss, Nee and Landis, Psychol Bull
    1979;86:974-977; Efron, The Jackknife, the Bootstrap and Other Resampling Plans, 1982.
    """
    share("The level", level)
    raters = _raters(counts)
    subjects, words = len(counts), len(counts[0])
    sums = [sum(row[j] for row in counts) for j in range(words)]
    squares = [sum(count * count for count in row) for row in counts]
    if max(sums) == subjects * raters:
        raise Unusable(
            "All observers used one word only, so chance alone explains their agreement. Show "
            "the share on which they agree."
        )
    agreement, expected, kappa = _fleiss(sums, sum(squares), subjects, raters)
    without = []
    for row, square in zip(counts, squares, strict=True):
        rest = [total - count for total, count in zip(sums, row, strict=True)]
        if max(rest) < (subjects - 1) * raters:
            without.append(_fleiss(rest, sum(squares) - square, subjects - 1, raters)[2])
    middle = fmean(without)
    spread = math.fsum((value - middle) ** 2 for value in without)
    shares = [total / (subjects * raters) for total in sums]
    return Many(
        subjects=subjects,
        raters=raters,
        agreement=agreement,
        expected=expected,
        kappa=_kappa(
            kappa,
            math.sqrt((len(without) - 1) / len(without) * spread),
            _fleiss_null(shares, subjects, raters),
            level,
        ),
        words=tuple(
            _word(counts, j, p, raters) if 0 < p < 1 else None for j, p in enumerate(shares)
        ),
    )


def _raters(counts: Sequence[Sequence[int]]) -> int:
    enough("The list of subjects", counts, 3)
    sums = {sum(whole("A count of observers", c) for c in row) for row in counts}
    if len(sums) != 1 or len({len(row) for row in counts}) != 1:
        raise Unusable(
            f"The subjects were seen by {sorted(sums)} observers, or the words differ. The same "
            "number of observers and the same words are expected for each."
        )
    return whole("The number of observers", sums.pop(), least=2)


def _fleiss(
    sums: Sequence[int], squares: int, subjects: int, raters: int
) -> tuple[float, float, float]:
    """Agreement, its chance value and kappa, from word totals and the sum of squared counts."""
    agreement = (squares - subjects * raters) / (subjects * raters * (raters - 1))
    expected = sum(total * total for total in sums) / (subjects * raters) ** 2
    return agreement, expected, (agreement - expected) / (1 - expected)


def _fleiss_null(shares: Sequence[float], subjects: int, raters: int) -> float:
    """The standard error if kappa were 0 (Fleiss, Nee and Landis 1979, equation 12)."""
    mixed = math.fsum(p * (1 - p) for p in shares)
    skew = math.fsum(p * (1 - p) * (1 - 2 * p) for p in shares)
    return math.sqrt(2 * (mixed**2 - skew) / (subjects * raters * (raters - 1))) / mixed


def _word(counts: Sequence[Sequence[int]], j: int, p: float, raters: int) -> float:
    """Kappa of one word against all others together (Fleiss 1971)."""
    apart = sum(row[j] * (raters - row[j]) for row in counts)
    return 1 - apart / (len(counts) * raters * (raters - 1) * p * (1 - p))


def tally(pairs: Sequence[tuple[str, str]], words: Sequence[str]) -> tuple[tuple[int, ...], ...]:
    """The table for `of_two` from what both observers said of each subject, in order of `words`.

    Raises Unusable for a word that is not among them.
    """
    places = {word: place for place, word in enumerate(words)}
    table = [[0] * len(words) for _ in words]
    for first, second in pairs:
        for said in (first, second):
            if said not in places:
                raise Unusable(f'"{said}" is not one of the words {", ".join(words)}.')
        table[places[first]][places[second]] += 1
    return tuple(map(tuple, table))
