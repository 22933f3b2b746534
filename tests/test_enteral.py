"""Liquids for mouth or tube: errors are caught where they belong, right ones pass.

The errors come from the hazard register (an injection syringe, a drop in the tip's ring, a bottle
of unknown age, a sediment, a tube whose end nobody proved, a loss from a controlled bottle) and
from NPSA Alert 19 (2007) on enteral liquids.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from checklist.label import label
from checklist.order import Allergy
from checklist.quantity import Quantity
from checklist.verdict import Remedy
from tests.planted import (
    Seed,
    Shelf,
    after,
    caught,
    order,
    passed,
    patient,
    product,
    right_through,
    unit,
)
from tests.scene import COLLEAGUE, NURSE, Scene, demo_ward
from tests.wards import ORDERS, UNIT, copied, edit, faults_of, load
from tests.way_answers import PARACETAMOL, SPIRONOLACTONE

R = Remedy
MOUTH, TUBE, CONTROLLED = "ORD-421", "ORD-422", "ORD-423"
PARACETAMOL_CODE = "09520007304143"


def q(text: str) -> Quantity:
    return Quantity.parse(text)


BOTTLE, LEVEL, WITNESS = "read_the_bottle", "read_the_level", "witness_the_level"
AGAIN, WITNESS_AGAIN = "read_the_level_again", "witness_the_level_again"
SYRINGE, OPEN, DRAW, TIP = "choose_the_syringe", "open_the_bottle", "draw_up", "wipe_the_tip"
PROVE, SWALLOW, FLUSH = "prove_the_tube", "see_the_swallow", "flush_the_tube"

SEEDS = {
    "ordered in spoonfuls": Seed(MOUTH, "read_the_order", "order_ambiguous", R.CALL_PRESCRIBER,
                                 change=order(dose=None, unreadable={
                                     "dose": "2 teaspoons does not say how much drug"}),
                                 early=True),
    "another liquid": Seed(MOUTH, "take_the_product", "product_mismatch", R.REPLACE_ITEM,
                           {"product": SPIRONOLACTONE}),
    "an ampoule for the mouth": Seed(
        MOUTH, "take_the_product", "route_mismatch", R.REPLACE_ITEM,
        change=product(PARACETAMOL_CODE, use="injection")),
    "not for the tube": Seed(TUBE, "take_the_product", "route_mismatch", R.REPLACE_ITEM,
                             change=product("09520007304150", routes=("PO",)), early=True),
    "bottle out of date": Seed(MOUTH, "take_the_product", "product_expired", R.REPLACE_ITEM,
                               {"product": PARACETAMOL_CODE, "lot": "P1",
                                "expiry": "31 Oct 2026"}),
    "open for too long": Seed(MOUTH, BOTTLE, "in_use_expired", R.REPLACE_ITEM,
                              {"bottle_opened_on": "1 May 2026"}),
    "opened on a day to come": Seed(MOUTH, BOTTLE, "in_use_expired", R.REPLACE_ITEM,
                                    {"bottle_opened_on": "1 Dec 2026"}),
    "no date on an open bottle": Seed(MOUTH, BOTTLE, "bottle_opened_date_missing",
                                      R.REPLACE_ITEM, {"bottle_opened_on": None}, tier="soft"),
    "no date on a controlled bottle": Seed(CONTROLLED, BOTTLE, "bottle_opened_date_missing",
                                           R.REPLACE_ITEM, {"bottle_opened_on": None}),
    "level not as booked": Seed(CONTROLLED, LEVEL, "cd_count_mismatch", R.EVENT,
                                {"level_before": "170"}),
    "more in it than booked": Seed(CONTROLLED, LEVEL, "cd_count_mismatch", R.RECHECK,
                                   {"level_before": "183"}),
    "a little short": Seed(CONTROLLED, LEVEL, "cd_liquid_loss_in_tolerance", R.RECHECK,
                           {"level_before": "181.5"}, tier="soft"),
    "level in another unit": Seed(CONTROLLED, LEVEL, "cd_count_mismatch", R.EVENT,
                                  {"level_before": "182 mg"}),
    "witness reads another level": Seed(CONTROLLED, WITNESS, "cd_count_mismatch", R.RECHECK,
                                        {"witness_level": "180"}),
    "own witness": Seed(CONTROLLED, WITNESS, "cd_witness_same_person", R.SECOND_PERSON, by=NURSE),
    "clumps in the bottle": Seed(MOUTH, "inspect_the_product", "appearance_abnormal",
                                 R.QUARANTINE, {"content_as_described": "n"}),
    "an injection syringe": Seed(MOUTH, SYRINGE, "enteral_in_parenteral_syringe",
                                 R.REPLACE_ITEM, {"syringe_kind": "luer slip"}),
    "an insulin syringe": Seed(TUBE, SYRINGE, "enteral_in_parenteral_syringe", R.REPLACE_ITEM,
                               {"syringe_kind": "insulin"}),
    "standard tip for a small dose": Seed(TUBE, SYRINGE, "enteral_tip_needed", R.REPLACE_ITEM,
                                          {"tip_kind": "standard enteral tip"}, tier="soft"),
    "standard tip for a newborn": Seed(MOUTH, SYRINGE, "enteral_tip_needed", R.REPLACE_ITEM,
                                       change=patient(birth_date=date(2026, 11, 10)),
                                       tier="soft"),
    "too coarse to measure": Seed(TUBE, SYRINGE, "syringe_too_coarse", R.REPLACE_ITEM,
                                  {"syringe_size": "20", "graduation": "1"}),
    "volume ten times": Seed(TUBE, "work_out_the_volume", "calculation_mismatch", R.RECHECK,
                             {"own_volume": "10"}),
    "adapter not clean": Seed(MOUTH, OPEN, "device_pack_breached", R.REPLACE_ITEM,
                              {"bottle_open": "n"}),
    "date not written": Seed(MOUTH, OPEN, "bottle_opened_date_missing", R.REPLACE_ITEM,
                             {"date_stands_on_it": "n"}, tier="soft"),
    "not shaken": Seed(MOUTH, "make_it_even", "not_resuspended", R.WAIT, {"even": "n"}),
    "shaken too short": Seed(MOUTH, "make_it_even", "not_resuspended", R.WAIT,
                             {"moved_for": "3"}),
    "second label reading differs": Seed(MOUTH, "read_the_label_again", "strength_mismatch",
                                         R.CALL_PHARMACIST,
                                         {"read_strength": "500 mg in 5 mL"}),
    "drawn through another syringe": Seed(MOUTH, DRAW, "enteral_in_parenteral_syringe",
                                          R.DISCARD_RESTART, {"straight_from_it": "n"}),
    "excess back into the bottle": Seed(MOUTH, DRAW, "fluid_returned_to_container",
                                        R.DISCARD_RESTART, {"nothing_returned": "n"}),
    "read at the plunger's point": Seed(MOUTH, "set_the_dose", "volume_over_target", R.ADJUST,
                                        {"drawn_volume": "10.5"}),
    "short": Seed(MOUTH, "set_the_dose", "volume_under_target", R.ADJUST,
                  {"drawn_volume": "9.5"}),
    "a drop in the ring": Seed(TUBE, TIP, "enteral_tip_excess", R.ADJUST, {"ring_empty": "n"},
                               tier="soft"),
    "level fell by more": Seed(CONTROLLED, AGAIN, "cd_count_mismatch", R.EVENT,
                               {"level_after": "170"}),
    "level did not fall": Seed(CONTROLLED, AGAIN, "cd_count_mismatch", R.RECHECK,
                               {"level_after": "182"}),
    "a little lost in the adapter": Seed(CONTROLLED, AGAIN, "cd_liquid_loss_in_tolerance",
                                         R.RECHECK, {"level_after": "174"}, tier="soft"),
    "witness reads another level after": Seed(CONTROLLED, WITNESS_AGAIN, "cd_count_mismatch",
                                              R.RECHECK, {"witness_level": "174"}),
    "label does not say enteral": Seed(MOUTH, "write_the_label", "label_incomplete", R.RECHECK,
                                       {"says_enteral": "n"}),
    "put down without a label": Seed(MOUTH, "write_the_label", "label_missing",
                                     R.DISCARD_RESTART, {"never_put_down": "n"}),
    "bottle left out": Seed(MOUTH, "leave_the_area", "storage_after_use", R.ADJUST,
                            {"back_in_its_place": "n"}, tier="soft"),
    "tube only listened to": Seed(TUBE, PROVE, "tube_position_unproven", R.STOP,
                                  {"tube_proof": "only listened to, or only the mark"}),
    "tube not proven at all": Seed(TUBE, PROVE, "tube_position_unproven", R.CALL_PRESCRIBER,
                                   {"tube_proof": "none"}),
    "tube not followed": Seed(TUBE, PROVE, "line_not_traced", R.RECHECK, {"tube_traced": "n"}),
    "swallowing not judged": Seed(MOUTH, SWALLOW, "swallow_unassessed", R.CALL_PRESCRIBER,
                                  {"swallow_safe": "n"}, tier="soft"),
    "part given": Seed(MOUTH, "give_the_dose", "partial_dose_given", R.CALL_PRESCRIBER,
                       {"given_volume": "8"}, tier="soft"),
    "no water after": Seed(TUBE, FLUSH, "flush_missing", R.RECHECK, {"flush_volume": "0"},
                           tier="soft"),
    "syringe left lying": Seed(MOUTH, "put_things_away", "waste_stream_wrong", R.ADJUST,
                               {"syringe_gone": "n"}, tier="soft"),
    "hands not cleaned after": Seed(MOUTH, "put_things_away", "hand_hygiene_missing", R.RECHECK,
                                    {"hands_clean_after": "n"}),
    "too late after drawing": Seed(MOUTH, "give_the_dose", "preparation_time_exceeded",
                                   R.DISCARD_RESTART, change=after(minutes=61)),
    "allergy found at the bed": Seed(MOUTH, "compare_at_the_bedside", "allergy_match",
                                     R.CALL_PRESCRIBER,
                                     change=patient(allergies=(
                                         Allergy(substance="paracetamol"),))),
}  # fmt: skip

RIGHT_ANSWERS = {
    "bottle typed": Seed(MOUTH, "take_the_product",
                         seen={"product": PARACETAMOL_CODE, "lot": "P1",
                               "expiry": "31 Jul 2027"}),
    "a new bottle": Seed(MOUTH, BOTTLE, seen={"bottle_state": "new, its seal whole until now",
                                              "bottle_opened_on": None}),
    "a new controlled bottle": Seed(CONTROLLED, BOTTLE,
                                    seen={"bottle_state": "new, its seal whole until now",
                                          "bottle_opened_on": None}),
    "opened today": Seed(MOUTH, BOTTLE, seen={"bottle_opened_on": "25 Nov 2026"}),
    "on its last day": Seed(TUBE, BOTTLE, seen={"bottle_opened_on": "27 Aug 2026"}),
    "level with its unit": Seed(CONTROLLED, LEVEL, seen={"level_before": "182 mL"}),
    "level in litres": Seed(CONTROLLED, LEVEL, seen={"level_before": "0.182 L"}),
    "no level in the register": Seed(CONTROLLED, LEVEL, change=unit(liquids={})),
    "witness with the unit": Seed(CONTROLLED, WITNESS, seen={"witness_level": "182 mL"}),
    "low-dose tip for a large dose": Seed(MOUTH, SYRINGE, seen={"tip_kind": "low-dose tip"}),
    "larger syringe": Seed(MOUTH, SYRINGE, seen={"syringe_size": "20", "graduation": "1"}),
    "finer syringe": Seed(TUBE, SYRINGE, seen={"syringe_size": "1", "graduation": "0.01"}),
    "volume with its unit": Seed(MOUTH, "work_out_the_volume", seen={"own_volume": "10 mL"}),
    "shaken longer": Seed(MOUTH, "make_it_even", seen={"moved_for": "20"}),
    "strength per mL": Seed(MOUTH, "read_the_label_again", seen={"read_strength": "50 mg/mL"}),
    "read with its unit": Seed(MOUTH, "set_the_dose", seen={"drawn_volume": "10 mL"}),
    "level after with its unit": Seed(CONTROLLED, AGAIN, seen={"level_after": "174.5 mL"}),
    "label by hand": Seed(MOUTH, "write_the_label", seen={"label_made": "written by hand"}),
    "amount in grams on the label": Seed(MOUTH, "write_the_label", seen={"label_dose": "0.5 g"}),
    "tube proven by X-ray": Seed(
        TUBE, PROVE, seen={"tube_proof": "X-ray read since it was placed, mark unchanged"}),
    "a lot of water": Seed(TUBE, FLUSH, seen={"flush_volume": "30"}),
    "given fifty minutes later": Seed(MOUTH, "give_the_dose", change=after(minutes=45)),
}  # fmt: skip

PACES = (5, 20, 45, 70)


@pytest.mark.parametrize("name", SEEDS)
def test_a_planted_error_is_caught_where_it_belongs(
    name: str, shelf: Shelf, tmp_path: Path
) -> None:
    caught(SEEDS[name], shelf, tmp_path)


@pytest.mark.parametrize("name", RIGHT_ANSWERS)
def test_a_right_answer_with_natural_variation_is_not_refused(
    name: str, shelf: Shelf, tmp_path: Path
) -> None:
    passed(RIGHT_ANSWERS[name], shelf, tmp_path)


@pytest.mark.parametrize("order_id", (MOUTH, TUBE, CONTROLLED))
@pytest.mark.parametrize("seconds", PACES)
@pytest.mark.parametrize("station", ("W7E-1", "W7E-2"))
def test_whole_right_liquids_pass_without_a_refusal(
    order_id: str, seconds: int, station: str, tmp_path: Path
) -> None:
    right_through(order_id, station, seconds, tmp_path)


# -- routes, label, register -----------------------------------------------------------------------


def test_mouth_and_tube_ask_for_their_own_proof_and_not_for_each_others(
    shelf: Shelf,
) -> None:
    mouth, tube = set(shelf.steps(MOUTH)), set(shelf.steps(TUBE))
    assert SWALLOW in mouth and {PROVE, FLUSH}.isdisjoint(mouth)
    assert {PROVE, FLUSH} <= tube and SWALLOW not in tube


def test_the_label_of_a_liquid_says_that_it_is_for_enteral_use_only(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(TUBE, "write_the_label", tmp_path)
    prep = scene.station.find(scene.id)
    spot = scene.station.rules_of(prep.workflow).layout.base(prep.place)
    made = label(prep, scene.station.surroundings(prep, scene.station.person(NURSE), spot))
    assert made.items["only"] == "for enteral use only"
    assert made.items["route"] == "nasogastric tube" and not made.missing


def test_the_label_of_an_injection_does_not_say_enteral(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id="ORD-103")
    scene.open()
    scene.to("write_the_label")
    prep = scene.station.find(scene.id)
    spot = scene.station.rules_of(prep.workflow).layout.base(prep.place)
    made = label(prep, scene.station.surroundings(prep, scene.station.person(NURSE), spot))
    assert "only" not in made.items


def test_the_level_of_a_controlled_bottle_is_followed_from_the_register(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=CONTROLLED)
    scene.open()
    scene.finish()
    scene.change_order(due=replace(scene.whole).due, last_given=None)
    orders = {**scene.ward.orders, "ORD-424": replace(scene.whole, id="ORD-424")}
    scene._set(replace(scene.ward, orders=orders))
    outcome = scene.station.open("ORD-424", NURSE)
    scene.id = outcome.screen.prep.id
    scene.to(LEVEL)
    # 182 mL by the register less the 7.5 mL that were drawn before.
    outcome = scene.attempt({"level_before": "182"})
    assert "cd_count_mismatch" in {t.code for t in outcome.told}
    scene.station.remedy(scene.id, R.RECHECK, NURSE)
    outcome = scene.attempt({"level_before": "174.5"})
    assert outcome.entry.event.kind == "passed"


def test_what_was_drawn_of_a_controlled_liquid_is_accounted_for_when_it_is_not_given(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(CONTROLLED, "give_the_dose", tmp_path)
    scene.station.end(scene.id, "patient_declined", NURSE)
    scene.on()
    outcome = scene.attempt({"discarded_volume": "5"})
    assert "cd_unaccounted" in {t.code for t in outcome.told}
    scene.station.remedy(scene.id, R.RECHECK, NURSE)
    scene.attempt({"discarded_volume": "7.5"})
    outcome = scene.attempt({"witness_discarded_volume": "7.5"}, by=COLLEAGUE)
    assert outcome.screen.prep.place == "discarded"


def test_the_route_chooses_among_containers_of_one_drug(tmp_path: Path) -> None:
    # The same drug in a bottle beside its ampoule: each order finds its own.
    scene = Scene(tmp_path, order_id="ORD-101")
    formulary = scene.ward.formulary
    bottle = replace(formulary.products["09520007304167"], drug="morphine", code="PH-900")
    products = {**formulary.products, "PH-900": bottle}
    scene._set(replace(scene.ward, formulary=replace(formulary, products=products)))
    by_vein, _ = scene.station.workflow_for(scene.whole)
    by_mouth, _ = scene.station.workflow_for(replace(scene.whole, route="PO"))
    assert (by_vein.container, by_mouth.container) == ("glass_ampoule", "enteral_liquid")


# -- a ward's files --------------------------------------------------------------------------------

FAULTS = {
    "a level that is no volume": (UNIT, '"182 mL"', '"182 mg"', "liquids", "182 mg"),
    "a level of nothing on the shelves": (UNIT, '09520007304167 = "182 mL"',
                                          '09520007304168 = "182 mL"', "liquids",
                                          "not a product"),
    "a loss that is no volume": (UNIT, "many_containers = 3",
                                 'many_containers = 3\nliquid_loss = "2 %"', "liquid_loss",
                                 "does not say of what"),
    "a looser loss": (UNIT, "many_containers = 3",
                      'many_containers = 3\nliquid_loss = "5 mL"', "liquid_loss", ""),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_about_liquids_is_told_with_its_place(name: str, tmp_path: Path) -> None:
    file, old, new, place, words = FAULTS[name]
    copied(tmp_path)
    edit(tmp_path / file, old, new)
    told = faults_of(tmp_path)
    assert any(place in f.place and words in f.sentence for f in told), told


def test_a_tube_is_a_route_that_an_order_may_name(tmp_path: Path) -> None:
    copied(tmp_path)
    edit(tmp_path / ORDERS, '"route": "nasogastric tube"', '"route": "by gastrostomy tube"')
    assert load(tmp_path).orders[TUBE].route == "PEG"
    assert demo_ward().orders[TUBE].route == "NG"


def test_codes_on_the_bottles_are_those_of_the_formulary() -> None:
    products = demo_ward().formulary.products
    for scan in (PARACETAMOL, SPIRONOLACTONE):
        assert products[scan[5:19]].container == "enteral_liquid"
