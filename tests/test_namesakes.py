"""A patient whose name is much like another's on the ward is told of, for the ward as it is now."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.scene import Scene


def _surroundings(scene: Scene, code: str) -> bool:
    station = scene.station
    prep = station.find(scene.id)
    spot = station.screen(scene.id).spot
    assert spot is not None and prep.order.patient == code
    return station.surroundings(prep, station.person(prep.preparer), spot).similar_name


@pytest.mark.parametrize(
    ("name", "alike"),
    [
        ("Ottoline Brask", True), ("BRASK, Peter", True), ("Ottoline Verrin", True),
        ("Peter Vask", False), ("Otto Bras", False), ("Mae Li", False),
    ],
)  # fmt: skip
def test_a_namesake_that_comes_to_the_ward_is_seen_at_once(
    name: str, alike: bool, tmp_path: Path
) -> None:
    scene = Scene(tmp_path, order_id="ORD-103")
    scene.open()
    code = scene.whole.patient
    assert not _surroundings(scene, code)
    before = dict(scene.ward.patients)
    other = replace(before[code], code="P-399", name=name)
    renamed = replace(before[code], name="Ottoline Brask")
    scene.ward = scene.station.ward = replace(
        scene.ward, patients={**before, code: renamed, "P-399": other}
    )
    assert _surroundings(scene, code) is alike
    scene.ward = scene.station.ward = replace(scene.ward, patients=before)
    assert not _surroundings(scene, code)
