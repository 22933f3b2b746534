"""Orders of kinds, and cells too small to show."""

import itertools
import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.review.pareto import draw
from checklist.review.small_cell import FLOOR, Cell, Floor, screen, shown
from checklist.review.unusable import Unusable
from tests.published import read

HARM = read("pareto_harm")
COUNTS = dict(zip(HARM["categories"], HARM["data"], strict=True))


def test_the_leading_kinds_are_the_printed_ones() -> None:
    """ "Other" goes last here, though the printed chart has it before the least."""
    found = draw(COUNTS)
    assert [bar.kind for bar in found.bars[:3]] == HARM["published"]["top3"]
    third = 100 * found.bars[2].cumulative
    assert 78 < third < HARM["published"]["top3_cum_percent_almost"]
    assert round(third, 1) == 78.6
    assert found.total == sum(HARM["data"]) == sum(HARM["severity"].values())
    assert [bar.kind for bar in found.bars[-2:]] == ["Fall", "Other"]


def test_the_order_of_close_neighbours_is_not_settled() -> None:
    """40 against 34: P = 0.56 by the exact binomial test."""
    stats = pytest.importorskip("scipy.stats")
    found = draw(COUNTS)
    assert found.bars[0].apart == pytest.approx(stats.binomtest(40, 74).pvalue)
    assert round(found.bars[0].apart or 0, 2) == 0.56
    assert [bar.settled for bar in found.bars] == [False, False, False, True, False, False, False]
    assert found.bars[-2].apart is None


def test_weights_change_the_order_and_leave_the_counts() -> None:
    found = draw({"wrong label": 30, "wrong drug": 4}, weights={"wrong label": 1, "wrong drug": 10})
    assert [(bar.kind, bar.count, bar.weighted) for bar in found.bars] == [
        ("wrong drug", 4, 40),
        ("wrong label", 30, 30),
    ]
    assert found.bars[0].apart is None


@given(st.dictionaries(st.text(min_size=1, max_size=6), st.integers(0, 50), min_size=1))
def test_shares_rise_to_1_and_the_lead_reaches_the_wished_share(counts: dict[str, int]) -> None:
    if not any(counts.values()):
        return
    found = draw(counts, share=0.8)
    shares = [bar.cumulative for bar in found.bars]
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1)
    assert shares[found.lead - 1] >= 0.8 - 1e-9
    assert found.lead == 1 or shares[found.lead - 2] < 0.8
    assert {bar.kind: bar.count for bar in found.bars} == counts


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: draw({}), "list of kinds has 0"),
        (lambda: draw({"a": 0}), "No event was counted"),
        (lambda: draw({"a": -1}), 'count of "a" is -1'),
        (lambda: draw({"a": 1}, weights={}), '"a" has no weight'),
        (lambda: draw({"a": 1}, weights={"a": -2}), 'weight of "a" is -2'),
        (lambda: screen([Cell(people=-1, preparations=3)], total_shown=True), "people is -1"),
    ],
)
def test_figures_that_cannot_be_used_are_told_in_a_sentence(
    call: Callable[[], object], words: str
) -> None:
    with pytest.raises(Unusable, match=words):
        call()


@pytest.mark.parametrize(
    ("people", "preparations", "seen"),
    [(5, 20, True), (4, 20, False), (5, 19, False), (0, 0, False), (40, 500, True)],
)
def test_a_cell_is_shown_from_5_people_and_20_preparations(
    people: int, preparations: int, seen: bool
) -> None:
    assert shown(Cell(people=people, preparations=preparations)) is seen
    assert Floor() == FLOOR == Floor(people=5, preparations=20)


def test_not_a_number_is_never_shown() -> None:
    assert not shown(Cell(people=math.nan, preparations=30))  # type: ignore[arg-type]
    assert not shown(Cell(people=30, preparations=math.nan))  # type: ignore[arg-type]


cells = st.lists(
    st.builds(
        lambda people, each: Cell(people=people, preparations=people * each),
        st.integers(0, 12),
        st.integers(1, 9),
    ),
    min_size=1,
    max_size=8,
)


@given(cells)
@settings(max_examples=200)
def test_what_is_hidden_cannot_be_worked_out_from_a_shown_total(row: list[Cell]) -> None:
    seen = screen(row, total_shown=True)
    hidden = [cell for cell, visible in zip(row, seen, strict=True) if not visible]
    left = [cell for cell, v in zip(row, seen, strict=True) if v and cell.preparations]
    assert all(shown(cell) for cell in left)
    if hidden and left:
        assert len(hidden) >= 2
        assert sum(cell.preparations for cell in hidden) >= FLOOR.preparations
        assert max(cell.people for cell in hidden) >= FLOOR.people


@given(cells)
def test_without_a_total_only_the_small_cells_are_hidden(row: list[Cell]) -> None:
    seen = screen(row, total_shown=False)
    assert list(seen) == [cell.preparations == 0 or shown(cell) for cell in row]


def test_the_smallest_neighbour_is_hidden_with_a_small_cell() -> None:
    row = [Cell(people=2, preparations=6), *(Cell(people=9, preparations=n) for n in (90, 30, 60))]
    assert screen(row, total_shown=True) == (False, True, False, True)
    for order in itertools.permutations(row):
        hidden = {
            c.preparations
            for c, v in zip(order, screen(order, total_shown=True), strict=True)
            if not v
        }
        assert hidden == {6, 30}
