"""Powder vials and ampoules: errors are caught where they belong, right answers pass, sums hold.

The errors come from the hazard register (wrong diluent, wrong volume, displacement ignored, not
dissolved, shaken apart, rest kept unlabelled) and from common practice. The sums are held against
published instructions (tests/data/mixed_powders.csv).
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from checklist.checks import REASONS
from checklist.formulary import Mixing
from checklist.label import label
from checklist.mixture import LABEL_FIRST, LABEL_ONLY, SUM_FIRST, mixed
from checklist.order import Allergy
from checklist.preparation import Surroundings
from checklist.quantity import Concentration, Quantity
from checklist.target import target
from checklist.verdict import Remedy
from checklist.vial import vial_label
from tests.planted import (
    Act,
    Seed,
    Shelf,
    after,
    both,
    caught,
    drug,
    order,
    passed,
    passed_in_other_words,
    patient,
    product,
    raises_nothing,
    right_through,
    settings,
    unit,
)
from tests.scene import COLLEAGUE, NURSE, START, Scene

R = Remedy
CHILD, GROWN, OPEN = "ORD-205", "ORD-206", "ORD-207"
PENICILLIN, CEFTRIAXONE, HYDRALAZINE = "09520007302057", "09520007302064", "09520007302071"
WATER, SALINE = "09520007302088", "PH-104"
WATER_SCAN = "]d201095200073020881729063010WI8350"
LIDOCAINE_SCAN = "]d201095200073020951728123110LI2277"
METOCLOPRAMIDE_SCAN = "]d201095200073020191728053110MC2204"
BACTERIOSTATIC_SCAN = "]d201095200073021011728123110BS0110"
OTHER_POWDER = "]d201095200073020641728013110CF9915"
NEWBORN = {"birth_date": START.date() - timedelta(days=9)}
GROWN_UP = {"birth_date": START.date() - timedelta(days=40 * 365)}


def mixing(code: str, **changes: object) -> Act:
    """Change every way of mixing of a product."""

    def act(scene: Scene) -> None:
        item = scene.ward.formulary.products[code]
        ways = tuple(replace(one, **changes) for one in item.mixing)  # type: ignore[arg-type]
        scene.change_product(code, mixing=ways)

    return act


def mL(text: str) -> Quantity:
    return Quantity.of(text, "mL")


INTO_MUSCLE = order(route="IM", site="ventrogluteal")
DOUBLE = order(double_check=True)

SEEDS = {
    # -- the powder itself
    "another powder": Seed(
        CHILD, "take_the_product", "product_mismatch", R.REPLACE_ITEM, {"product": OTHER_POWDER}),
    "liquid of the same drug": Seed(
        CHILD, "take_the_product", "container_type_mismatch", R.REPLACE_ITEM,
        change=product(PENICILLIN, container="single_dose_vial")),
    "allergy to its class": Seed(
        CHILD, "take_the_product", "allergy_match", R.CALL_PRESCRIBER,
        change=patient(allergies=(Allergy(substance="amoxicillin", drug_class="penicillins"),))),
    "seal broken": Seed(
        CHILD, "inspect_the_product", "seal_broken", R.REPLACE_ITEM, {"seal_whole": "n"}),
    "entered before": Seed(
        CHILD, "inspect_the_product", "single_dose_reentry", R.REPLACE_ITEM,
        {"never_entered": "n"}),
    "cake shrunken and damp": Seed(
        CHILD, "inspect_the_product", "appearance_abnormal", R.QUARANTINE,
        {"content_as_described": "n"}),
    # -- the instruction
    "no instruction for the route": Seed(
        CHILD, "find_the_instruction", "reconstitution_instruction_missing", R.CALL_PHARMACIST,
        change=mixing(PENICILLIN, routes=("IM",))),
    "leaflet not named": Seed(
        CHILD, "find_the_instruction", "reconstitution_instruction_missing", R.REPLACE_ITEM,
        {"leaflet": None}),
    "neither volume nor strength known": Seed(
        CHILD, "find_the_instruction", "concentration_unknown", R.CALL_PHARMACIST,
        {"diluent_planned": "5"},
        change=mixing(PENICILLIN, volume=None, displacement=None)),
    "volume of the other route": Seed(
        GROWN, "find_the_instruction", "diluent_volume_wrong", R.ADJUST,
        {"diluent_planned": "3.5"}),
    "volume of a bigger vial": Seed(
        CHILD, "find_the_instruction", "diluent_volume_wrong", R.ADJUST,
        {"diluent_planned": "9.2"}),
    # -- the diluent
    "diluent of the other route": Seed(
        GROWN, "take_the_diluent", "wrong_diluent", R.REPLACE_ITEM, {"diluent": LIDOCAINE_SCAN}),
    "a drug for the diluent": Seed(
        CHILD, "take_the_diluent", "wrong_diluent", R.REPLACE_ITEM,
        {"diluent": METOCLOPRAMIDE_SCAN}),
    "saline where the leaflet names water": Seed(
        GROWN, "take_the_diluent", "wrong_diluent", R.CALL_PHARMACIST,
        {"diluent": SALINE, "diluent_expiry": "30 Jun 2028", "diluent_lot": "SC1"}),
    "flush syringe for the diluent": Seed(
        CHILD, "take_the_diluent", "flush_syringe_as_diluent", R.REPLACE_ITEM,
        change=product(WATER, use="flushing", container="prefilled_syringe")),
    "water for irrigation": Seed(
        CHILD, "take_the_diluent", "wrong_diluent", R.REPLACE_ITEM,
        change=product(WATER, use="irrigation")),
    "preserved diluent for a newborn": Seed(
        CHILD, "take_the_diluent", "preservative_not_allowed", R.REPLACE_ITEM,
        {"diluent": BACTERIOSTATIC_SCAN},
        change=both(patient(**NEWBORN), mixing(
            PENICILLIN, diluents=("sodium chloride 0.9 % with benzyl alcohol",)))),
    "preserved diluent nobody named": Seed(
        CHILD, "take_the_diluent", "wrong_diluent", R.REPLACE_ITEM,
        {"diluent": BACTERIOSTATIC_SCAN}),
    "allergic to the diluent": Seed(
        GROWN, "take_the_diluent", "allergy_match", R.STOP, early=True,
        change=both(INTO_MUSCLE, patient(allergies=(Allergy(substance="Lidocaine"),)))),
    "diluent out of date": Seed(
        CHILD, "take_the_diluent", "product_expired", R.REPLACE_ITEM,
        {"diluent": WATER, "diluent_expiry": "31 Oct 2026", "diluent_lot": "WI8350"}),
    "diluent without a date": Seed(
        CHILD, "take_the_diluent", "expiry_unreadable", R.REPLACE_ITEM,
        {"diluent": WATER, "diluent_lot": "WI8350"}),
    "diluent recalled": Seed(
        CHILD, "take_the_diluent", "lot_recalled", R.QUARANTINE,
        change=unit(recalled=frozenset({f"{WATER}/WI8350"}))),
    "diluent not in the formulary": Seed(
        CHILD, "take_the_diluent", "container_type_unknown", R.REPLACE_ITEM,
        {"diluent": "09520007399996", "diluent_expiry": "31 Dec 2027", "diluent_lot": "A1"}),
    "diluent's label torn": Seed(
        CHILD, "take_the_diluent", "label_unreadable", R.REPLACE_ITEM, {"diluent": None}),
    "diluent leaks": Seed(
        CHILD, "take_the_diluent", "container_damaged", R.QUARANTINE, {"diluent_whole": "n"}),
    "diluent cloudy": Seed(
        CHILD, "take_the_diluent", "appearance_abnormal", R.QUARANTINE, {"diluent_clear": "n"}),
    # -- the sum
    "displacement ignored, a child": Seed(
        CHILD, "work_out_the_volume", "displacement_ignored", R.RECHECK,
        {"own_strength": "600 mg in 4.6 mL"}),
    "displacement not known, a child": Seed(
        CHILD, "work_out_the_volume", "displacement_ignored", R.CALL_PHARMACIST, early=True,
        change=mixing(PENICILLIN, displacement=None, volume=mL("5"))),
    "displacement not known, a grown-up": Seed(
        CHILD, "work_out_the_volume", "displacement_ignored", R.CALL_PHARMACIST, early=True,
        tier="soft",
        change=both(patient(**GROWN_UP), mixing(PENICILLIN, displacement=None, volume=mL("5")))),
    "displacement not known, high-alert": Seed(
        CHILD, "work_out_the_volume", "displacement_ignored", R.RECHECK, early=True,
        change=both(patient(**GROWN_UP), drug(high_alert=True),
                    mixing(PENICILLIN, displacement=None, volume=mL("5")))),
    "dose reckoned from the dry amount": Seed(
        CHILD, "work_out_the_volume", "calculation_mismatch", R.RECHECK,
        {"own_strength": "600 mg in 1 mL"}),
    "strength wrong by ten": Seed(
        CHILD, "work_out_the_volume", "calculation_mismatch", R.CALL_PHARMACIST,
        {"own_strength": "12 mg/mL"}),
    "the sum where the label states a strength": Seed(
        GROWN, "work_out_the_volume", "concentration_mismatch", R.RECHECK,
        {"own_strength": "1 g in 10.1 mL"}),
    "the label where the unit reckons by the sum": Seed(
        GROWN, "work_out_the_volume", "concentration_mismatch", R.RECHECK, early=True,
        seen={"own_strength": "100 mg/mL"},
        change=both(settings(reconstitution_math="displacement_value"),
                    order(dose=Quantity.of("505", "mg")))),
    "no strength of one's own": Seed(
        CHILD, "work_out_the_volume", "calculation_missing", R.RECHECK, {"own_strength": None}),
    "volume wrong by ten": Seed(
        CHILD, "work_out_the_volume", "calculation_mismatch", R.RECHECK, {"own_volume": "15"}),
    "milligrams for millilitres": Seed(
        CHILD, "work_out_the_volume", "unit_mismatch", R.RECHECK, {"own_volume": "180 mg"}),
    "second person reads another diluent": Seed(
        CHILD, "second_person_works_it_out", "double_check_disagrees", R.RECHECK,
        {"checker_diluent": "lidocaine 1 %"}, change=DOUBLE, early=True),
    "second person leaves the displacement out": Seed(
        CHILD, "second_person_works_it_out", "double_check_disagrees", R.RECHECK,
        {"checker_strength": "600 mg in 4.6 mL"}, change=DOUBLE, early=True),
    "second person reads another amount": Seed(
        CHILD, "second_person_works_it_out", "double_check_disagrees", R.CALL_PHARMACIST,
        {"checker_amount": "1.2 g"}, change=DOUBLE, early=True),
    "second person does not read the diluent": Seed(
        CHILD, "second_person_works_it_out", "double_check_missing", R.SECOND_PERSON,
        {"checker_diluent": None}, change=DOUBLE, early=True),
    # -- stopper and diluent drawn
    "hands not cleaned": Seed(
        CHILD, "clean_the_stopper", "hand_hygiene_missing", R.RECHECK,
        {"hands_clean_to_open": "n"}),
    "stopper not rubbed": Seed(
        CHILD, "clean_the_stopper", "stopper_not_disinfected", R.RECHECK,
        {"stopper_rubbed": "n"}),
    "stopper wet": Seed(
        CHILD, "clean_the_stopper", "stopper_not_dry", R.RECHECK, {"stopper_dry": "n"},
        tier="soft"),
    "another diluent at the second reading": Seed(
        CHILD, "draw_the_diluent", "wrong_diluent", R.REPLACE_ITEM,
        {"diluent_read": "sodium chloride 0.9 %"}),
    "diluent not read again": Seed(
        CHILD, "draw_the_diluent", "label_read_missing", R.RECHECK, {"diluent_read": None}),
    "diluent from glass without a filter": Seed(
        GROWN, "draw_the_diluent", "filter_missing", R.REPLACE_ITEM,
        {"diluent_path": "needle"}, change=INTO_MUSCLE, early=True),
    "too much diluent": Seed(
        CHILD, "draw_the_diluent", "diluent_volume_wrong", R.ADJUST, {"diluent_drawn": "5"}),
    "too little diluent": Seed(
        CHILD, "draw_the_diluent", "diluent_volume_wrong", R.DISCARD_RESTART,
        {"diluent_drawn": "4.5"}),
    "diluent in milligrams": Seed(
        CHILD, "draw_the_diluent", "diluent_volume_wrong", R.ADJUST, {"diluent_drawn": "4.6 mg"}),
    "diluent volume not read": Seed(
        CHILD, "draw_the_diluent", "volume_not_recorded", R.RECHECK, {"diluent_drawn": None}),
    "needle touched": Seed(
        CHILD, "draw_the_diluent", "key_part_touched", R.REPLACE_ITEM,
        {"diluent_tip_clean": "n"}),
    # -- mixing
    "some diluent left in the syringe": Seed(
        CHILD, "add_the_diluent", "diluent_volume_wrong", R.ADJUST,
        {"diluent_added": "not all of it is in"}),
    "vacuum gone": Seed(
        CHILD, "add_the_diluent", "vacuum_absent", R.QUARANTINE, tier="soft",
        seen={"pressure": "no vacuum was felt, it was pushed in"},
        change=mixing(PENICILLIN, vacuum=True)),
    "opening touched": Seed(
        CHILD, "add_the_diluent", "key_part_touched", R.DISCARD_RESTART, {"mixing_tip_clean": "n"}),
    "shaken where it may only be swirled": Seed(
        CHILD, "mix_and_look", "mix_method_wrong", R.QUARANTINE, {"mixed_by": "shaken"}),
    "lumps": Seed(
        CHILD, "mix_and_look", "dissolution_incomplete", R.WAIT,
        {"dissolved": "lumps, gel or powder left"}),
    "lumps past the leaflet's time": Seed(
        CHILD, "mix_and_look", "dissolution_incomplete", R.DISCARD_RESTART,
        {"dissolved": "lumps, gel or powder left"}, change=after(minutes=11)),
    "called dissolved too soon": Seed(
        CHILD, "mix_and_look", "dissolution_incomplete", R.WAIT,
        change=mixing(PENICILLIN, least=Quantity.of("5", "min"))),
    "foam": Seed(
        CHILD, "mix_and_look", "foam_present", R.WAIT, {"foam_gone": "n"}, tier="soft"),
    "haze": Seed(
        CHILD, "mix_and_look", "appearance_abnormal", R.QUARANTINE, {"mixture_as_described": "n"}),
    "core in the mixture": Seed(
        CHILD, "mix_and_look", "core_visible", R.DISCARD_RESTART, {"no_core_in_it": "n"}),
    # -- drawn by the strength made
    "another drug at the second reading": Seed(
        CHILD, "read_the_label_again", "product_mismatch", R.REPLACE_ITEM,
        {"read_drug": "benzathine benzylpenicillin"}),
    "another amount at the second reading": Seed(
        CHILD, "read_the_label_again", "strength_mismatch", R.REPLACE_ITEM,
        {"read_amount": "1.2 g"}),
    "another strength made": Seed(
        CHILD, "read_the_label_again", "concentration_mismatch", R.RECHECK,
        {"made_strength": "130 mg/mL"}),
    "past its life after mixing": Seed(
        CHILD, "read_the_label_again", "reconstituted_beyond_use", R.DISCARD_RESTART,
        change=after(minutes=61)),
    "stopper not rubbed again": Seed(
        CHILD, "draw_up", "stopper_not_disinfected", R.RECHECK, {"stopper_again": "n"}),
    "no filter where the leaflet asks for one": Seed(
        CHILD, "draw_up", "filter_missing", R.REPLACE_ITEM, change=mixing(PENICILLIN,
                                                                          filtered=True)),
    "whole vial for a part": Seed(
        CHILD, "set_the_dose", "volume_over_target", R.ADJUST, {"drawn_volume": "5"}),
    "volume as if nothing were displaced": Seed(
        CHILD, "set_the_dose", "volume_under_target", R.ADJUST, {"drawn_volume": "1.4"}),
    "more than the vial holds": Seed(
        CHILD, "set_the_dose", "volume_exceeds_content", R.RECHECK, {"drawn_volume": "6"}),
    "more than a vial of unknown volume can hold": Seed(
        GROWN, "set_the_dose", "volume_exceeds_content", R.RECHECK, {"drawn_volume": "11"},
        early=True,
        change=mixing(CEFTRIAXONE, strength=None, displacement=None, volume=mL("10"),
                      routes=("IV",))),
    "part of a vial that adds an unknown volume, too much": Seed(
        CHILD, "set_the_dose", "volume_over_target", R.ADJUST, {"drawn_volume": "1.6"},
        early=True,
        change=both(patient(**GROWN_UP), mixing(PENICILLIN, displacement=None, volume=mL("5")))),
    "filter left on": Seed(
        CHILD, "change_the_needle", "filter_not_removed", R.REPLACE_ITEM, {"tip": "the filter"}),
    "core in the syringe": Seed(
        CHILD, "look_at_the_dose", "core_visible", R.DISCARD_RESTART, {"no_core": "n"}),
    "rest kept": Seed(
        CHILD, "leave_the_area", "single_dose_kept", R.RECHECK,
        {"rest_of_vial": "kept, with strength, diluent, time and initials on it"}),
    "rest kept, may be, but not labelled": Seed(
        GROWN, "leave_the_area", "reconstituted_vial_unlabelled", R.RECHECK,
        {"rest_of_vial": "kept, without all of these on it"}),
    "rests put together": Seed(
        CHILD, "leave_the_area", "contents_pooled", R.DISCARD_RESTART, {"nothing_pooled": "n"}),
    "too long after mixing": Seed(
        CHILD, "leave_the_area", "preparation_time_exceeded", R.DISCARD_RESTART,
        change=after(minutes=58)),
    # -- the powder ampoule
    "ampoule's diluent is another": Seed(
        OPEN, "take_the_diluent", "wrong_diluent", R.REPLACE_ITEM, {"diluent": LIDOCAINE_SCAN}),
    "ampoule's diluent too much": Seed(
        OPEN, "draw_the_diluent", "diluent_volume_wrong", R.ADJUST, {"diluent_drawn": "2.5"}),
    "the twin's name": Seed(
        OPEN, "say_the_name", "lasa_not_confirmed", R.RECHECK, {"name_on_label": "hydroxyzine"}),
    "powder in the neck": Seed(
        OPEN, "make_the_neck_ready", "neck_not_clear", R.RECHECK, {"neck_clear": "n"},
        tier="soft"),
    "neck not wiped": Seed(
        OPEN, "make_the_neck_ready", "neck_not_wiped", R.RECHECK, {"neck_wiped": "n"},
        tier="soft"),
    "shattered": Seed(
        OPEN, "snap_the_neck", "ampoule_shattered", R.DISCARD_RESTART, {"clean_break": "n"}),
    "cut": Seed(OPEN, "snap_the_neck", "glass_cut", R.EVENT, {"no_cut": "n"}),
    "head left lying": Seed(
        OPEN, "snap_the_neck", "sharp_not_disposed", R.RECHECK, {"head_in_box": "n"}),
    "powder blown out": Seed(
        OPEN, "add_the_diluent", "powder_lost", R.DISCARD_RESTART,
        {"powder_stayed": "some blew out or was spilt"}, tier="soft"),
    "hazardous powder blown out": Seed(
        OPEN, "add_the_diluent", "powder_lost", R.DISCARD_RESTART,
        {"powder_stayed": "some blew out or was spilt"}, change=drug(hazardous=True)),
    "open ampoule turned over": Seed(
        OPEN, "mix_and_look", "mix_method_wrong", R.CALL_PHARMACIST, {"mixed_by": "turned over"}),
    "open ampoule turned over, its leaflet silent": Seed(
        OPEN, "mix_and_look", "mix_method_wrong", R.QUARANTINE, {"mixed_by": "turned over"},
        change=mixing(HYDRALAZINE, methods=())),
    "powder left": Seed(
        OPEN, "mix_and_look", "dissolution_incomplete", R.WAIT,
        {"dissolved": "lumps, gel or powder left"}),
    "glass in the mixture": Seed(
        OPEN, "mix_and_look", "glass_visible", R.DISCARD_RESTART, {"no_glass_mixed_in": "n"}),
    "no filter": Seed(
        OPEN, "fit_the_filter", "filter_missing", R.REPLACE_ITEM,
        {"filter_kind": "none", "pore": None}),
    "pore too wide": Seed(
        OPEN, "fit_the_filter", "filter_missing", R.REPLACE_ITEM, {"pore": "10"}),
    "rim touched": Seed(
        OPEN, "draw_up", "key_part_touched", R.REPLACE_ITEM, {"rim_untouched": "n"}),
    "air pushed in": Seed(
        OPEN, "draw_up", "air_injected_into_ampoule", R.DISCARD_RESTART, {"no_air_in": "n"}),
    "another strength made in the ampoule": Seed(
        OPEN, "read_the_label_again", "concentration_mismatch", R.CALL_PHARMACIST,
        {"made_strength": "20 mg/mL"}),
    "life after mixing over": Seed(
        OPEN, "read_the_label_again", "reconstituted_beyond_use", R.DISCARD_RESTART,
        change=after(minutes=31)),
    "drawing needle kept after a filter": Seed(
        OPEN, "change_the_needle", "needle_not_changed", R.REPLACE_ITEM,
        {"tip": "the needle that drew it up"}, tier="soft"),
    "glass in the syringe": Seed(
        OPEN, "look_at_the_dose", "glass_visible", R.DISCARD_RESTART, {"no_glass": "n"}),
    "open ampoule kept": Seed(
        OPEN, "leave_the_area", "opened_ampoule_kept", R.RECHECK, {"nothing_kept": "n"}),
}  # fmt: skip

RIGHT = {
    "code typed": Seed(
        CHILD, "take_the_product",
        seen={"product": PENICILLIN, "lot": "BP3308", "expiry": "08/2028"}),
    "leaflet named otherwise": Seed(
        CHILD, "find_the_instruction", seen={"leaflet": "pharmacy sheet 12, edition of May"}),
    "volume with its unit": Seed(
        CHILD, "find_the_instruction", seen={"diluent_planned": "4.6 mL"}),
    "strength known, volume not kept": Seed(
        GROWN, "find_the_instruction", seen={"diluent_planned": "9.6"},
        change=mixing(CEFTRIAXONE, volume=None)),
    "other diluent that is named": Seed(
        CHILD, "take_the_diluent",
        seen={"diluent": SALINE, "diluent_expiry": "30 Jun 2028", "diluent_lot": "SC1"}),
    "diluent expires today": Seed(
        CHILD, "take_the_diluent",
        seen={"diluent": WATER, "diluent_expiry": "25 Nov 2026", "diluent_lot": "WI8350"}),
    "diluent's expiry by month": Seed(
        CHILD, "take_the_diluent",
        seen={"diluent": WATER, "diluent_expiry": "06/2029", "diluent_lot": "WI8350"}),
    "another lot of water recalled": Seed(
        CHILD, "take_the_diluent", change=unit(recalled=frozenset({f"{WATER}/WI8351"}))),
    "same lot of another item recalled": Seed(
        CHILD, "take_the_diluent", change=unit(recalled=frozenset({f"{PENICILLIN}/WI8350"}))),
    "preserved diluent that is named, a grown-up": Seed(
        CHILD, "take_the_diluent", seen={"diluent": BACTERIOSTATIC_SCAN},
        change=both(patient(**GROWN_UP), mixing(
            PENICILLIN, diluents=("sodium chloride 0.9 % with benzyl alcohol",)))),
    "newborn, water": Seed(CHILD, "take_the_diluent", change=patient(**NEWBORN)),
    "lidocaine for the muscle": Seed(
        GROWN, "take_the_diluent", change=INTO_MUSCLE, early=True),
    "allergic to lidocaine, mixed with water": Seed(
        GROWN, "take_the_diluent",
        change=patient(allergies=(Allergy(substance="lidocaine"),))),
    "strength as amount in volume": Seed(
        CHILD, "work_out_the_volume", seen={"own_strength": "600 mg in 5 mL"}),
    "strength in microgram": Seed(
        CHILD, "work_out_the_volume", seen={"own_strength": "120000 microgram/mL"}),
    "strength in gram": Seed(
        GROWN, "work_out_the_volume", seen={"own_strength": "1 g in 10 mL"}),
    "displacement not known, the whole vial": Seed(
        GROWN, "work_out_the_volume", early=True,
        change=mixing(CEFTRIAXONE, strength=None, displacement=None, volume=mL("10"),
                      routes=("IV",))),
    "all of a vial whose powder adds an unknown volume": Seed(
        GROWN, "set_the_dose", seen={"drawn_volume": "10.4"}, early=True,
        change=mixing(CEFTRIAXONE, strength=None, displacement=None, volume=mL("10"),
                      routes=("IV",))),
    "displacement left out, the whole vial of nothing displaced": Seed(
        OPEN, "work_out_the_volume", seen={"own_strength": "20 mg in 2 mL"}),
    "the sum, where the unit reckons by it": Seed(
        GROWN, "work_out_the_volume", early=True,
        change=both(settings(reconstitution_math="displacement_value"),
                    order(dose=Quantity.of("505", "mg")),
                    mixing(CEFTRIAXONE, displacement=mL("0.4")))),
    "label only": Seed(
        GROWN, "work_out_the_volume",
        change=settings(reconstitution_math="labelled_concentration")),
    "volume with its unit at the sum": Seed(
        CHILD, "work_out_the_volume", seen={"own_volume": "1.5 mL"}),
    "two vials for a dose": Seed(
        GROWN, "work_out_the_volume", change=order(dose=Quantity.of("2", "g")), early=True),
    "part of a second vial": Seed(
        GROWN, "work_out_the_volume", change=order(dose=Quantity.of("1.5", "g")), early=True),
    "second person agrees": Seed(
        CHILD, "second_person_works_it_out", change=DOUBLE, early=True),
    "second person, strength in full": Seed(
        CHILD, "second_person_works_it_out", seen={"checker_strength": "600 mg in 5 mL"},
        change=DOUBLE, early=True),
    "second person, amount in gram": Seed(
        CHILD, "second_person_works_it_out", seen={"checker_amount": "0.6 g"},
        change=DOUBLE, early=True),
    "second person, diluent in capitals": Seed(
        CHILD, "second_person_works_it_out", seen={"checker_diluent": "WATER FOR INJECTIONS"},
        change=DOUBLE, early=True),
    "diluent read in capitals": Seed(
        CHILD, "draw_the_diluent", seen={"diluent_read": "Water for Injections"}),
    "diluent without a needle": Seed(
        CHILD, "draw_the_diluent", seen={"diluent_path": "no needle, straight on its neck"}),
    "diluent filtered though it is plastic": Seed(
        CHILD, "draw_the_diluent", seen={"diluent_path": "filter needle or filter straw"}),
    "diluent from glass, filtered": Seed(
        GROWN, "draw_the_diluent", change=INTO_MUSCLE, early=True),
    "diluent volume with its unit": Seed(
        CHILD, "draw_the_diluent", seen={"diluent_drawn": "4.6 mL"}),
    "diluent volume in litres": Seed(
        CHILD, "draw_the_diluent", seen={"diluent_drawn": "0.0046 L"}),
    "through a vent": Seed(
        CHILD, "add_the_diluent", seen={"pressure": "through a vented device"}),
    "vacuum as it should be": Seed(
        CHILD, "add_the_diluent", seen={"pressure": "the vacuum drew it in"},
        change=mixing(PENICILLIN, vacuum=True)),
    "rolled": Seed(CHILD, "mix_and_look", seen={"mixed_by": "rolled"}),
    "shaken where it may be": Seed(GROWN, "mix_and_look", seen={"mixed_by": "shaken"}),
    "any way, the leaflet silent": Seed(
        CHILD, "mix_and_look", seen={"mixed_by": "left to stand"},
        change=mixing(PENICILLIN, methods=())),
    "after a long wait": Seed(CHILD, "mix_and_look", change=after(minutes=9)),
    "dissolved late, but dissolved": Seed(CHILD, "mix_and_look", change=after(minutes=12)),
    "no least time kept": Seed(CHILD, "mix_and_look", change=mixing(PENICILLIN, least=None)),
    "amount in gram": Seed(CHILD, "read_the_label_again", seen={"read_amount": "0.6 g"}),
    "strength made, in full": Seed(
        CHILD, "read_the_label_again", seen={"made_strength": "600 mg in 5 mL"}),
    "just within its life": Seed(CHILD, "read_the_label_again", change=after(minutes=55)),
    "no life kept": Seed(
        CHILD, "read_the_label_again", change=both(mixing(PENICILLIN, life=None),
                                                   after(minutes=61))),
    "filter where the leaflet asks for one": Seed(
        CHILD, "draw_up", seen={"drawn_with": "filter needle or filter straw"},
        change=mixing(PENICILLIN, filtered=True)),
    "dose volume with its unit": Seed(CHILD, "set_the_dose", seen={"drawn_volume": "1.5 mL"}),
    "whole vial drawn for a whole dose": Seed(GROWN, "set_the_dose"),
    "rest kept with its label": Seed(
        GROWN, "leave_the_area",
        seen={"rest_of_vial": "kept, with strength, diluent, time and initials on it"}),
    "rest discarded": Seed(GROWN, "leave_the_area"),
    "within the hour": Seed(CHILD, "leave_the_area", change=after(minutes=45)),
    "label in gram": Seed(CHILD, "write_the_label", seen={"label_dose": "0.18 g"}),
    "emptied code typed": Seed(CHILD, "look_at_the_dose", seen={"emptied": PENICILLIN}),
    "bedside in gram": Seed(
        CHILD, "compare_at_the_bedside", seen={"bedside_dose": "0.18 g"}),
    # -- the powder ampoule
    "open ampoule left to stand": Seed(
        OPEN, "mix_and_look", seen={"mixed_by": "left to stand"},
        change=mixing(HYDRALAZINE, methods=("swirled", "left to stand"))),
    "open ampoule swirled, its leaflet silent": Seed(
        OPEN, "mix_and_look", change=mixing(HYDRALAZINE, methods=())),
    "filter straw": Seed(OPEN, "fit_the_filter", seen={"filter_kind": "filter straw"}),
    "finer filter": Seed(OPEN, "fit_the_filter", seen={"pore": "1.2"}),
    "ampoule's strength in full": Seed(
        OPEN, "read_the_label_again", seen={"made_strength": "20 mg in 2 mL"}),
    "ampoule drawn to the unit": Seed(OPEN, "set_the_dose", seen={"drawn_volume": "1 mL"}),
    "ampoule within its life": Seed(OPEN, "leave_the_area", change=after(minutes=20)),
    "ampoule's name in capitals": Seed(
        OPEN, "say_the_name", seen={"name_on_label": "Hydralazine"}),
    "whole ampoule": Seed(
        OPEN, "set_the_dose", change=order(dose=Quantity.of("20", "mg")), early=True),
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


@pytest.mark.parametrize("order_id", (CHILD, GROWN, OPEN))
@pytest.mark.parametrize(("station", "seconds"), [("W7E-1", 20), ("W7E-2", 35), ("W7E-1", 60)])
def test_whole_right_preparations_pass_without_a_refusal(
    order_id: str, station: str, seconds: int, tmp_path: Path
) -> None:
    right_through(order_id, station, seconds, tmp_path)


@pytest.mark.parametrize("order_id", (CHILD, GROWN, OPEN))
def test_every_step_passes_when_it_is_answered_in_other_words(
    order_id: str, shelf: Shelf, tmp_path: Path
) -> None:
    assert passed_in_other_words(order_id, shelf, tmp_path) >= 18


@pytest.mark.parametrize("order_id", (CHILD, GROWN, OPEN))
def test_no_check_raises_on_a_well_typed_answer(
    order_id: str, shelf: Shelf, tmp_path: Path
) -> None:
    assert raises_nothing(order_id, shelf, tmp_path) > 200


def test_every_code_that_only_powders_can_give_has_a_seed() -> None:
    own = {
        "reconstitution_instruction_missing", "concentration_unknown", "concentration_mismatch",
        "displacement_ignored", "wrong_diluent", "flush_syringe_as_diluent",
        "preservative_not_allowed", "diluent_volume_wrong", "vacuum_absent", "mix_method_wrong",
        "foam_present", "dissolution_incomplete", "reconstituted_vial_unlabelled",
        "reconstituted_beyond_use", "powder_lost", "label_read_missing", "filter_missing",
        "core_visible", "glass_visible", "opened_ampoule_kept",
    }  # fmt: skip
    assert own <= {seed.code for seed in SEEDS.values()} <= REASONS.keys()


# -- the sums ---------------------------------------------------------------------------------

_FILE = Path(__file__).parent / "data" / "mixed_powders.csv"
PUBLISHED = list(csv.DictReader(_FILE.read_text(encoding="utf-8").splitlines()))


def _way(row: dict[str, str]) -> Mixing:
    return Mixing(
        routes=("IV",),
        diluents=("water for injections",),
        volume=Quantity.parse(row["diluent"]),
        displacement=Quantity.parse(row["displacement"]),
        strength=Concentration.parse(row["labelled"]) if row["labelled"] else None,
    )


@pytest.mark.parametrize("row", PUBLISHED, ids=lambda r: f"{r['drug']} {r['powder']}")
def test_published_instructions_come_out_to_the_last_figure(row: dict[str, str]) -> None:
    made = mixed(Quantity.parse(row["powder"]), _way(row), SUM_FIRST)
    assert made is not None and made.exact
    assert made.content == Quantity.parse(row["volume"])
    assert made.strength == Concentration.parse(row["strength"])


@pytest.mark.parametrize(
    "row", [r for r in PUBLISHED if r["labelled"]], ids=lambda r: f"{r['drug']} {r['powder']}"
)
def test_the_label_goes_before_the_sum_and_the_difference_is_shown(row: dict[str, str]) -> None:
    powder, way = Quantity.parse(row["powder"]), _way(row)
    made = mixed(powder, way, LABEL_FIRST)
    assert made is not None and made.summed == Concentration.parse(row["strength"])
    assert made.strength == Concentration.parse(row["labelled"])
    assert made.strength.amount_in(made.content) == powder
    agree = made.summed == made.strength
    beside = next(line for line in made.lines if line.startswith("the label states"))
    assert beside.endswith("the same as by the volumes" if agree else "than by the volumes")
    assert made.lines[-1].endswith("as the label has it")
    bare = mixed(powder, way, LABEL_ONLY)
    assert bare is not None and bare.strength == made.strength
    assert any("nothing to compare it with" in line for line in bare.lines)


def test_the_difference_between_sum_and_label_is_said_in_percent() -> None:
    row = next(r for r in PUBLISHED if r["drug"] == "cefazolin" and r["powder"] == "500 mg")
    made = mixed(Quantity.parse(row["powder"]), _way(row))
    assert made is not None
    # 500 mg in 2.2 mL is 227.27 mg/mL; the label's 225 mg/mL is 1 % less.
    assert "the label states 225 mg/mL: 1 % less than by the volumes" in made.lines


# Displacement ignored: the dose falls 4 to 12 % short (Eur J Hosp Pharm 2015;22(Suppl 1):A152).
def test_a_powder_of_unknown_volume_is_never_called_exact() -> None:
    way = Mixing(routes=("IV",), diluents=("water for injections",), volume=mL("5"))
    made = mixed(Quantity.of("600", "mg"), way)
    assert made is not None and not made.exact
    assert made.strength == Concentration.parse("120 mg/mL")
    assert mixed(Quantity.of("600", "mg"), replace(way, volume=None)) is None


@given(
    powder=st.integers(1, 20_000),
    diluent=st.integers(1, 5_000),
    own=st.integers(0, 1_000),
    parts=st.integers(1, 20),
)
@hypothesis_settings(max_examples=200, deadline=None)
def test_what_is_mixed_holds_the_powder_and_nothing_else(
    powder: int, diluent: int, own: int, parts: int
) -> None:
    amount = Quantity.of(powder, "mg")
    way = Mixing(
        routes=("IV",),
        diluents=("water for injections",),
        volume=Quantity.of(Fraction(diluent, 100), "mL"),
        displacement=Quantity.of(Fraction(own, 100), "mL"),
    )
    made = mixed(amount, way)
    assert made is not None and made.exact
    assert made.strength.amount_in(made.content) == amount
    dose = amount / parts
    assert isinstance(dose, Quantity)
    assert made.strength.volume_for(dose) * parts == made.content
    assert made.content == way.volume + way.displacement  # type: ignore[operator]


# -- whole preparations -----------------------------------------------------------------------


def around(scene: Scene) -> Surroundings:
    prep = scene.station.find(scene.id)
    spot = scene.station.rules_of(prep.workflow).layout.base(prep.place)
    return scene.station.surroundings(prep, scene.station.person(NURSE), spot)


def test_waiting_and_looking_again_goes_round_until_it_is_dissolved(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(CHILD, "mix_and_look", tmp_path)
    for _ in range(3):
        scene.attempt({"dissolved": "lumps, gel or powder left"}, wait=30)
        scene.station.remedy(scene.id, Remedy.WAIT, NURSE)
        assert scene.place == "mix_and_look"
    assert scene.attempt(wait=30).entry.event.kind == "passed"
    assert scene.place == "read_the_label_again"


def test_past_the_leaflets_time_only_a_new_start_gets_any_further(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(CHILD, "mix_and_look", tmp_path)
    scene.wait(minutes=11)
    outcome = scene.attempt({"dissolved": "lumps, gel or powder left"})
    assert any(t.next.startswith("Discard it") for t in outcome.told)
    scene.station.remedy(scene.id, Remedy.DISCARD_RESTART, NURSE)
    scene.attempt()
    assert scene.place == "take_the_product"
    assert scene.station.find(scene.id).latest("diluent_added") is None


def test_a_diluent_swapped_after_the_stopper_is_read_and_reckoned_anew(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(CHILD, "draw_the_diluent", tmp_path)
    scene.attempt({"diluent_read": "sodium chloride 0.9 %"})
    scene.station.remedy(scene.id, Remedy.REPLACE_ITEM, NURSE)
    assert scene.place == "take_the_diluent"
    prep = scene.station.find(scene.id)
    assert prep.latest("own_strength") is None and prep.latest("stopper_rubbed") is None


def test_the_label_of_a_mixed_dose_names_the_diluent_and_the_strength_made(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(CHILD, "write_the_label", tmp_path)
    made = label(scene.station.find(scene.id), around(scene))
    assert made.items["diluent"] == "water for injections, 4.6 mL"
    assert made.items["concentration"] == "120 mg/mL"
    assert made.items["volume"] == "1.5 mL"
    assert "diluent" in made.due and not made.missing and not made.misreadable
    assert "mixed with: water for injections, 4.6 mL" in made.lines(private=False)


def test_the_label_of_a_liquid_says_nothing_of_a_diluent(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at("ORD-202", "write_the_label", tmp_path)
    made = label(scene.station.find(scene.id), around(scene))
    assert "diluent" not in made.due and not made.items["diluent"]


def test_a_mixed_dose_is_not_used_past_its_life_after_mixing(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(OPEN, "write_the_label", tmp_path)
    prep = scene.station.find(scene.id)
    mixed_at = prep.time_of("diluent_added")
    assert mixed_at is not None
    assert label(prep, around(scene)).use_before == mixed_at + timedelta(minutes=30)


def test_a_vial_whose_rest_is_kept_is_labelled_with_what_was_made(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(GROWN, "leave_the_area", tmp_path)
    lines = label(scene.station.find(scene.id), around(scene)).vial
    assert lines == vial_label(scene.station.find(scene.id), around(scene))
    assert lines[0] == "ceftriaxone 100 mg/mL"
    assert lines[1] == "mixed with water for injections, 9.6 mL"
    assert lines[2].startswith("mixed 25 Nov 2026 14:")
    assert lines[3].startswith("use before 25 Nov 2026 20:")
    assert lines[4] == f"initials {NURSE}"


def test_a_vial_whose_rest_is_discarded_has_no_label(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(CHILD, "leave_the_area", tmp_path)
    assert vial_label(scene.station.find(scene.id), around(scene)) == ()


def test_the_working_shows_how_the_strength_was_come_by(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(GROWN, "set_the_dose", tmp_path)
    aim = target(scene.station.find(scene.id), around(scene))
    assert aim is not None
    lines = aim.working.lines
    assert "strength = 100 mg/mL, as the label has it" in lines
    assert "the label states 100 mg/mL: 1 % more than by the volumes" in lines
    assert aim.exact == mL("10")


@pytest.mark.parametrize(
    ("route", "volume", "content"), [("IV", "9.6 mL", "10 mL"), ("IM", "3.5 mL", "4 mL")]
)
def test_the_route_decides_how_a_powder_is_mixed(
    route: str, volume: str, content: str, tmp_path: Path
) -> None:
    scene = Scene(tmp_path, order_id=GROWN)
    scene.change_order(route=route, site="ventrogluteal" if route == "IM" else "")
    scene.open()
    scene.to("work_out_the_volume")
    planned = scene.station.find(scene.id).latest("diluent_planned")
    aim = target(scene.station.find(scene.id), around(scene))
    assert planned is not None and planned.value == Quantity.parse(volume)
    assert aim is not None and aim.exact == Quantity.parse(content)


def _controlled(scene: Scene) -> None:
    scene.change_drug(controlled=True)
    register = {**scene.ward.unit.register, PENICILLIN: 10}
    scene.change_unit(register=register)


@pytest.mark.parametrize(
    ("step", "answers", "remedy", "left"),
    [
        ("draw_the_diluent", {"diluent_drawn": "5"}, Remedy.DISCARD_RESTART, "0"),
        ("look_at_the_dose", {"no_core": "n"}, Remedy.DISCARD_RESTART, "5"),
    ],
)
def test_a_controlled_powder_is_accounted_for_by_the_volume_it_was_mixed_to(
    step: str, answers: dict[str, str | None], remedy: Remedy, left: str, tmp_path: Path
) -> None:
    scene = Scene(tmp_path, order_id=CHILD)
    _controlled(scene)
    scene.open()
    scene.to(step)
    scene.attempt(answers)
    scene.station.remedy(scene.id, remedy, NURSE)
    scene.attempt()
    scene.attempt({"discarded_volume": left}, by=NURSE)
    outcome = scene.attempt({"witness_discarded_volume": left}, by=COLLEAGUE)
    assert outcome.entry.event.kind == "passed", [t.code for t in outcome.told]
    assert scene.place == "take_the_product"


def test_a_controlled_powder_wastes_what_is_left_of_the_mixture(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=CHILD)
    _controlled(scene)
    scene.open()
    scene.to("waste_the_rest")
    dry = scene.attempt({"wasted_volume": "3.1"})  # as if 4.6 mL were all there is
    assert "cd_waste_mismatch" in [t.code for t in dry.told]
    scene.station.remedy(scene.id, Remedy.RECHECK, NURSE)
    assert scene.attempt({"wasted_volume": "3.5"}).entry.event.kind == "passed"


def test_a_break_while_the_diluent_is_measured_is_measured_anew(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(CHILD, "draw_the_diluent", tmp_path)
    scene.station.interrupt(scene.id, "telephone", NURSE)
    scene.station.resume(scene.id, NURSE)
    assert scene.place == "draw_the_diluent/reverify"
    outcome = scene.attempt()
    assert "interrupted_at_critical_step" in [t.code for t in outcome.told]
    scene.station.remedy(scene.id, Remedy.RECHECK, NURSE)
    assert scene.place == "draw_the_diluent"


HIDDEN: list[tuple[str, str, Callable[[], dict[str, str | None]]]] = [
    ("draw_the_diluent", "4.6", lambda: {"diluent_drawn": "5"}),
    ("find_the_instruction", "4.6", lambda: {"diluent_planned": "9.2"}),
    ("work_out_the_volume", "120", lambda: {"own_strength": "130 mg/mL"}),
    ("read_the_label_again", "120", lambda: {"made_strength": "130 mg/mL"}),
    ("read_the_label_again", "600", lambda: {"read_amount": "1.2 g"}),
    ("set_the_dose", "1.5", lambda: {"drawn_volume": "1.6"}),
]


@pytest.mark.parametrize(("step", "wanted", "answers"), HIDDEN)
def test_a_refusal_never_tells_the_value_that_was_to_be_found(
    step: str,
    wanted: str,
    answers: Callable[[], dict[str, str | None]],
    shelf: Shelf,
    tmp_path: Path,
) -> None:
    outcome = shelf.at(CHILD, step, tmp_path).attempt(answers())
    assert outcome.told
    for told in outcome.told:
        assert wanted not in f"{told.found} {told.why} {told.next}"
