"""Plastic ampoules and nebules: planted errors are caught where they belong, right answers pass.

The errors come from the hazard register (items that are not for injection, inhaled drugs in a
syringe that fits a vein, undated pouches) and from common practice.
"""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from checklist.checks import REASONS
from checklist.order import Allergy
from checklist.quantity import Quantity
from checklist.verdict import Remedy
from tests.planted import (
    Seed,
    Shelf,
    after,
    both,
    caught,
    order,
    passed,
    passed_in_other_words,
    patient,
    product,
    raises_nothing,
    right_through,
    settings,
)
from tests.scene import START, Scene

R = Remedy
AMPOULE, NEBULE = "ORD-201", "ORD-208"
METOCLOPRAMIDE, SALBUTAMOL = "09520007302019", "09520007300817"
NEBULE_SCAN = "]d201095200073008171727083110SB0457"
AMPOULE_SCAN = "]d201095200073020191728053110MC2204"
VIAL_SCAN = "]d201095200073020261727113010DX7719"
NEWBORN = {"birth_date": START.date() - timedelta(days=9)}

SEEDS = {
    # -- the plastic ampoule: what it is for
    "nebule in an injection": Seed(
        AMPOULE, "take_the_product", "not_for_injection", R.REPLACE_ITEM, {"product": NEBULE_SCAN}),
    "label says inhalation": Seed(
        AMPOULE, "take_the_product", "not_for_injection", R.REPLACE_ITEM,
        {"use_on_label": "for inhalation"}),
    "label says irrigation": Seed(
        AMPOULE, "take_the_product", "not_for_injection", R.REPLACE_ITEM,
        {"use_on_label": "for irrigation"}),
    "label says eye": Seed(
        AMPOULE, "take_the_product", "not_for_injection", R.REPLACE_ITEM,
        {"use_on_label": "for the eye"}),
    "label does not say": Seed(
        AMPOULE, "take_the_product", "not_for_injection", R.REPLACE_ITEM,
        {"use_on_label": "it does not say"}),
    "use not read": Seed(
        AMPOULE, "take_the_product", "entry_missing", R.RECHECK, {"use_on_label": None}),
    "a vial taken": Seed(
        AMPOULE, "take_the_product", "product_mismatch", R.REPLACE_ITEM, {"product": VIAL_SCAN}),
    "same drug in another container": Seed(
        AMPOULE, "take_the_product", "container_type_mismatch", R.REPLACE_ITEM,
        change=product(METOCLOPRAMIDE, container="glass_ampoule")),
    "label not for this route": Seed(
        AMPOULE, "take_the_product", "route_mismatch", R.REPLACE_ITEM,
        change=product(METOCLOPRAMIDE, routes=("IM",))),
    "a concentrate": Seed(
        AMPOULE, "take_the_product", "concentrate_undiluted", R.REPLACE_ITEM,
        change=product(METOCLOPRAMIDE, concentrate=True)),
    "bulk pack": Seed(
        AMPOULE, "take_the_product", "pharmacy_bulk_pack_on_ward", R.STOP,
        change=product(METOCLOPRAMIDE, bulk_pack=True)),
    "preserved, for a newborn": Seed(
        AMPOULE, "take_the_product", "preservative_not_allowed", R.REPLACE_ITEM,
        change=both(product(METOCLOPRAMIDE, preservative="benzyl alcohol"), patient(**NEWBORN))),
    "allergic to what is in it": Seed(
        AMPOULE, "take_the_product", "allergy_match", R.CALL_PRESCRIBER,
        change=both(product(METOCLOPRAMIDE, excipients=("metabisulfite",)),
                    patient(allergies=(Allergy(substance="metabisulfite"),)))),
    "expired": Seed(
        AMPOULE, "take_the_product", "product_expired", R.REPLACE_ITEM,
        {"product": METOCLOPRAMIDE, "lot": "MC2204", "expiry": "31 Oct 2026"}),
    "the twin's name": Seed(
        AMPOULE, "say_the_name", "lasa_not_confirmed", R.RECHECK,
        {"name_on_label": "metoprolol"}),
    "embossed label not readable": Seed(
        AMPOULE, "inspect_the_product", "label_unreadable", R.REPLACE_ITEM, {"label_whole": "n"}),
    "leaks": Seed(
        AMPOULE, "inspect_the_product", "container_damaged", R.QUARANTINE,
        {"container_whole": "n"}),
    "syringe for the mouth": Seed(
        AMPOULE, "choose_the_syringe", "enteral_in_parenteral_syringe", R.REPLACE_ITEM,
        {"syringe_kind": "enteral"}),
    "ten times the volume": Seed(
        AMPOULE, "work_out_the_volume", "calculation_mismatch", R.RECHECK, {"own_volume": "0.1"}),
    # -- the plastic ampoule: opened and drawn
    "hands not cleaned": Seed(
        AMPOULE, "twist_it_open", "hand_hygiene_missing", R.RECHECK, {"hands_clean_to_open": "n"}),
    "pouch without a date": Seed(
        AMPOULE, "twist_it_open", "pouch_opened_date_missing", R.REPLACE_ITEM,
        {"pouch_dated": "n"}, tier="soft"),
    "thread of plastic": Seed(
        AMPOULE, "twist_it_open", "appearance_abnormal", R.DISCARD_RESTART, {"tab_off": "n"}),
    "another drug at the second reading": Seed(
        AMPOULE, "read_the_label_again", "product_mismatch", R.REPLACE_ITEM,
        {"read_drug": "metoprolol"}),
    "another strength at the second reading": Seed(
        AMPOULE, "read_the_label_again", "strength_mismatch", R.REPLACE_ITEM,
        {"read_strength": "10 mg in 1 mL"}),
    "needle where none is needed": Seed(
        AMPOULE, "draw_up", "needle_unneeded", R.REPLACE_ITEM, {"plastic_path": "needle"},
        tier="soft"),
    "filter that bars the drug": Seed(
        AMPOULE, "draw_up", "filter_not_allowed", R.CALL_PHARMACIST,
        {"plastic_path": "filter needle or filter straw"},
        change=product(METOCLOPRAMIDE, filter_allowed=False)),
    "tip touched": Seed(
        AMPOULE, "draw_up", "key_part_touched", R.DISCARD_RESTART, {"rim_untouched": "n"}),
    "air pushed in": Seed(
        AMPOULE, "draw_up", "air_injected_into_ampoule", R.DISCARD_RESTART, {"no_air_in": "n"}),
    "drug pushed back": Seed(
        AMPOULE, "draw_up", "fluid_returned_to_container", R.DISCARD_RESTART,
        {"nothing_returned": "n"}),
    "bubble into a vein": Seed(
        AMPOULE, "clear_the_air", "air_present", R.ADJUST, {"bubble_free": "a bubble is left"}),
    "too much": Seed(
        AMPOULE, "set_the_dose", "volume_over_target", R.ADJUST, {"drawn_volume": "1.1"}),
    "too little": Seed(
        AMPOULE, "set_the_dose", "volume_under_target", R.ADJUST, {"drawn_volume": "0.9"}),
    "not read": Seed(
        AMPOULE, "set_the_dose", "volume_not_recorded", R.RECHECK, {"drawn_volume": None}),
    "another one emptied": Seed(
        AMPOULE, "look_at_the_dose", "product_mismatch", R.REPLACE_ITEM, {"emptied": NEBULE_SCAN}),
    "rest kept": Seed(
        AMPOULE, "leave_the_area", "opened_ampoule_kept", R.RECHECK, {"nothing_kept": "n"}),
    "too long after opening": Seed(
        AMPOULE, "leave_the_area", "preparation_time_exceeded", R.DISCARD_RESTART,
        change=after(minutes=61)),
    # -- the nebule
    "ampoule for injection in a chamber": Seed(
        NEBULE, "take_the_product", "route_mismatch", R.REPLACE_ITEM, {"product": AMPOULE_SCAN}),
    "label of the nebule says injection": Seed(
        NEBULE, "take_the_product", "route_mismatch", R.REPLACE_ITEM,
        {"use_on_label": "for injection"}),
    "nebule of another form": Seed(
        NEBULE, "take_the_product", "formulation_mismatch", R.REPLACE_ITEM,
        change=product(SALBUTAMOL, form="nebuliser suspension")),
    "inhaled drug in a syringe for injection": Seed(
        NEBULE, "choose_the_measure", "enteral_in_parenteral_syringe", R.REPLACE_ITEM,
        {"measured_with": "syringe for injection"}),
    "part of a nebule poured": Seed(
        NEBULE, "choose_the_measure", "wrong_syringe_kind", R.REPLACE_ITEM,
        change=order(dose=Quantity.of("1.25", "mg")), early=True),
    "another patient's chamber": Seed(
        NEBULE, "choose_the_measure", "device_pack_breached", R.REPLACE_ITEM,
        {"packs_whole": "n"}),
    "no label for the chamber": Seed(
        NEBULE, "choose_the_measure", "label_not_ready", R.RECHECK, {"label_at_hand": "n"}),
    "nebule from an undated pouch": Seed(
        NEBULE, "twist_it_open", "pouch_opened_date_missing", R.REPLACE_ITEM,
        {"pouch_dated": "n"}, tier="soft"),
    "tab of the nebule torn": Seed(
        NEBULE, "twist_it_open", "appearance_abnormal", R.QUARANTINE, {"tab_off": "n"}),
    "nebule read as another": Seed(
        NEBULE, "read_the_label_again", "product_mismatch", R.REPLACE_ITEM,
        {"read_drug": "ipratropium"}),
    "more in the chamber than ordered": Seed(
        NEBULE, "set_the_dose", "volume_over_target", R.ADJUST, {"drawn_volume": "2.6"}),
    "two nebules in the chamber": Seed(
        NEBULE, "set_the_dose", "volume_exceeds_content", R.RECHECK, {"drawn_volume": "5"}),
    "some left in the nebule": Seed(
        NEBULE, "set_the_dose", "volume_under_target", R.ADJUST, {"drawn_volume": "2"}),
    "chamber without a label": Seed(
        NEBULE, "write_the_label", "label_missing", R.DISCARD_RESTART, {"never_put_down": "n"}),
    "opened nebule kept": Seed(
        NEBULE, "leave_the_area", "opened_ampoule_kept", R.RECHECK, {"nothing_kept": "n"}),
    "two chambers in the tray": Seed(
        NEBULE, "leave_the_area", "items_for_two_patients", R.RECHECK, {"one_patient": "n"}),
    "wrong wristband": Seed(
        NEBULE, "identify_the_patient", "patient_id_mismatch", R.RECHECK,
        {"first_identifier": "]d28018952000000000003027"}),
    "part inhaled": Seed(
        NEBULE, "give_the_dose", "partial_dose_given", R.CALL_PRESCRIBER,
        {"given_volume": "1"}, tier="soft"),
    "rest down the wrong way": Seed(
        NEBULE, "clear_away", "waste_stream_wrong", R.ADJUST, {"rest_in_its_waste": "n"},
        tier="soft"),
}  # fmt: skip

RIGHT = {
    "use by its number in the list": Seed(AMPOULE, "take_the_product", seen={"use_on_label": "1"}),
    "code typed": Seed(
        AMPOULE, "take_the_product",
        seen={"product": METOCLOPRAMIDE, "lot": "MC2204", "expiry": "05/2028"}),
    "preserved, for a grown-up": Seed(
        AMPOULE, "take_the_product", change=product(METOCLOPRAMIDE, preservative="benzyl alcohol")),
    "newborn, not preserved": Seed(AMPOULE, "take_the_product", change=patient(**NEWBORN)),
    "a month old, preserved": Seed(
        AMPOULE, "take_the_product",
        change=both(product(METOCLOPRAMIDE, preservative="benzyl alcohol"),
                    patient(birth_date=START.date() - timedelta(days=28)))),
    "name in capitals": Seed(
        AMPOULE, "say_the_name", seen={"name_on_label": "METOCLOPRAMIDE"}),
    "larger syringe": Seed(
        AMPOULE, "choose_the_syringe", seen={"syringe_size": "3", "graduation": "0.1"}),
    "slip tip": Seed(AMPOULE, "choose_the_syringe", seen={"syringe_kind": "luer slip"}),
    "answer with its unit": Seed(AMPOULE, "work_out_the_volume", seen={"own_volume": "1 mL"}),
    "needle where the neck does not fit": Seed(
        AMPOULE, "draw_up", seen={"plastic_path": "needle"},
        change=product(METOCLOPRAMIDE, luer_fit=False)),
    "filter though none is needed": Seed(
        AMPOULE, "draw_up", seen={"plastic_path": "filter needle or filter straw"}),
    "strength per mL": Seed(
        AMPOULE, "read_the_label_again", seen={"read_strength": "5 mg/mL"}),
    "drawing needle kept, thin liquid": Seed(
        AMPOULE, "change_the_needle",
        seen={"tip": "the needle that drew it up"}, change=order(route="IM", site="deltoid"),
        early=True),
    "volume with its unit": Seed(AMPOULE, "set_the_dose", seen={"drawn_volume": "1 mL"}),
    "emptied code typed": Seed(AMPOULE, "look_at_the_dose", seen={"emptied": METOCLOPRAMIDE}),
    "label by hand": Seed(AMPOULE, "write_the_label", seen={"label_made": "written by hand"}),
    "in microgram on the label": Seed(
        AMPOULE, "write_the_label", seen={"label_dose": "5000 microgram"}),
    "an hour less some minutes": Seed(AMPOULE, "leave_the_area", change=after(minutes=50)),
    "bedside in microgram": Seed(
        AMPOULE, "compare_at_the_bedside", seen={"bedside_dose": "5000 microgram"}),
    "whole nebule": Seed(NEBULE, "choose_the_measure"),
    "whole nebule through a syringe for the mouth": Seed(
        NEBULE, "choose_the_measure",
        seen={"measured_with": "syringe for the mouth or for inhaling", "graduation": "0.1"}),
    "half a nebule, measured": Seed(
        NEBULE, "choose_the_measure",
        seen={"measured_with": "syringe for the mouth or for inhaling", "graduation": "0.05"},
        change=order(dose=Quantity.of("1.25", "mg")), early=True),
    "two nebules": Seed(
        NEBULE, "choose_the_measure", change=order(dose=Quantity.of("5", "mg")), early=True),
    "two nebules emptied": Seed(
        NEBULE, "set_the_dose", change=order(dose=Quantity.of("5", "mg")), early=True),
    "nebule in microgram": Seed(
        NEBULE, "take_the_product", change=order(dose=Quantity.of("2500", "ug")), early=True),
    "nebule named in full on the label": Seed(
        NEBULE, "write_the_label", seen={"label_drug": "Salbutamol"}),
    "label on the chamber by name": Seed(
        NEBULE, "write_the_label", seen={"label_identifier": "Perpetua Lindqvale"}),
    "nebule volume with its unit": Seed(NEBULE, "set_the_dose", seen={"drawn_volume": "2.5 mL"}),
    "given by a colleague, where the unit allows it": Seed(
        NEBULE, "identify_the_patient", by="RN-12"),
    "all inhaled": Seed(NEBULE, "give_the_dose", seen={"given_volume": "2.5 mL"}),
}  # fmt: skip


@pytest.mark.parametrize("name", SEEDS)
def test_a_planted_error_is_caught_where_it_belongs(
    name: str, shelf: Shelf, tmp_path: Path
) -> None:
    caught(SEEDS[name], shelf, tmp_path)


@pytest.mark.parametrize("name", RIGHT)
def test_a_right_answer_with_natural_variation_passes(
    name: str, shelf: Shelf, tmp_path: Path
) -> None:
    passed(RIGHT[name], shelf, tmp_path)


@pytest.mark.parametrize("order_id", (AMPOULE, NEBULE))
@pytest.mark.parametrize(("station", "seconds"), [("W7E-1", 5), ("W7E-2", 20), ("W7E-1", 70)])
def test_whole_right_preparations_pass_without_a_refusal(
    order_id: str, station: str, seconds: int, tmp_path: Path
) -> None:
    right_through(order_id, station, seconds, tmp_path)


@pytest.mark.parametrize("order_id", (AMPOULE, NEBULE))
def test_every_step_passes_when_it_is_answered_in_other_words(
    order_id: str, shelf: Shelf, tmp_path: Path
) -> None:
    assert passed_in_other_words(order_id, shelf, tmp_path) >= 18


@pytest.mark.parametrize("order_id", (AMPOULE, NEBULE))
def test_no_check_raises_on_a_well_typed_answer(
    order_id: str, shelf: Shelf, tmp_path: Path
) -> None:
    assert raises_nothing(order_id, shelf, tmp_path) > 200


def test_every_code_that_only_plastic_can_give_has_a_seed() -> None:
    own = {
        "needle_unneeded", "pouch_opened_date_missing", "not_for_injection", "route_mismatch",
        "enteral_in_parenteral_syringe", "air_injected_into_ampoule", "label_unreadable",
        "appearance_abnormal",
    }  # fmt: skip
    assert own <= {seed.code for seed in SEEDS.values()} <= REASONS.keys()


def test_a_filter_on_plastic_is_noted_and_stops_nobody(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(AMPOULE, "draw_up", tmp_path)
    outcome = scene.attempt({"plastic_path": "filter needle or filter straw"})
    assert [note.code for note in outcome.notes] == ["filter_not_needed"]
    assert outcome.entry.event.kind == "passed"


def test_a_nebule_asks_for_no_syringe_and_no_needle(shelf: Shelf, tmp_path: Path) -> None:
    scene: Scene = shelf.at(NEBULE, "take_the_product", tmp_path)
    rules = scene.station.rules_of(scene.station.find(scene.id).workflow)
    fields = {f.name for step in rules.workflow.steps for f in step.fields}
    assert not fields & {"syringe_kind", "tip", "gauge", "sharp_in_box", "line_open"}


def test_the_unit_may_ask_for_a_new_needle_always(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=AMPOULE)
    settings(needle_change_before_injection="always")(scene)
    scene.open()
    scene.to("change_the_needle")
    outcome = scene.attempt({"tip": "the needle that drew it up"})
    assert [t.code for t in outcome.told if t.code == "needle_not_changed"]
