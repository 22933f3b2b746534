"""Agreement of observers against printed tables and general statistics packages."""

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.review.agreement import Weighting, of_many, of_two, tally
from checklist.review.unusable import Unusable
from tests.published import digits, read, same

PRINTED = read("kappa")


@pytest.mark.parametrize("row", PRINTED["cohen"], ids=lambda r: r["name"])
def test_kappa_of_two_observers_is_the_printed_one(row: Any) -> None:
    found = of_two(row["table"])
    assert same(found.kappa.kappa, row["kappa"], row["decimals"])
    linear = of_two(row["table"], weighting=Weighting.LINEAR)
    assert same(linear.kappa.kappa, row["linear_weighted"], row["decimals"])
    if "se" in row:
        assert same(found.kappa.error, row["se"], row["decimals"])


def _counts(ratings: list[list[int]]) -> list[list[int]]:
    return [[row.count(word) for word in range(1, 6)] for row in ratings]


DIAGNOSES = _counts(PRINTED["fleiss_1971"]["ratings"])


def test_kappa_of_many_observers_is_the_printed_one() -> None:
    example = PRINTED["fleiss_1971"]
    assert same(of_many(DIAGNOSES).kappa.kappa, example["kappa"], example["decimals"])
    example = PRINTED["fleiss_table_10x5"]
    assert same(of_many(example["counts"]).kappa.kappa, example["kappa"], example["decimals"])


# Kappa by word 0.245, 0.245, 0.520, 0.471, 0.566 (Fleiss 1971, table 3) and z = 17.7 (R package
# irr, kappam.fleiss on the same data): both from memory.
def test_kappa_by_word_and_its_test_are_the_printed_ones() -> None:
    found = of_many(DIAGNOSES)
    for value, printed in zip(found.words, (0.245, 0.245, 0.520, 0.471, 0.566), strict=True):
        assert value is not None
        assert same(value, printed, 3)
    assert same(found.kappa.z, 17.7, 1)


tables = st.integers(2, 5).flatmap(
    lambda size: st.lists(
        st.lists(st.integers(0, 30), min_size=size, max_size=size), min_size=size, max_size=size
    )
)


@given(tables)
@settings(max_examples=60, deadline=None)
def test_kappa_and_its_errors_are_those_of_the_package(table: list[list[int]]) -> None:
    raters = pytest.importorskip("statsmodels.stats.inter_rater")
    rows, columns = (
        [sum(row) > 0 for row in table],
        [sum(col) > 0 for col in zip(*table, strict=True)],
    )
    if sum(rows) < 2 or sum(columns) < 2:
        return
    names = {Weighting.NONE: None, Weighting.LINEAR: "linear", Weighting.QUADRATIC: "quadratic"}
    for weighting, name in names.items():
        other = raters.cohens_kappa(table, wt=name)
        found = of_two(table, weighting=weighting).kappa
        assert found.kappa == pytest.approx(other.kappa, abs=1e-9)
        assert found.null_error == pytest.approx(other.std_kappa0, abs=1e-9)
        if not math.isnan(other.std_kappa) and other.std_kappa > 1e-6:
            assert found.error == pytest.approx(other.std_kappa, abs=1e-9)
            assert found.low == pytest.approx(other.kappa_low, abs=1e-9)


@given(st.lists(st.lists(st.integers(0, 3), min_size=6, max_size=6), min_size=3, max_size=25))
@settings(max_examples=60, deadline=None)
def test_kappa_of_many_is_that_of_the_package(ratings: list[list[int]]) -> None:
    raters = pytest.importorskip("statsmodels.stats.inter_rater")
    counts = [[row.count(word) for word in range(4)] for row in ratings]
    if max(sum(column) for column in zip(*counts, strict=True)) == 6 * len(counts):
        return
    assert of_many(counts).kappa.kappa == pytest.approx(raters.fleiss_kappa(counts), abs=1e-9)


def test_the_jackknife_leaves_out_one_subject_at_a_time() -> None:
    found = of_many(DIAGNOSES).kappa
    parts = [
        of_many([row for place, row in enumerate(DIAGNOSES) if place != out]).kappa.kappa
        for out in range(30)
    ]
    mean = sum(parts) / 30
    error = math.sqrt(29 / 30 * sum((part - mean) ** 2 for part in parts))
    assert found.error == pytest.approx(error)
    assert found.low < found.kappa < found.high


def test_kappa_falls_when_nearly_all_pass_though_agreement_does_not() -> None:
    """The paradox of Feinstein and Cicchetti, J Clin Epidemiol 1990;43:543-549: same agreement."""
    even, skewed = of_two([[40, 9], [6, 45]]), of_two([[80, 10], [5, 5]])
    assert even.agreement.estimate == skewed.agreement.estimate == 0.85
    assert digits(even.kappa.kappa, 0.70, 2)
    assert digits(skewed.kappa.kappa, 0.32, 2)
    assert skewed.expected > even.expected


def test_full_agreement_is_1_and_turning_the_table_changes_nothing() -> None:
    full = of_two([[10, 0], [0, 20]])
    assert (full.kappa.kappa, full.kappa.error, full.kappa.high) == (1, 0, 1)
    table = [[12, 3, 1], [4, 20, 5], [0, 2, 9]]
    turned = [list(column) for column in zip(*table, strict=True)]
    for weighting in Weighting:
        one, other = of_two(table, weighting=weighting), of_two(turned, weighting=weighting)
        assert one.kappa.kappa == pytest.approx(other.kappa.kappa)
        assert one.kappa.error == pytest.approx(other.kappa.error)


def test_a_tally_counts_pairs_in_the_order_of_the_words() -> None:
    words = ("seen", "not so", "not observable")
    pairs = [("seen", "seen"), ("seen", "not so"), ("not so", "not so"), ("seen", "seen")]
    assert tally(pairs, words) == ((2, 1, 0), (0, 1, 0), (0, 0, 0))
    with pytest.raises(Unusable, match='"maybe" is not one of the words'):
        tally([("seen", "maybe")], words)


def test_a_word_that_nobody_chose_has_no_kappa() -> None:
    found = of_many([[3, 0, 0], [1, 2, 0], [2, 1, 0], [0, 3, 0]])
    assert found.words[2] is None
    assert found.raters == 3


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: of_two([[3]]), "1 rows"),
        (lambda: of_two([[3, 1], [2]]), "As many columns as rows"),
        (lambda: of_two([[0, 0], [0, 0]]), "table is empty"),
        (lambda: of_two([[9, 0], [0, 0]]), "one word only"),
        (lambda: of_two([[9, -1], [0, 0]]), "count in the table is -1"),
        (lambda: of_many([[2, 0], [0, 2]]), "has 2. At least 3"),
        (lambda: of_many([[2, 0], [0, 2], [3, 0]]), "same number of observers"),
        (lambda: of_many([[1, 0], [0, 1], [1, 0]]), "number of observers is 1"),
        (lambda: of_many([[2, 0]] * 4), "one word only"),
    ],
)
def test_figures_that_cannot_be_used_are_told_in_a_sentence(
    call: Callable[[], object], words: str
) -> None:
    with pytest.raises(Unusable, match=words):
        call()
