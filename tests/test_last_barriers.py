"""Barriers that no other table of planted errors provokes: each refuses, with its way out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from checklist.preparation import DISCARDED
from checklist.verdict import Remedy
from tests.scene import NURSE, Scene


@pytest.mark.parametrize(
    ("step", "line", "code", "order"),
    [
        ("prepare_the_place", "protection_on", "ppe_insufficient", "ORD-103"),
        ("look_at_the_devices", "packs_in_date", "device_expired", "ORD-103"),
        ("give_the_dose", "no_blood", "blood_on_aspiration", "ORD-104"),
    ],
)
def test_a_line_that_is_not_so_refuses_and_goes_on_when_it_is_put_right(
    step: str, line: str, code: str, order: str, tmp_path: Path
) -> None:
    scene = Scene(tmp_path, order)
    scene.open()
    scene.to(step)
    outcome = scene.attempt({line: "n"})
    assert outcome.screen.stands == "refused"
    assert [told.code for told in outcome.told] == [code]
    assert outcome.screen.ways
    if Remedy.RECHECK in outcome.screen.ways:
        scene.station.remedy(scene.id, Remedy.RECHECK, scene.hands_of(step))
        scene.attempt()
        assert scene.place != step


def test_an_order_that_is_gone_from_the_record_stops_at_once(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    right = scene.right()
    orders = {k: v for k, v in scene.ward.orders.items() if k != scene.order_id}
    scene.ward = scene.station.ward = replace(scene.ward, orders=orders)
    scene.right = lambda: right  # type: ignore[method-assign]
    assert "order_missing" in [told.code for told in scene.attempt().told]


def test_a_preparation_is_not_ended_while_an_opened_item_has_no_place(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    scene.to("write_the_label")
    scene.station.end(scene.id, "spill", NURSE)
    outcome = scene.attempt({"nothing_left_over": "n"})
    assert [told.code for told in outcome.told] == ["abort_without_account"]
    scene.station.remedy(scene.id, Remedy.RECHECK, NURSE)
    scene.attempt()
    assert scene.place == DISCARDED
    assert scene.station.find(scene.id).ended_because == "spill"
