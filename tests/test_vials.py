"""Single-dose and multi-dose vials: errors are caught where they belong, right answers pass.

The errors come from the hazard register (reused single-dose vials, old or shared multi-dose vials,
cores of rubber, preservative to a newborn) and from common practice.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest

from checklist import register
from checklist.checks import REASONS
from checklist.formulary import Product
from checklist.order import Allergy
from checklist.quantity import Concentration, Quantity
from checklist.verdict import Remedy
from checklist.vial import discard_by, vial_label
from tests.planted import (
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
from tests.scene import COLLEAGUE, NURSE, START, TRAINEE, Scene, demo_ward

R = Remedy
SINGLE, CONTROLLED, SHARED, CLOUDY = "ORD-202", "ORD-209", "ORD-203", "ORD-204"
DEXAMETHASONE, KETAMINE = "09520007302026", "09520007300510"
HEPARIN, TRIAMCINOLONE = "09520007302033", "09520007302040"
OTHER_VIAL = "]d201095200073020331728033110HP5081"
NEWBORN = {"birth_date": START.date() - timedelta(days=9)}
LATEX = (Allergy(substance="latex", reaction="hives"),)

SEEDS = {
    # -- the single-dose vial: taken and looked at
    "another drug's vial": Seed(
        SINGLE, "take_the_product", "product_mismatch", R.REPLACE_ITEM, {"product": OTHER_VIAL}),
    "ampoule of the same drug": Seed(
        SINGLE, "take_the_product", "container_type_mismatch", R.REPLACE_ITEM,
        change=product(DEXAMETHASONE, container="glass_ampoule")),
    "another strength than ordered": Seed(
        SINGLE, "take_the_product", "strength_mismatch", R.REPLACE_ITEM,
        change=order(strength=Concentration.parse("4 mg in 2 mL")), early=True, seen={}),
    "another form than ordered": Seed(
        SINGLE, "take_the_product", "formulation_mismatch", R.REPLACE_ITEM,
        change=product(DEXAMETHASONE, form="suspension for injection")),
    "label not for this route": Seed(
        SINGLE, "take_the_product", "route_mismatch", R.REPLACE_ITEM,
        change=product(DEXAMETHASONE, routes=("IM",))),
    "concentrate": Seed(
        SINGLE, "take_the_product", "concentrate_undiluted", R.CALL_PHARMACIST,
        change=product(DEXAMETHASONE, concentrate=True)),
    "expired": Seed(
        SINGLE, "take_the_product", "product_expired", R.REPLACE_ITEM,
        {"product": DEXAMETHASONE, "lot": "DX7719", "expiry": "24 Nov 2026"}),
    "recalled": Seed(
        SINGLE, "take_the_product", "lot_recalled", R.QUARANTINE,
        change=unit(recalled=frozenset({f"{DEXAMETHASONE}/DX7719"}))),
    "preserved, for a newborn": Seed(
        SINGLE, "take_the_product", "preservative_not_allowed", R.REPLACE_ITEM,
        change=both(product(DEXAMETHASONE, preservative="benzyl alcohol"), patient(**NEWBORN))),
    "latex in the stopper": Seed(
        SINGLE, "take_the_product", "latex_alert", R.REPLACE_ITEM, tier="soft",
        change=both(product(DEXAMETHASONE, latex_free=False), patient(allergies=LATEX))),
    "cap off before": Seed(
        SINGLE, "inspect_the_product", "seal_broken", R.QUARANTINE, {"seal_whole": "n"}),
    "needle mark in the stopper": Seed(
        SINGLE, "inspect_the_product", "single_dose_reentry", R.REPLACE_ITEM,
        {"never_entered": "n"}),
    "cracked": Seed(
        SINGLE, "inspect_the_product", "container_damaged", R.QUARANTINE, {"container_whole": "n"}),
    "particles": Seed(
        SINGLE, "inspect_the_product", "appearance_abnormal", R.QUARANTINE,
        {"content_as_described": "n"}),
    "had been frozen": Seed(
        SINGLE, "inspect_the_product", "storage_breach", R.QUARANTINE, {"kept_as_it_should": "n"}),
    "syringe too small": Seed(
        SINGLE, "choose_the_syringe", "syringe_too_small", R.REPLACE_ITEM,
        {"syringe_size": "1", "graduation": "0.01"}),
    "milligrams for millilitres": Seed(
        SINGLE, "work_out_the_volume", "unit_mismatch", R.RECHECK, {"own_volume": "6 mg"}),
    # -- the single-dose vial: entered
    "hands not cleaned": Seed(
        SINGLE, "clean_the_stopper", "hand_hygiene_missing", R.RECHECK,
        {"hands_clean_to_open": "n"}),
    "stopper not rubbed": Seed(
        SINGLE, "clean_the_stopper", "stopper_not_disinfected", R.RECHECK,
        {"stopper_rubbed": "n"}),
    "stopper wet": Seed(
        SINGLE, "clean_the_stopper", "stopper_not_dry", R.WAIT, {"stopper_dry": "n"}, tier="soft"),
    "another drug at the second reading": Seed(
        SINGLE, "read_the_label_again", "product_mismatch", R.REPLACE_ITEM,
        {"read_drug": "betamethasone"}),
    "second reading skipped": Seed(
        SINGLE, "read_the_label_again", "label_read_missing", R.RECHECK, {"read_strength": None}),
    "no air in": Seed(
        SINGLE, "draw_up", "air_volume_unequal", R.ADJUST, {"air_in": "no air"}, tier="soft"),
    "full air with a hazardous drug": Seed(
        SINGLE, "draw_up", "air_volume_unequal", R.ADJUST, tier="soft",
        change=drug(hazardous=True)),
    "air against this unit's rule": Seed(
        SINGLE, "draw_up", "air_volume_unequal", R.ADJUST, tier="soft",
        change=settings(vial_air_rule="vent_device")),
    "filter that bars the drug": Seed(
        SINGLE, "draw_up", "filter_not_allowed", R.CALL_PHARMACIST,
        {"drawn_with": "filter needle or filter straw"},
        change=product(DEXAMETHASONE, filter_allowed=False)),
    "needle touched": Seed(
        SINGLE, "draw_up", "key_part_touched", R.REPLACE_ITEM, {"key_parts_clean": "n"}),
    "pushed back after leaving": Seed(
        SINGLE, "draw_up", "fluid_returned_to_container", R.DISCARD_RESTART,
        {"pushed_back": "something, after the needle had left"}),
    "pushed back where the unit forbids it": Seed(
        SINGLE, "draw_up", "fluid_returned_to_container", R.DISCARD_RESTART,
        {"pushed_back": "drug, before the needle left"},
        change=settings(excess_back_into_vial="never")),
    "whole vial drawn": Seed(
        SINGLE, "set_the_dose", "volume_over_target", R.ADJUST, {"drawn_volume": "2"}),
    "more than a vial holds": Seed(
        SINGLE, "set_the_dose", "volume_exceeds_content", R.RECHECK, {"drawn_volume": "2.5"}),
    "short": Seed(SINGLE, "set_the_dose", "volume_under_target", R.ADJUST,
                  {"drawn_volume": "1.4"}),
    "drawing needle kept, thick liquid": Seed(
        SINGLE, "change_the_needle", "needle_not_changed", R.REPLACE_ITEM,
        {"tip": "the needle that drew it up"}, tier="soft",
        change=product(DEXAMETHASONE, viscous=True)),
    "filter left on": Seed(
        SINGLE, "change_the_needle", "filter_not_removed", R.REPLACE_ITEM, {"tip": "the filter"}),
    "core in the syringe": Seed(
        SINGLE, "look_at_the_dose", "core_visible", R.DISCARD_RESTART, {"no_core": "n"}),
    "cloudy in the syringe": Seed(
        SINGLE, "look_at_the_dose", "appearance_abnormal", R.QUARANTINE, {"dose_clear": "n"}),
    "another vial emptied": Seed(
        SINGLE, "look_at_the_dose", "product_mismatch", R.REPLACE_ITEM, {"emptied": OTHER_VIAL}),
    "vial kept": Seed(
        SINGLE, "leave_the_area", "single_dose_kept", R.RECHECK, {"vial_not_kept": "n"}),
    "leftovers put together": Seed(
        SINGLE, "leave_the_area", "contents_pooled", R.DISCARD_RESTART, {"nothing_pooled": "n"}),
    "empty vial left behind": Seed(
        SINGLE, "leave_the_area", "original_container_absent", R.RECHECK,
        {"container_along": "n"}, tier="soft"),
    "too long after opening": Seed(
        SINGLE, "leave_the_area", "preparation_time_exceeded", R.DISCARD_RESTART,
        change=after(minutes=61)),
    "label of another dose": Seed(
        SINGLE, "write_the_label", "label_mismatch", R.RECHECK, {"label_dose": "8 mg"}),
    # -- the single-dose vial of a controlled drug
    "seal of a controlled vial broken": Seed(
        CONTROLLED, "inspect_the_product", "seal_broken", R.EVENT, {"seal_whole": "n"}),
    "stock not as booked": Seed(
        CONTROLLED, "count_the_stock", "cd_count_mismatch", R.EVENT,
        {"count_before": "3", "count_after": "2"}),
    "two vials for a part of one": Seed(
        CONTROLLED, "count_the_stock", "cd_count_mismatch", R.RECHECK,
        {"count_taken": "2", "count_after": "2"}),
    "second person in training": Seed(
        CONTROLLED, "second_person_works_it_out", "checker_not_eligible", R.SECOND_PERSON,
        by=TRAINEE),
    "second person reads another strength": Seed(
        CONTROLLED, "second_person_works_it_out", "double_check_disagrees", R.RECHECK,
        {"checker_strength": "50 mg/mL"}),
    "rest of a big vial not wasted": Seed(
        CONTROLLED, "waste_the_rest", "cd_waste_mismatch", R.RECHECK, {"wasted_volume": "1.75"}),
    "waste that can be got back": Seed(
        CONTROLLED, "waste_the_rest", "cd_waste_recoverable", R.ADJUST, {"waste_method": "sink"},
        tier="soft"),
    "own witness": Seed(
        CONTROLLED, "witness_the_waste", "cd_witness_same_person", R.SECOND_PERSON, by=NURSE),
    "witness reads another waste": Seed(
        CONTROLLED, "witness_the_waste", "cd_waste_mismatch", R.RECHECK,
        {"witness_wasted_volume": "17"}),
    "second person reads another volume": Seed(
        CONTROLLED, "second_person_reads_the_dose", "double_check_disagrees", R.RECHECK,
        {"checker_drawn_volume": "1.25"}),
    # -- the multi-dose vial: what it says of itself
    "says one dose": Seed(
        SHARED, "read_the_vial", "not_multi_dose", R.REPLACE_ITEM, {"dose_kind": "for one dose"}),
    "does not say": Seed(
        SHARED, "read_the_vial", "not_multi_dose", R.STOP, {"dose_kind": "it does not say"}),
    "opened, no date": Seed(
        SHARED, "read_the_vial", "mdv_opened_date_missing", R.REPLACE_ITEM,
        {"vial_opened_on": None}),
    "new, but dated": Seed(
        SHARED, "read_the_vial", "mdv_opened_date_missing", R.RECHECK,
        {"vial_state": "new, its cap on until now"}),
    "opened tomorrow": Seed(
        SHARED, "read_the_vial", "mdv_opened_date_missing", R.RECHECK,
        {"vial_opened_on": "26 Nov 2026"}),
    "opened 29 days ago": Seed(
        SHARED, "read_the_vial", "mdv_beyond_use", R.REPLACE_ITEM,
        {"vial_opened_on": "27 Oct 2026"}),
    "opened 28 days ago, opening day counted": Seed(
        SHARED, "read_the_vial", "mdv_beyond_use", R.REPLACE_ITEM,
        {"vial_opened_on": "28 Oct 2026"}, change=settings(mdv_opened_day=1)),
    "opened 8 days ago, the unit keeps 7": Seed(
        SHARED, "read_the_vial", "mdv_beyond_use", R.REPLACE_ITEM,
        {"vial_opened_on": "17 Nov 2026"}, change=settings(mdv_days="7")),
    "opened 15 days ago, its maker gives 14": Seed(
        CLOUDY, "read_the_vial", "mdv_beyond_use", R.REPLACE_ITEM,
        {"vial_opened_on": "10 Nov 2026"}),
    "date that reads two ways": Seed(
        SHARED, "read_the_vial", "entry_unreadable", R.RECHECK, {"vial_opened_on": "10/11/2026"}),
    "another patient's vial": Seed(
        SHARED, "read_the_vial", "mdv_wrong_patient", R.REPLACE_ITEM, {"vial_patient": "30011742"}),
    "another patient's name": Seed(
        SHARED, "read_the_vial", "mdv_wrong_patient", R.REPLACE_ITEM,
        {"vial_patient": "Ottoline Brask"}),
    "no name where none is shared": Seed(
        SHARED, "read_the_vial", "mdv_wrong_patient", R.REPLACE_ITEM,
        change=settings(shared_mdv="never")),
    "has been at a bed": Seed(
        SHARED, "read_the_vial", "mdv_in_patient_area", R.REPLACE_ITEM, {"never_at_a_bed": "n"}),
    "needle left in": Seed(
        SHARED, "read_the_vial", "needle_left_in_stopper", R.REPLACE_ITEM,
        {"no_needle_in_it": "n"}),
    "less left than there should be": Seed(
        SHARED, "read_the_vial", "mdv_volume_implausible", R.EVENT, {"rest_plausible": "n"},
        tier="soft"),
    "preserved, for a newborn's dose": Seed(
        SHARED, "take_the_product", "preservative_not_allowed", R.REPLACE_ITEM,
        change=patient(**NEWBORN)),
    "preserved, into the spine": Seed(
        SHARED, "take_the_product", "preservative_not_allowed", R.CALL_PHARMACIST,
        change=both(order(route="IT"), product(HEPARIN, routes=("IT",))), early=True),
    # -- the multi-dose vial: entered and put back
    "no discard-by date": Seed(
        SHARED, "clean_the_stopper", "mdv_opened_date_missing", R.RECHECK,
        {"vial_discard_by": None}),
    "discard-by date too late": Seed(
        SHARED, "clean_the_stopper", "mdv_opened_date_missing", R.RECHECK,
        {"vial_discard_by": "20 Dec 2026"}),
    "discard-by date past": Seed(
        SHARED, "clean_the_stopper", "mdv_beyond_use", R.REPLACE_ITEM,
        {"vial_discard_by": "24 Nov 2026"}),
    "stopper of an opened vial not rubbed": Seed(
        SHARED, "clean_the_stopper", "stopper_not_disinfected", R.RECHECK,
        {"stopper_rubbed": "n"}),
    "used syringe": Seed(
        SHARED, "clean_the_stopper", "device_reused", R.REPLACE_ITEM, {"devices_new": "n"}),
    "used needle, the vial touched": Seed(
        SHARED, "clean_the_stopper", "device_reused", R.DISCARD_RESTART, {"devices_new": "n"}),
    "drug pushed back into a shared vial": Seed(
        SHARED, "draw_up", "fluid_returned_to_container", R.DISCARD_RESTART,
        {"pushed_back": "drug, before the needle left"}),
    "moved another way than its leaflet tells": Seed(
        CLOUDY, "make_it_even", "mix_method_wrong", R.QUARANTINE, {"moved_how": "shaken"}),
    "turned too few times": Seed(
        CLOUDY, "make_it_even", "not_resuspended", R.WAIT, {"moved_for": "4"}),
    "clumps at the bottom": Seed(
        CLOUDY, "make_it_even", "not_resuspended", R.REPLACE_ITEM, {"even": "n"}),
    "thin needle for a thick drug": Seed(
        CLOUDY, "change_the_needle", "needle_unsuitable", R.REPLACE_ITEM, {"gauge": "25"},
        tier="soft"),
    "core in the vial": Seed(
        SHARED, "look_at_the_dose", "core_visible", R.DISCARD_RESTART, {"no_core": "n"}),
    "another vial in the hand": Seed(
        SHARED, "look_at_the_dose", "product_mismatch", R.REPLACE_ITEM,
        {"emptied": "]d201095200073020261727113010DX7719"}),
    "left on the bench": Seed(
        SHARED, "leave_the_area", "storage_after_use", R.ADJUST, {"back_in_its_place": "n"},
        tier="soft"),
    "second person finds another dose": Seed(
        SHARED, "second_person_works_it_out", "double_check_disagrees", R.RECHECK,
        {"checker_volume": "8"}),
    "told the answer": Seed(
        SHARED, "second_person_works_it_out", "double_check_not_independent", R.SECOND_PERSON,
        {"first_answer_unknown": "n"}),
}  # fmt: skip


RIGHT = {
    # -- single dose
    "code typed": Seed(
        SINGLE, "take_the_product",
        seen={"product": DEXAMETHASONE, "lot": "DX7719", "expiry": "11/2027"}),
    "latex allergy, stopper free of it": Seed(
        SINGLE, "take_the_product", change=patient(allergies=LATEX)),
    "latex in the stopper, no allergy": Seed(
        SINGLE, "take_the_product", change=product(DEXAMETHASONE, latex_free=False)),
    "newborn, not preserved": Seed(SINGLE, "take_the_product", change=patient(**NEWBORN)),
    "another lot recalled": Seed(
        SINGLE, "take_the_product", change=unit(recalled=frozenset({f"{DEXAMETHASONE}/DX7718"}))),
    "strength as ordered": Seed(
        SINGLE, "take_the_product", change=order(strength=Concentration.parse("8 mg in 2 mL")),
        early=True),
    "larger syringe": Seed(
        SINGLE, "choose_the_syringe", seen={"syringe_size": "5", "graduation": "0.1"}),
    "slip tip": Seed(SINGLE, "choose_the_syringe", seen={"syringe_kind": "luer slip"}),
    "estimate on the high side": Seed(
        SINGLE, "work_out_the_volume", seen={"estimate": "about one container"}),
    "strength per mL": Seed(
        SINGLE, "read_the_label_again", seen={"read_strength": "4 mg/mL"}),
    "drug with a capital": Seed(
        SINGLE, "read_the_label_again", seen={"read_drug": "Dexamethasone"}),
    "vented device": Seed(SINGLE, "draw_up", seen={"air_in": "through a vented device"}),
    "less air with a hazardous drug": Seed(
        SINGLE, "draw_up", seen={"air_in": "a little less air than drug"},
        change=drug(hazardous=True)),
    "no air with a hazardous drug": Seed(
        SINGLE, "draw_up", seen={"air_in": "no air"}, change=drug(hazardous=True)),
    "no air, by this unit's rule": Seed(
        SINGLE, "draw_up", seen={"air_in": "no air"},
        change=settings(vial_air_rule="none_small_volume")),
    "less air, by this unit's rule": Seed(
        SINGLE, "draw_up", seen={"air_in": "a little less air than drug"},
        change=settings(vial_air_rule="slightly_less")),
    "straight through the centre": Seed(
        SINGLE, "draw_up", seen={"drawn_with": "needle, straight through the centre"}),
    "blunt needle": Seed(SINGLE, "draw_up", seen={"drawn_with": "blunt needle or spike"}),
    "filter though none is needed": Seed(
        SINGLE, "draw_up", seen={"drawn_with": "filter needle or filter straw"}),
    "nothing pushed back": Seed(SINGLE, "draw_up", seen={"pushed_back": "nothing"}),
    "excess pushed back in time": Seed(
        SINGLE, "draw_up", seen={"pushed_back": "drug, before the needle left"}),
    "bubbles pushed back, excess forbidden": Seed(
        SINGLE, "draw_up", change=settings(excess_back_into_vial="never")),
    "volume with its unit": Seed(SINGLE, "set_the_dose", seen={"drawn_volume": "1.5 mL"}),
    "drawing needle kept, thin liquid": Seed(
        SINGLE, "change_the_needle", seen={"tip": "the needle that drew it up"}, early=True,
        change=order(route="IM", site="deltoid")),
    "longer needle for the hip": Seed(
        SINGLE, "change_the_needle", seen={"gauge": "22", "needle_length": "38"}, early=True,
        change=order(route="IM", site="ventrogluteal")),
    "emptied code typed": Seed(SINGLE, "look_at_the_dose", seen={"emptied": DEXAMETHASONE}),
    "label by hand": Seed(SINGLE, "write_the_label", seen={"label_made": "written by hand"}),
    "label in microgram": Seed(
        SINGLE, "write_the_label", seen={"label_dose": "6000 microgram"}),
    "an hour less some minutes": Seed(SINGLE, "leave_the_area", change=after(minutes=50)),
    "whole vial as the dose": Seed(
        SINGLE, "set_the_dose", change=order(dose=Quantity.of("8", "mg")), early=True),
    "two vials for a dose": Seed(
        SINGLE, "set_the_dose", early=True,
        change=product(DEXAMETHASONE, content=Quantity.of("1", "mL"))),
    # -- controlled
    "count as booked": Seed(CONTROLLED, "count_the_stock"),
    "witness counts the same": Seed(CONTROLLED, "witness_the_count", by="DR-4"),
    "second strength in full": Seed(
        CONTROLLED, "second_person_works_it_out", seen={"checker_strength": "200 mg in 20 mL"}),
    "second person is the pharmacist": Seed(CONTROLLED, "second_person_works_it_out", by="PH-2"),
    "waste with its unit": Seed(
        CONTROLLED, "waste_the_rest", seen={"wasted_volume": "17.5 mL"}),
    "waste to the hundredth": Seed(
        CONTROLLED, "witness_the_waste", seen={"witness_wasted_volume": "17.503"}),
    "ketamine for a patient without latex allergy": Seed(CONTROLLED, "take_the_product"),
    # -- multi-dose
    "new vial": Seed(
        SHARED, "read_the_vial",
        seen={"vial_state": "new, its cap on until now", "vial_opened_on": None}),
    "opened today": Seed(SHARED, "read_the_vial", seen={"vial_opened_on": "25 Nov 2026"}),
    "opened 28 days ago": Seed(SHARED, "read_the_vial", seen={"vial_opened_on": "28 Oct 2026"}),
    "opened 27 days ago, opening day counted": Seed(
        SHARED, "read_the_vial", seen={"vial_opened_on": "29 Oct 2026"},
        change=settings(mdv_opened_day=1)),
    "opened 30 days ago, the unit keeps 30": Seed(
        SHARED, "read_the_vial", seen={"vial_opened_on": "26 Oct 2026"},
        change=settings(mdv_days="30")),
    "opened 60 days ago, its maker gives 90": Seed(
        SHARED, "read_the_vial", seen={"vial_opened_on": "26 Sep 2026"},
        change=product(HEPARIN, life_in_use=Quantity.of("90", "d"))),
    "opened 60 days ago, only the maker counts": Seed(
        SHARED, "read_the_vial", seen={"vial_opened_on": "26 Sep 2026"},
        change=settings(mdv_days="maker")),
    "opened 14 days ago, its maker gives 14": Seed(
        CLOUDY, "read_the_vial", seen={"vial_opened_on": "11 Nov 2026"}),
    "opened date as figures": Seed(
        SHARED, "read_the_vial", seen={"vial_opened_on": "2026-11-20"}),
    "this patient's own vial": Seed(
        SHARED, "read_the_vial", seen={"vial_patient": "30012088"}),
    "this patient's name on it": Seed(
        SHARED, "read_the_vial", seen={"vial_patient": "DUNMOW, Ferris"}),
    "own vial where none is shared": Seed(
        SHARED, "read_the_vial", seen={"vial_patient": "1944-09-02"},
        change=settings(shared_mdv="never")),
    "discarded earlier than need be": Seed(
        SHARED, "clean_the_stopper", seen={"vial_discard_by": "1 Dec 2026"}),
    "discarded today": Seed(
        SHARED, "clean_the_stopper", seen={"vial_discard_by": "25 Nov 2026"}),
    "discard-by in figures": Seed(
        SHARED, "clean_the_stopper", seen={"vial_discard_by": "2026-12-18"}),
    "preserved, a month old": Seed(
        SHARED, "take_the_product", change=patient(birth_date=START.date() - timedelta(days=28))),
    "turned more often": Seed(CLOUDY, "make_it_even", seen={"moved_for": "20"}),
    "thick needle": Seed(CLOUDY, "change_the_needle", seen={"gauge": "19"}),
    "vial read again by its code": Seed(SHARED, "look_at_the_dose", seen={"emptied": HEPARIN}),
    "second volume with its unit": Seed(
        SHARED, "second_person_works_it_out", seen={"checker_volume": "0.8 mL"}),
    "second strength per mL": Seed(
        SHARED, "second_person_works_it_out", seen={"checker_strength": "1000 units/mL"}),
    "dose on the label in full": Seed(
        SHARED, "write_the_label", seen={"label_dose": "800 units"}),
    "given by another, where the unit allows it": Seed(
        SHARED, "identify_the_patient", by=NURSE),
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


@pytest.mark.parametrize("order_id", (SINGLE, CONTROLLED, SHARED, CLOUDY))
@pytest.mark.parametrize(("station", "seconds"), [("W7E-1", 5), ("W7E-2", 20), ("W7E-1", 70)])
def test_whole_right_preparations_pass_without_a_refusal(
    order_id: str, station: str, seconds: int, tmp_path: Path
) -> None:
    right_through(order_id, station, seconds, tmp_path)


@pytest.mark.parametrize("order_id", (SINGLE, CONTROLLED, SHARED, CLOUDY))
def test_every_step_passes_when_it_is_answered_in_other_words(
    order_id: str, shelf: Shelf, tmp_path: Path
) -> None:
    assert passed_in_other_words(order_id, shelf, tmp_path) >= 18


@pytest.mark.parametrize("order_id", (SINGLE, CONTROLLED, SHARED, CLOUDY))
def test_no_check_raises_on_a_well_typed_answer(
    order_id: str, shelf: Shelf, tmp_path: Path
) -> None:
    assert raises_nothing(order_id, shelf, tmp_path) > 200


def test_every_code_that_only_vials_can_give_has_a_seed() -> None:
    own = {
        "seal_broken", "single_dose_reentry", "stopper_not_disinfected", "stopper_not_dry",
        "air_volume_unequal", "core_visible", "single_dose_kept", "contents_pooled",
        "storage_after_use", "preservative_not_allowed", "latex_alert", "not_multi_dose",
        "mdv_opened_date_missing", "mdv_beyond_use", "mdv_in_patient_area", "mdv_wrong_patient",
        "needle_left_in_stopper", "mdv_volume_implausible", "device_reused", "not_resuspended",
        "fluid_returned_to_container",
    }  # fmt: skip
    assert own <= {seed.code for seed in SEEDS.values()} <= REASONS.keys()


def _vial(life: str = "") -> Product:
    return Product(
        code="X",
        drug="x",
        container="multi_dose_vial",
        strength=Concentration.parse("1 mg/mL"),
        content=Quantity.of("10", "mL"),
        life_in_use=Quantity.parse(life) if life else None,
    )


# 28 days counted from the day after opening: the worked example of the trade's rule (USP <797>:
# 28 days; which day is the first is not stated anywhere, so the unit says).
@pytest.mark.parametrize(
    ("opened", "life", "days", "opening_day", "last"),
    [
        (date(2026, 2, 10), "", "28", 0, date(2026, 3, 10)),
        (date(2024, 2, 10), "", "28", 0, date(2024, 3, 9)),
        (date(2026, 2, 10), "", "28", 1, date(2026, 3, 9)),
        (date(2026, 12, 20), "", "28", 0, date(2027, 1, 17)),
        (date(2026, 2, 10), "14 days", "28", 0, date(2026, 2, 24)),
        (date(2026, 2, 10), "42 days", "28", 0, date(2026, 3, 24)),
        (date(2026, 2, 10), "", "7", 0, date(2026, 2, 17)),
        (date(2026, 2, 10), "", "maker", 0, date(2027, 8, 31)),
        (date(2026, 2, 10), "14 days", "maker", 0, date(2026, 2, 24)),
        (date(2027, 8, 20), "", "28", 0, date(2027, 8, 31)),
    ],
)
def test_a_vial_is_discarded_by_the_maker_the_unit_and_its_expiry(
    opened: date, life: str, days: str, opening_day: int, last: date, tmp_path: Path
) -> None:
    scene = Scene(tmp_path)
    scene.change_settings(mdv_days=days, mdv_opened_day=opening_day)
    assert discard_by(opened, _vial(life), date(2027, 8, 31), scene.ward.unit) == last


def test_a_discard_by_date_never_passes_the_printed_expiry(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=SHARED)
    scene.open()
    scene.to("take_the_product")
    scene.attempt({"product": HEPARIN, "lot": "HP5081", "expiry": "10 Dec 2026"})
    scene.to("clean_the_stopper")
    late = scene.attempt({"vial_discard_by": "18 Dec 2026"})
    assert "mdv_opened_date_missing" in [t.code for t in late.told]
    scene.station.remedy(scene.id, Remedy.RECHECK, NURSE)
    assert scene.attempt({"vial_discard_by": "10 Dec 2026"}).entry.event.kind == "passed"


def test_a_new_vial_is_labelled_with_both_dates_and_initials(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(SHARED, "read_the_vial", tmp_path)
    scene.attempt({"vial_state": "new, its cap on until now", "vial_opened_on": None})
    prep = scene.station.find(scene.id)
    rules = scene.station.rules_of(prep.workflow)
    around = scene.station.surroundings(
        prep, scene.station.person(NURSE), rules.layout.base(prep.place)
    )
    assert vial_label(prep, around) == (
        "opened 25 Nov 2026",
        "discard after 23 Dec 2026",
        f"initials {NURSE}",
    )


def test_what_stays_in_a_multi_dose_vial_is_no_waste(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(SHARED, "take_the_product", tmp_path)
    rules = scene.station.rules_of(scene.station.find(scene.id).workflow)
    names = {step.name for step in rules.workflow.steps}
    assert not names & {"waste_the_rest", "witness_the_waste"}
    again = tmp_path / "again"
    again.mkdir()
    calculated = shelf.at(SHARED, "work_out_the_volume", again).attempt()
    assert "waste_expected" not in [note.code for note in calculated.notes]


def test_a_discarded_controlled_vial_is_accounted_for_to_the_last_millilitre(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(CONTROLLED, "look_at_the_dose", tmp_path)
    scene.attempt({"no_core": "n"})
    scene.station.remedy(scene.id, Remedy.DISCARD_RESTART, NURSE)
    scene.attempt()
    assert scene.place.startswith("account_for_the_drug/")
    short = scene.attempt({"discarded_volume": "17.5"}, by=NURSE)
    assert "cd_unaccounted" in [t.code for t in short.told]
    scene.station.remedy(scene.id, Remedy.RECHECK, NURSE)
    scene.attempt({"discarded_volume": "20"}, by=NURSE)
    scene.attempt({"witness_discarded_volume": "20"}, by=COLLEAGUE)
    assert scene.place == "take_the_product"


def test_a_controlled_vial_for_many_doses_goes_back_into_the_stock(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=SHARED)
    scene.change_drug(controlled=True)
    scene.change_unit(register={**scene.ward.unit.register, HEPARIN: 3})
    scene.open()
    scene.finish()
    prep = scene.station.find(scene.id)
    use = register.use(scene.trail.of(scene.id), scene.station.rules_of(prep.workflow))
    assert prep.place == "given" and not use.gone and not use.in_hand


def test_a_blunt_needle_is_noted_where_any_entry_is_allowed(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(SINGLE, "draw_up", tmp_path)
    outcome = scene.attempt({"drawn_with": "blunt needle or spike"})
    assert "entry_angle_note" in [note.code for note in outcome.notes]


def test_the_demonstration_ward_keeps_a_vial_of_each_sort() -> None:
    kept = {p.container for p in demo_ward().formulary.products.values()}
    assert {"single_dose_vial", "multi_dose_vial"} <= kept
