"""The label of a dose against published label content, the writing rules and the clock."""

from __future__ import annotations

import csv
from datetime import timedelta
from pathlib import Path

import pytest

from checklist.label import ITEMS, label, use_before
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from tests.scene import NURSE, START, Scene

DATA = Path(__file__).parent / "data"

# Joint Commission, National Performance Goals for hospitals 2026, NPG.14.03.01 (successor of
# NPSG.03.04.01), as summarised: name, strength, amount, expiry. Individual preparations:
# Joint Commission FAQ on MM.05.01.09: adds date prepared. The table holds both, with addresses.
PUBLISHED = {
    "medicine name (generic)": "drug",
    "strength / amount of drug": "dose",
    "volume / total amount in the syringe": "volume",
    "concentration": "concentration",
    "beyond-use / expiry date and time": "use_before",
    "date and time prepared": "prepared",
    "patient name": "patient_name",
    "patient identifier and/or date of birth": "identifiers",
    "route": "route",
    "prepared by": "prepared_by",
    "checked by": "checked_by",
}
# Not for an undiluted ampoule dose: nothing is added to it.
OTHER_CONTAINERS = {"diluent name and volume"}
OPTIONAL = {"patient location", "directions, accessory and cautionary text"}


def labelled(scene: Scene) -> tuple[Preparation, Surroundings]:
    """The preparation at its label, with what is around it."""
    scene.open()
    scene.to("write_the_label")
    prep = scene.station.find(scene.id)
    spot = scene.station.rules_of(prep.workflow).layout.spots["write_the_label"]
    return prep, scene.station.surroundings(prep, scene.station.person(NURSE), spot)


def test_every_published_item_of_a_label_has_its_place(tmp_path: Path) -> None:
    with (DATA / "label_content.csv").open(encoding="utf-8") as file:
        rows = {row["item"]: row for row in csv.DictReader(file)}
    assert set(PUBLISHED) | OTHER_CONTAINERS | OPTIONAL == set(rows)
    made = label(*labelled(Scene(tmp_path, order_id="ORD-101")))
    for item, name in PUBLISHED.items():
        assert name in ITEMS and name in made.due, item
        if rows[item]["TJC_NPG14_NPSG0304"].startswith("required"):
            assert made.items[name], item


def test_the_label_is_computed_from_the_preparation(tmp_path: Path) -> None:
    prep, around = labelled(Scene(tmp_path, order_id="ORD-101"))
    made = label(prep, around)
    assert not made.missing and not made.misreadable
    assert made.items["drug"] == "morphine"
    assert made.items["dose"] == "7.5 mg"
    assert made.items["volume"] == "0.75 mL"
    assert made.items["concentration"] == "10 mg/mL"
    assert made.items["route"] == "intravenous"
    assert made.items["patient_name"] == "Marlow Quennell"
    assert made.items["identifiers"] == "born 14 Mar 1958, record 30011742"
    assert (made.items["prepared_by"], made.items["checked_by"]) == ("RN-12", "RN-27")
    assert "medicine name: morphine" in made.lines()
    private = made.lines(private=False)
    assert not any("Quennell" in line or "30011742" in line for line in private)


def test_a_dose_that_nobody_checked_needs_no_checker_on_its_label(tmp_path: Path) -> None:
    made = label(*labelled(Scene(tmp_path)))
    assert "checked_by" not in made.due and not made.missing


def test_what_is_not_known_is_missing_and_never_made_up(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    prep, around = labelled(scene)
    from dataclasses import replace

    assert label(prep, replace(around, patient=None)).missing == (
        "patient name", "second patient identifier",
    )  # fmt: skip
    emptied = replace(prep, seen={k: v for k, v in prep.seen.items() if k != "set_the_dose"})
    assert set(label(emptied, around).missing) == {"total volume", "date and time prepared"}


@pytest.mark.parametrize(
    ("unit", "product", "minutes"),
    [("1 h", None, 60), ("4 h", None, 240), ("4 h", "30 min", 30), ("1 h", "6 h", 60)],
)
def test_the_shorter_of_unit_and_product_limit_counts_from_opening(
    unit: str, product: str | None, minutes: int, tmp_path: Path
) -> None:
    """USP <797> immediate use: 1 h (2008) or 4 h (2023); a product's own shorter life wins."""
    scene = Scene(tmp_path)
    scene.change_settings(prepared_to_start_limit_iv=unit, prepared_to_start_limit_other=unit)
    if product:
        scene.change_product("09520007300411", life_after_opening=Quantity.parse(product))
    prep, around = labelled(scene)
    opened = prep.time_of("clean_break")
    assert opened is not None and opened > START
    assert use_before(prep, around) == opened + timedelta(minutes=minutes)


def test_nothing_has_a_limit_before_it_is_opened(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    prep = scene.station.find(scene.id)
    spot = scene.station.rules_of(prep.workflow).layout.spots[prep.place]
    around = scene.station.surroundings(prep, scene.station.person(NURSE), spot)
    assert use_before(prep, around) is None
