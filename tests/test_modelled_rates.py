"""Rates that allow for people: each checked against an outside package on the same figures."""

from __future__ import annotations

import math
import random

import pytest

from checklist.review.clustered import Cluster, ratio
from checklist.review.poisson_regression import Cell, fit
from checklist.review.unusable import Unusable

PEOPLE = [
    Cluster(first=a, first_exposure=b, second=c, second_exposure=d)
    for a, b, c, d in (
        (3, 20, 2, 31), (0, 12, 1, 15), (7, 33, 2, 29), (2, 18, 4, 40), (1, 9, 0, 11),
        (4, 25, 3, 25), (6, 30, 5, 44), (2, 14, 1, 20), (0, 10, 2, 22), (5, 21, 2, 27),
    )
]  # fmt: skip


def test_limits_of_whole_people_are_those_of_scipys_paired_bootstrap() -> None:
    """scipy.stats.bootstrap with paired=True, percentile: it draws the same index for all four."""
    stats = pytest.importorskip("scipy.stats")
    numpy = pytest.importorskip("numpy")
    data = [
        numpy.array([getattr(one, name) for one in PEOPLE], dtype=float)
        for name in ("first", "first_exposure", "second", "second_exposure")
    ]
    theirs = stats.bootstrap(
        data,
        lambda a, b, c, d, axis=-1: (a.sum(axis) / b.sum(axis)) / (c.sum(axis) / d.sum(axis)),
        paired=True, vectorized=True, method="percentile", n_resamples=20_000, rng=1,
    ).confidence_interval  # fmt: skip
    ours = ratio(PEOPLE, draws=20_000, seed=7)
    assert ours.ratio == pytest.approx((30 / 192) / (22 / 264))
    # Twice the error of a 2.5 % quantile of 20,000 draws lies within 2 %.
    assert ours.low == pytest.approx(theirs.low, rel=0.02)
    assert ours.high == pytest.approx(theirs.high, rel=0.02)
    assert ours.people == 10 and ours.largest == pytest.approx(74 / 456)


def test_the_same_seed_gives_the_same_limits_and_people_widen_them() -> None:
    assert ratio(PEOPLE, seed=3) == ratio(PEOPLE, seed=3) != ratio(PEOPLE, seed=4)
    one_bad = [
        Cluster(first=30 if n == 0 else 0, first_exposure=40, second=2, second_exposure=40)
        for n in range(10)
    ]
    even = [Cluster(first=3, first_exposure=40, second=2, second_exposure=40)] * 10
    wide, narrow = ratio(one_bad), ratio(even)
    assert wide.ratio == narrow.ratio == pytest.approx(1.5)
    assert wide.low == 0 and wide.high > 3
    assert narrow.low == narrow.high == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("people", "said"),
    [
        (PEOPLE[:4], "has 4. At least 5"),
        ([Cluster(first=1, first_exposure=3, second=0, second_exposure=9)] * 6, "no event"),
        ([Cluster(first=1, first_exposure=0, second=1, second_exposure=9)] * 6, "no exposure"),
        ([Cluster(first=-1, first_exposure=3, second=0, second_exposure=9)] * 6, "first count"),
    ],
)
def test_people_that_give_no_ratio_are_told(people: list[Cluster], said: str) -> None:
    with pytest.raises(Unusable, match=said):
        ratio(people)


def _cells() -> list[Cell]:
    draw = random.Random(20)
    cells = []
    for person in range(14):
        own = draw.uniform(0.06, 0.2)
        for breaks in range(4):
            for load in (1.0, 2.0, 5.0):
                exposure = draw.randint(5, 60)
                mean = exposure * own * 1.12**breaks * 1.03**load
                events = sum(draw.random() < mean / 400 for _ in range(400))
                cells.append(
                    Cell(
                        events=events, exposure=exposure, causes=(float(breaks), load),
                        person=f"p{person}",
                    )
                )  # fmt: skip
    return cells


def test_factors_and_robust_errors_are_those_of_statsmodels() -> None:
    """statsmodels GLM, Poisson, offset log(exposure), cov_type "cluster" by person."""
    api = pytest.importorskip("statsmodels.api")
    numpy = pytest.importorskip("numpy")
    cells = _cells()
    design = numpy.array([[1.0, *one.causes] for one in cells])
    groups = numpy.array([int(one.person[1:]) for one in cells])
    theirs = api.GLM(
        numpy.array([one.events for one in cells]), design,
        family=api.families.Poisson(),
        offset=numpy.log([one.exposure for one in cells]),
    ).fit(
        cov_type="cluster", cov_kwds={"groups": groups, "use_correction": True}, tol=1e-14
    )  # fmt: skip
    ours = fit(cells)
    assert math.log(ours.base) == pytest.approx(theirs.params[0], rel=1e-8)
    # Theirs has the further factor (n - 1) / (n - k), which hangs on how cells are cut.
    cut = math.sqrt((len(cells) - 1) / (len(cells) - 3))
    for place, factor in enumerate(ours.factors, start=1):
        assert factor.log == pytest.approx(theirs.params[place], rel=1e-7)
        assert factor.error * cut == pytest.approx(theirs.bse[place], rel=1e-6)
        z = factor.log / factor.error
        assert factor.p_value == pytest.approx(math.erfc(abs(z) / math.sqrt(2)))
    assert ours.people == 14 and ours.factors[0].low < 1.12 < ours.factors[0].high


def test_cells_may_be_joined_or_split_without_another_answer() -> None:
    cells = _cells()
    split = [
        part
        for one in cells
        for part in (
            Cell(
                events=one.events, exposure=one.exposure / 3, causes=one.causes, person=one.person
            ),
            Cell(events=0, exposure=2 * one.exposure / 3, causes=one.causes, person=one.person),
        )
    ]
    for one, other in zip(fit(cells).factors, fit(split).factors, strict=True):
        assert one.times == pytest.approx(other.times) and one.error == pytest.approx(other.error)


def _cell(events: int, cause: float, person: str = "a") -> Cell:
    return Cell(events=events, exposure=10, causes=(cause,), person=person)


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ([_cell(1, 0), _cell(2, 1)], "list of people"),
        ([_cell(0, 0), _cell(0, 1, "b")], "no event"),
        ([_cell(1, 1), _cell(2, 1, "b")], "told apart"),
        ([_cell(0, 0), _cell(5, 1, "b")], "No finite factor"),
    ],
)
def test_counts_that_give_no_factor_are_told(cells: list[Cell], said: str) -> None:
    with pytest.raises(Unusable, match=said):
        fit(cells)
