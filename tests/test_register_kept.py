"""What preparations used up of a counted stock: kept as it goes, and the same worked out anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from checklist.preparation import CLOSED, Entry
from checklist.register import Uses, booked, concerns, use
from checklist.station import Station
from tests.scene import LABELS, NURSE, Scene, demo_ward
from tests.web_nurse import LATER

AMPOULE = "ORD-101"
"""A controlled drug out of a counted stock."""
CODE = "09520007300114"


def anew(scene: Scene) -> Station:
    """A station of the same place that has kept nothing."""
    return Station(
        scene.trail, scene.ward, workflows={}, limits=scene.station.limits,
        required=scene.station.required, name=scene.station_name, clock=lambda: scene.now,
        new_id=str,
    )  # fmt: skip


def next_line(scene: Scene, number: int) -> None:
    """The same order as another line, opened."""
    line = replace(scene.whole, id=f"LINE-{number}")
    scene._set(replace(scene.ward, orders={**scene.ward.orders, line.id: line}))
    scene.id = scene.station.open(line.id, NURSE).screen.prep.id


def test_what_is_kept_is_what_is_worked_out_anew_at_every_turn(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=AMPOULE)
    stock = scene.ward.unit.register
    for number in range(3):
        there = stock[CODE] - number
        next_line(scene, number)
        while scene.place not in CLOSED:
            counts = {"count_before": there, "count_after": there - 1}
            counts["witness_count_after"] = there - 1
            asked = {one.name for one in scene.station.screen(scene.id).fields} & set(counts)
            outcome = scene.attempt({name: str(counts[name]) for name in asked})
            if outcome.screen.stands == "caution":
                scene.station.proceed(scene.id, "looked_again", scene.hands())
            assert dict(scene.station.uses()) == dict(anew(scene).uses())
        assert booked(stock, scene.station.uses(), own="")[CODE] == there - 1


def test_one_that_is_over_is_worked_out_once_and_anew_where_it_was_taken_back(
    tmp_path: Path,
) -> None:
    scene, uses, asked = Scene(tmp_path, order_id=AMPOULE), Uses(), list[int]()
    scene.open()
    rules = scene.station.rules_of(scene.station.find(scene.id).workflow)

    def told() -> Sequence[Entry]:
        asked.append(scene.trail.head().seq)
        return scene.trail.of(scene.id)

    for _ in range(2):
        uses.of(scene.id, told, rules)
    assert len(asked) == 2
    scene.finish()
    for _ in range(2):
        assert uses.of(scene.id, told, rules) == use(scene.trail.of(scene.id), rules)
    assert len(asked) == 3
    uses.forget()
    uses.of(scene.id, told, rules)
    assert len(asked) == 4


def test_a_register_that_was_written_anew_begins_from_its_own_figures(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=AMPOULE)
    scene.open()
    scene.finish()
    assert len(dict(scene.station.uses())) == 1
    scene.change_unit(register={**scene.ward.unit.register, CODE: 7})
    assert dict(scene.station.uses()) == {}


@pytest.mark.parametrize("order", sorted(set(LABELS) & set(demo_ward().orders)))
def test_whatever_is_passed_over_used_up_nothing_that_is_counted(
    order: str, tmp_path: Path
) -> None:
    scene = Scene(tmp_path, order_id=order)
    scene.now += timedelta(minutes=LATER.get(order, 0))
    scene.open()
    scene.finish()
    ward = demo_ward()
    liquids = {ward.formulary.products[code].container for code in ward.unit.liquids}
    rules = scene.station.rules_of(scene.station.find(scene.id).workflow)
    found = use(scene.trail.of(scene.id), rules)
    if concerns(rules, liquids):
        assert scene.id in dict(scene.station.uses())
    else:
        assert not found.gone and not found.in_hand and found.source not in ward.unit.liquids
