"""The list of open preparations, kept up from entry to entry, against the whole look."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist import trail_reading as reading
from checklist.preparation import CLOSED
from checklist.trail import Trail
from tests.test_trail_together import Failed, act
from tests.ward_trail import event, made

MOVES = st.tuples(
    st.sampled_from(["p", "q", "r", "s"]), st.sampled_from(["step-2", "given", "abandoned"])
)


def whole(trail: Trail) -> tuple[reading.Listed, ...]:
    with trail._connection.reading() as db:
        return reading.listed(db, only_open=True)


@given(
    blocks=st.lists(
        st.tuples(st.lists(MOVES, max_size=5), st.booleans(), st.booleans()), max_size=6
    )
)
@settings(max_examples=40, deadline=None)
def test_it_is_the_whole_look_whatever_was_added_or_taken_back(
    blocks: list[tuple[list[tuple[str, str]], bool, bool]],
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    with made(tmp_path_factory.mktemp("open")) as trail:
        reader = Trail.open(trail.path, read_only=True)
        number, turns = 0, dict.fromkeys("pqrs", 0)
        ended: dict[str, str] = {}
        for moves, taken_back, asked in blocks:
            before, over = dict(turns), dict(ended)
            try:
                with trail.together():
                    for preparation, meant in moves:
                        # What is over stays where it ended; only a remark can follow.
                        lands = ended.get(preparation, meant)
                        if lands in CLOSED:
                            ended[preparation] = lands
                        trail.append(event(number, preparation, turns[preparation], lands=lands))
                        number, turns[preparation] = number + 1, turns[preparation] + 1
                        if asked:
                            assert trail.open_preparations() == whole(trail)
                    trail.record(act(number))
                    if taken_back:
                        raise Failed
            except Failed:
                turns, ended = before, over
            number += 1
            assert trail.open_preparations() == whole(trail)
            assert reader.open_preparations() == whole(reader)
        reader.close()
