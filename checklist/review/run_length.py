"""How long a CUSUM runs before it signals, for statistics on counts and never for doses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from checklist.review.cusum import Plan, Standing, decided, weights
from checklist.review.unusable import Unusable, finite, positive, share, whole

_MOST_STATES = 20_000


def of_bernoulli(*, actual: float, chance: float, odds_ratio: float, limit: float) -> float:
    """The mean number of attempts to a signal of the Bernoulli CUSUM that starts from 0.

    `actual` is the true chance of the event; `chance` and `odds_ratio` set the weights. At
    `actual` = `chance` it is the mean time to a false alarm. The states are multiples of a part of
    the smaller step, and a sum between two of them is shared out by its distance, which keeps the
    mean; within 1% of simulation. Raises Unusable for settings outside their range.
    Source of the Markov chain: Brook and Evans, Biometrika 1972;59:539-549; of the lattice:
    Reynolds and Stoumbos, J Qual Technol 1999;31:87-108.
    """
    share("The actual chance", actual)
    positive("The limit", limit)
    with_event, without = weights(chance, odds_ratio)
    up, down = max(with_event, without), -min(with_event, without)
    chance_up = actual if with_event > 0 else 1 - actual
    unit, up_steps, down_steps = _lattice(up, down, limit)
    states = math.ceil(limit / unit - 1e-9)
    if states > _MOST_STATES:
        raise Unusable(
            f"The limit {limit:g} is {states} of the smallest steps away, which is too far to work "
            "out. Take a lower limit or a larger chance."
        )
    return _mean_time(states, limit / unit, (up_steps, chance_up), (-down_steps, 1 - chance_up))


def _lattice(up: float, down: float, limit: float) -> tuple[float, float, float]:
    """A unit of which the smaller step is a whole number, and both steps in it.

    Of the parts of the smaller step that give 300 to 900 states, or of the step itself if it gives
    more, the one that leaves the larger step nearest to whole, so that little is shared out.
    """
    small, large = min(up, down), max(up, down)
    coarse = max(1, math.ceil(300 * small / limit))
    fine = min(coarse + 200, max(1, math.floor(900 * small / limit)))
    ratio = large / small
    parts = min(range(coarse, fine + 1), key=lambda n: abs(n * ratio - round(n * ratio)), default=1)
    unit = small / parts
    return unit, up / unit, down / unit


def _mean_time(
    states: int, limit: float, first: tuple[float, float], second: tuple[float, float]
) -> float:
    """The mean number of moves from state 0 to `limit` or above, for moves (size, chance).

    Solves (I - Q) t = 1 within its band, without pivots: its rows add up to 0 or more and its
    diagonal dominates.
    """
    below = above = 1
    rows: list[dict[int, float]] = []
    for state in range(states):
        row = {state: 1.0}
        for size, chance in (first, second):
            for target, part in _shared(state + size, limit):
                row[target] = row.get(target, 0.0) - chance * part
        below = max(below, state - min(row))
        above = max(above, max(row) - state)
        rows.append(row)
    width = below + above + 1
    band = [[row.get(i - below + k, 0.0) for k in range(width)] for i, row in enumerate(rows)]
    return _solve_band(band, below, above)


def _shared(place: float, limit: float) -> list[tuple[int, float]]:
    """The states next to a place, from 0 and under the limit, and how it is shared out to them."""
    if place >= limit - 1e-9:
        return []
    if place <= 0:
        return [(0, 1.0)]
    low = math.floor(place + 1e-9)
    part = max(0.0, place - low)
    if part < 1e-9:
        return [(low, 1.0)]
    # The upper neighbour may lie on or over the limit though the place does not.
    if low + 1 >= limit - 1e-9:
        return [(low, 1.0)]
    return [(low, 1 - part), (low + 1, part)]


def _solve_band(band: list[list[float]], below: int, above: int) -> float:
    """The first unknown of the band system with 1 on the right everywhere."""
    size = len(band)
    right = [1.0] * size
    for i in range(size):
        row = band[i]
        pivot = row[below]
        reach = min(above, size - 1 - i)
        for j in range(i + 1, min(i + below + 1, size)):
            other = band[j]
            shift = below - (j - i)
            factor = other[shift] / pivot
            if factor == 0.0:
                continue
            for k in range(1, reach + 1):
                other[shift + k] -= factor * row[below + k]
            right[j] -= factor * right[i]
    for i in range(size - 1, -1, -1):
        row = band[i]
        reach = min(above, size - 1 - i)
        total = sum(row[below + k] * right[i + k] for k in range(1, reach + 1))
        right[i] = (right[i] - total) / row[below]
    return right[0]


def limit_for(*, attempts: float, chance: float, odds_ratio: float) -> float:
    """The limit at which a false alarm comes once in `attempts` attempts, on average.

    To two decimals, the lowest that is no more alarm-prone than asked. Raises Unusable as
    `of_bernoulli`.
    """
    positive("The wished number of attempts", attempts)

    def long_enough(hundredths: int) -> bool:
        length = of_bernoulli(
            actual=chance, chance=chance, odds_ratio=odds_ratio, limit=hundredths / 100
        )
        return length >= attempts

    low, high = 0, 50
    while not long_enough(high):
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if long_enough(middle) else (middle, high)
    return high / 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Chances:
    """What becomes of a trainee within so many attempts: the first line reached, if any."""

    competent: float
    stop: float
    open: float


def of_trainee(plan: Plan, actual: float, attempts: int) -> Chances:
    """The exact chances of each verdict when a true share `actual` of attempts is not right.

    Counted out over every number of attempts that are not right, so alpha and beta can be seen as
    they are rather than as promised. Raises Unusable for a share outside 0 to 1 or no attempts.
    """
    share("The actual share", actual)
    whole("The number of attempts", attempts, least=1)
    verdicts = {Standing.COMPETENT: 0.0, Standing.STOP: 0.0}
    now = {0: 1.0}
    for attempt in range(1, attempts + 1):
        after: dict[int, float] = {}
        for wrong, chance in now.items():
            for more, part in ((0, 1 - actual), (1, actual)):
                verdict = decided(wrong + more - attempt * plan.step, plan)
                if verdict is None:
                    after[wrong + more] = after.get(wrong + more, 0.0) + chance * part
                else:
                    verdicts[verdict] += chance * part
        now = after
    return Chances(
        competent=verdicts[Standing.COMPETENT],
        stop=verdicts[Standing.STOP],
        open=sum(now.values()),
    )


def of_normal(*, slack: float, limit: float, shift: float = 0.0) -> float:
    """The mean number of values to a signal of the two-sided CUSUM of normal values.

    All in sigmas; `shift` is how far the mean has moved. The one-sided lengths solve Page's
    integral equation at Gauss-Legendre nodes (Goel and Wu, Technometrics 1971;13:221-230) and
    combine as 1/L = 1/L+ + 1/L- (Kemp, J R Stat Soc B 1961;23:149-153).
    """
    finite("The slack", slack, least=0)
    positive("The limit", limit)
    finite("The shift", shift)
    return 1 / (1 / _one_sided(slack, limit, shift) + 1 / _one_sided(slack, limit, -shift))


def _one_sided(slack: float, limit: float, shift: float) -> float:
    """L(0) of L(z) = 1 + L(0) F(k - z) + integral over 0 to h of L(y) f(y + k - z) dy."""
    law = NormalDist(mu=shift)
    nodes, parts = _legendre(48, limit)
    places = [0.0, *nodes]
    matrix = []
    for i, z in enumerate(places):
        row = [law.cdf(slack - z)]
        row.extend(part * law.pdf(y + slack - z) for y, part in zip(nodes, parts, strict=True))
        matrix.append([float(i == j) - value for j, value in enumerate(row)])
    return _solve(matrix, [1.0] * len(places))[0]


def _legendre(size: int, width: float) -> tuple[list[float], list[float]]:
    """Gauss-Legendre nodes and weights on 0 to `width`, by Newton's method (DLMF 3.5(v))."""
    nodes, parts = [], []
    for i in range(size):
        x = math.cos(math.pi * (i + 0.75) / (size + 0.5))
        for _ in range(100):
            before, now = 1.0, x
            for j in range(2, size + 1):
                before, now = now, ((2 * j - 1) * x * now - (j - 1) * before) / j
            slope = size * (x * now - before) / (x * x - 1)
            move = now / slope
            x -= move
            if abs(move) < 1e-15:
                break
        nodes.append(width * (1 + x) / 2)
        parts.append(width / ((1 - x * x) * slope * slope))
    return nodes, parts


def _solve(matrix: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    """The solution of a full linear system, by elimination with row pivots."""
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    size = len(rows)
    for i in range(size):
        best = max(range(i, size), key=lambda j: abs(rows[j][i]))
        rows[i], rows[best] = rows[best], rows[i]
        for j in range(i + 1, size):
            factor = rows[j][i] / rows[i][i]
            rows[j] = [a - factor * b for a, b in zip(rows[j], rows[i], strict=True)]
    found = [0.0] * size
    for i in range(size - 1, -1, -1):
        rest = sum(rows[i][k] * found[k] for k in range(i + 1, size))
        found[i] = (rows[i][size] - rest) / rows[i][i]
    return found
