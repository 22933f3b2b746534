"""A dose that is in counts as given, whatever becomes of its record."""

from __future__ import annotations

from pathlib import Path

import pytest

from checklist.preparation import DISCARDED
from tests.scene import COLLEAGUE, NURSE, Scene


def _given_but_not_recorded(scene: Scene, step: str) -> None:
    scene.open()
    scene.to(step)


def _second(scene: Scene) -> list[str]:
    first = scene.id
    scene.station_name = "W7E-2"
    scene.station.name = "W7E-2"
    outcome = scene.station.open(scene.order_id, COLLEAGUE)
    scene.id = outcome.screen.prep.id
    assert scene.id != first
    return [told.code for told in scene.attempt(by=COLLEAGUE).told]


@pytest.mark.parametrize("step", ["dispose", "write_the_record"])
def test_a_dose_that_is_in_is_not_prepared_again_while_its_record_waits(
    step: str, tmp_path: Path
) -> None:
    scene = Scene(tmp_path)
    _given_but_not_recorded(scene, step)
    assert "dose_already_given" in _second(scene)


def test_a_dose_that_is_in_is_not_prepared_again_after_its_preparation_was_ended(
    tmp_path: Path,
) -> None:
    scene = Scene(tmp_path)
    _given_but_not_recorded(scene, "dispose")
    scene.station.end(scene.id, "called_away", NURSE)
    scene.finish()
    assert scene.place == DISCARDED
    assert "dose_already_given" in _second(scene)


def test_a_dose_that_was_drawn_and_discarded_may_be_prepared_again(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    _given_but_not_recorded(scene, "write_the_label")
    scene.station.end(scene.id, "called_away", NURSE)
    scene.finish()
    assert scene.place == DISCARDED
    assert "dose_already_given" not in _second(scene)


@pytest.mark.parametrize("minutes", [1, 90])
def test_a_break_after_the_dose_is_in_leads_back_to_the_record_however_long_it_was(
    minutes: int, tmp_path: Path
) -> None:
    """The time limit of a prepared dose has nothing left to say once the dose is in."""
    scene = Scene(tmp_path)
    _given_but_not_recorded(scene, "write_the_record")
    scene.station.interrupt(scene.id, "alarm", NURSE)
    scene.wait(minutes=minutes)
    scene.station.resume(scene.id, NURSE)
    scene.attempt()
    assert scene.place == "write_the_record"
    assert {way.value for way in scene.station.screen(scene.id).ways} == set()
