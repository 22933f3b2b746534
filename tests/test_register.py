"""The count of controlled stock follows what preparations used, and only that."""

from __future__ import annotations

from pathlib import Path

from checklist.verdict import Remedy
from tests.scene import NURSE, Scene

AMPOULE = "09520007300114"


def test_the_next_count_expects_one_less_after_a_dose_was_given(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id="ORD-101")
    scene.open()
    scene.finish()
    scene.wait(hours=3)
    due = scene.now
    scene.change_order(id="ORD-101", due=due, last_given=None)
    scene.change_drug(min_interval=None)
    scene.open()
    scene.to("count_the_stock")
    outcome = scene.attempt({"count_before": "12", "count_after": "11"})
    assert [t.code for t in outcome.told] == ["cd_count_mismatch"]
    scene.station.remedy(scene.id, Remedy.RECHECK, NURSE)
    outcome = scene.attempt({"count_before": "11", "count_after": "10"})
    assert outcome.entry.event.kind == "passed"


def test_an_ampoule_that_was_discarded_is_counted_as_used(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id="ORD-101")
    scene.open()
    scene.to("snap_the_neck")
    scene.attempt({"clean_break": "n"})
    scene.station.remedy(scene.id, Remedy.DISCARD_RESTART, NURSE)
    while scene.place != "count_the_stock":
        scene.on()
    outcome = scene.attempt({"count_before": "11", "count_after": "10"})
    assert outcome.entry.event.kind == "passed"


def test_an_unopened_ampoule_of_an_abandoned_preparation_goes_back(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id="ORD-101")
    scene.open()
    scene.to("work_out_the_volume")
    scene.station.end(scene.id, "patient_declined", NURSE)
    scene.open()
    scene.to("count_the_stock")
    assert scene.attempt().entry.event.kind == "passed"


def test_a_damaged_ampoule_set_aside_is_out_of_the_stock(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id="ORD-101")
    scene.open()
    scene.to("inspect_the_product")
    scene.attempt({"container_whole": "n"})
    scene.station.remedy(scene.id, Remedy.QUARANTINE, NURSE)
    while scene.place != "count_the_stock":
        scene.on()
    outcome = scene.attempt({"count_before": "11", "count_after": "10"})
    assert outcome.entry.event.kind == "passed"


def test_a_new_figure_in_the_register_begins_the_count_afresh(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id="ORD-101")
    scene.open()
    scene.to("snap_the_neck")
    scene.on()
    scene.station.end(scene.id, "called_away", NURSE)
    while not scene.station.find(scene.id).closed:
        scene.on()
    scene.change_unit(register={AMPOULE: 20})
    scene.open()
    scene.to("count_the_stock")
    assert scene.attempt().entry.event.kind == "passed"
