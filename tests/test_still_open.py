"""What is kept up from entry to entry, against the whole look: the open preparations, and those of
an order line."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist import trail_reading as reading
from checklist.preparation import CLOSED
from checklist.trail import Trail, TrailDamaged
from tests.test_trail_together import Failed, act
from tests.ward_trail import event, made, plain

MOVES = st.tuples(
    st.sampled_from(["p", "q", "r", "s"]), st.sampled_from(["step-2", "given", "abandoned"])
)


LINE = {"p": "ORD-1", "q": "ORD-2", "r": "ORD-1", "s": "ORD-1"}
"""The order line of each preparation."""


def of_line(trail: Trail, line: str) -> tuple[str, ...]:
    openings = [one.event for one in trail.since(0) if one.event.kind == "opened"]
    return tuple(one.preparation for one in openings if one.body["order"]["id"] == line)


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
                        body = {"order": {"id": LINE[preparation]}}
                        turn = turns[preparation]
                        trail.append(event(number, preparation, turn, lands=lands, body=body))
                        number, turns[preparation] = number + 1, turns[preparation] + 1
                        if asked:
                            assert trail.open_preparations() == whole(trail)
                            assert trail.opened_for("ORD-1") == of_line(trail, "ORD-1")
                    trail.record(act(number))
                    if taken_back:
                        raise Failed
            except Failed:
                turns, ended = before, over
            number += 1
            assert trail.open_preparations() == whole(trail)
            assert reader.open_preparations() == whole(reader)
            for one in (trail, reader):
                assert one.opened_for("ORD-1") == of_line(one, "ORD-1")
                assert one.opened_for("ORD-2") == of_line(one, "ORD-2")
            assert reader.opened_for("ORD-3") == ()
        reader.close()


def test_an_opening_that_was_altered_is_never_left_out_silently(tmp_path: Path) -> None:
    """Else a dose that is in could be given again."""
    with made(tmp_path) as trail:
        trail.append(event(1, "p", body={"order": {"id": "ORD-1"}}))
        assert trail.opened_for("ORD-1") == ("p",)
        trail.append(event(2, "q", body={"order": {"id": "ORD-1"}}))
        with plain(trail.path) as db:
            db.execute("DROP TRIGGER entries_no_update")
            db.execute("UPDATE entries SET body = replace(body, 'ORD-1', 'ORD-2') WHERE seq = 2")
        with pytest.raises(TrailDamaged):
            trail.opened_for("ORD-1")
