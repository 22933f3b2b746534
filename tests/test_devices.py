"""Auto-injectors, two chambers, depots and pharmacy syringes: errors are caught, right ones pass.

The errors come from the hazard register (a device fired before, a part dose from a device that
gives all, parts of two kits, a suspension not even, a pharmacy's limit passed) and from common
practice. At the end the length of every workflow of a filled device is counted and printed.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from checklist import library
from checklist.checks import REASONS
from checklist.formulary import DoseRange, Product
from checklist.observation import Kind
from checklist.quantity import Concentration, Quantity
from checklist.verdict import Remedy
from tests import test_pen, test_prefilled
from tests.planted import (
    Seed,
    Shelf,
    after,
    both,
    caught,
    drug,
    order,
    passed,
    patient,
    product,
    right_through,
    unit,
)
from tests.scene import COLLEAGUE, NURSE, demo_ward
from tests.wards import FORMULARY, UNIT, copied, edit, faults_of, load
from tests.wards import ORDERS as ORDER_FILE

R = Remedy
INJECTOR, CHAMBERS, DEPOT, PHARMACY = "ORD-307", "ORD-308", "ORD-309", "ORD-310"
ADRENALINE_300, ADRENALINE_150 = "09520007303085", "09520007303092"
LEUPRORELIN, MEDROXYPROGESTERONE, LABETALOL = "09520007303108", "09520007303115", "PH-310"
SCAN_150 = "]d201095200073030921727093010AD1540"
FLUSH_SCAN = "]d201095200073031221728083110FL1001"
ANY_DOSE = drug(dose=DoseRange())

SEEDS = {
    # -- the auto-injector: all or nothing
    "the child's strength": Seed(
        INJECTOR, "take_the_product", "strength_mismatch", R.REPLACE_ITEM, {"product": SCAN_150},
        change=order(strength=Concentration.parse("300 microgram in 0.3 mL")), early=True),
    "half the dose in it": Seed(
        INJECTOR, "read_the_ready_label", "strength_mismatch", R.REPLACE_ITEM,
        change=order(dose=Quantity.of("150", "ug")), early=True),
    "a dose that no device gives": Seed(
        INJECTOR, "read_the_ready_label", "no_usable_scale", R.CALL_PHARMACIST,
        change=order(dose=Quantity.of("200", "ug")), early=True),
    "window cloudy": Seed(
        INJECTOR, "inspect_the_product", "appearance_abnormal", R.QUARANTINE,
        {"content_as_described": "n"}),
    "left in the sun": Seed(
        INJECTOR, "inspect_the_product", "storage_breach", R.QUARANTINE,
        {"kept_as_it_should": "n"}),
    "fired before": Seed(
        INJECTOR, "check_the_injector", "device_already_fired", R.REPLACE_ITEM,
        {"not_fired": "n"}),
    "no patient's label on it": Seed(
        INJECTOR, "read_the_ready_label", "label_incomplete", R.RECHECK,
        {"label_identifier": None}),
    "another patient's label": Seed(
        INJECTOR, "read_the_ready_label", "label_mismatch", R.RECHECK,
        {"label_identifier": "30012088"}),
    "label says mg": Seed(
        INJECTOR, "read_the_ready_label", "label_mismatch", R.RECHECK, {"label_dose": "300 mg"}),
    "second reading: another drug": Seed(
        INJECTOR, "read_the_label_again", "product_mismatch", R.REPLACE_ITEM,
        {"read_drug": "noradrenaline"}),
    "second person reads the child's": Seed(
        INJECTOR, "second_person_reads_the_device", "double_check_disagrees", R.RECHECK,
        {"checker_strength": "150 microgram in 0.3 mL"}),
    "second person leaves the drug out": Seed(
        INJECTOR, "second_person_reads_the_device", "double_check_missing", R.RECHECK,
        {"checker_drug": None}),
    "allergy asked again at the bed": Seed(
        INJECTOR, "compare_at_the_bedside", "allergy_unknown", R.RECHECK,
        change=patient(allergies=None)),
    "let go at the click": Seed(
        INJECTOR, "give_with_the_device", "hold_time_short", R.RECHECK, {"held_for": "1"},
        tier="soft"),
    "slipped off the leg": Seed(
        INJECTOR, "give_with_the_device", "dose_incomplete", R.CALL_PRESCRIBER,
        {"all_given": "n"}),
    "put back into its case, needle out": Seed(
        INJECTOR, "dispose", "sharp_not_disposed", R.EVENT, {"sharp_in_box": "n"}),
    # -- two chambers
    "solvent of another kit": Seed(
        CHAMBERS, "compare_the_parts", "kit_components_mixed", R.REPLACE_ITEM,
        {"kit_lot": "LP0094"}),
    "lot in small letters": Seed(
        CHAMBERS, "compare_the_parts", "kit_components_mixed", R.RECHECK, {"kit_lot": "lp0093"}),
    "solvent without a lot": Seed(
        CHAMBERS, "compare_the_parts", "label_unreadable", R.REPLACE_ITEM, {"kit_lot": None}),
    "chambers already joined": Seed(
        CHAMBERS, "inspect_the_product", "seal_broken", R.QUARANTINE, {"never_used": "n"}),
    "powder caked": Seed(
        CHAMBERS, "inspect_the_product", "appearance_abnormal", R.QUARANTINE,
        {"content_as_described": "n"}),
    "pushed half way": Seed(
        CHAMBERS, "bring_the_parts_together", "activation_incomplete", R.RECHECK,
        {"activated": "in part"}),
    "pushed a second time": Seed(
        CHAMBERS, "bring_the_parts_together", "activation_incomplete", R.DISCARD_RESTART,
        {"activated": "a second time"}),
    "solvent stays behind": Seed(
        CHAMBERS, "bring_the_parts_together", "activation_incomplete", R.DISCARD_RESTART,
        {"activated": "with solvent left behind"}),
    "dry powder at the edge": Seed(
        CHAMBERS, "bring_the_parts_together", "activation_incomplete", R.WAIT,
        {"all_dissolved": "n"}),
    "hands not cleaned to mix": Seed(
        CHAMBERS, "bring_the_parts_together", "hand_hygiene_missing", R.RECHECK,
        {"hands_clean_to_mix": "n"}),
    "swirled too short": Seed(
        CHAMBERS, "make_it_even", "not_resuspended", R.WAIT, {"moved_for": "5"}),
    "shaken into froth": Seed(
        CHAMBERS, "make_it_even", "mix_method_wrong", R.QUARANTINE, {"moved_how": "shaken"}),
    "used to draw from": Seed(
        CHAMBERS, "take_the_cap_off", "device_used_as_vial", R.DISCARD_RESTART,
        {"not_drawn_from": "n"}),
    "half given up by eye": Seed(
        CHAMBERS, "set_the_dose", "excess_not_expelled", R.ADJUST, {"drawn_volume": "1"},
        change=both(order(dose=Quantity.of("1.875", "mg")), ANY_DOSE), early=True),
    "mixed an hour ago": Seed(
        CHAMBERS, "leave_the_area", "preparation_time_exceeded", R.DISCARD_RESTART,
        change=after(minutes=31)),
    # -- the depot
    "cold from the fridge": Seed(
        DEPOT, "make_it_even", "too_cold", R.WAIT, {"warmed": "n"}, tier="soft"),
    "shaken too short": Seed(
        DEPOT, "make_it_even", "not_resuspended", R.WAIT, {"moved_for": "20"}),
    "rolled, not shaken": Seed(
        DEPOT, "make_it_even", "not_resuspended", R.WAIT, {"moved_how": "rolled"}),
    "shaken against its leaflet": Seed(
        DEPOT, "make_it_even", "mix_method_wrong", R.CALL_PHARMACIST, {"moved_how": "shaken"},
        change=product(MEDROXYPROGESTERONE, resuspend_how="swirled")),
    "turned over against its leaflet": Seed(
        DEPOT, "make_it_even", "mix_method_wrong", R.QUARANTINE, {"moved_how": "turned over"},
        change=product(MEDROXYPROGESTERONE, resuspend_how="swirled")),
    "sediment left": Seed(DEPOT, "make_it_even", "not_resuspended", R.REPLACE_ITEM, {"even": "n"}),
    "part of a depot": Seed(
        DEPOT, "work_out_the_volume", "no_usable_scale", R.REPLACE_ITEM,
        change=both(order(dose=Quantity.of("120", "mg")), ANY_DOSE), early=True),
    "needle from stock": Seed(
        DEPOT, "fit_the_tip", "needle_unsuitable", R.REPLACE_ITEM, {"needle_from": "stock"}),
    "no needle at all": Seed(
        DEPOT, "fit_the_tip", "needle_unsuitable", R.REPLACE_ITEM, {"needle_from": "no needle"}),
    "settled again": Seed(
        DEPOT, "look_at_the_dose", "appearance_abnormal", R.DISCARD_RESTART, {"dose_clear": "n"}),
    "made even a quarter of an hour ago": Seed(
        DEPOT, "leave_the_area", "preparation_time_exceeded", R.DISCARD_RESTART,
        change=after(minutes=11)),
    "stood at the bed": Seed(
        DEPOT, "give_the_dose", "preparation_time_exceeded", R.DISCARD_RESTART,
        change=after(minutes=15)),
    # -- the pharmacy's syringe
    "another patient's syringe": Seed(
        PHARMACY, "read_the_ready_label", "label_mismatch", R.DISCARD_RESTART,
        {"label_identifier": "Halden Mossey"}),
    "made for the morning dose": Seed(
        PHARMACY, "read_the_ready_label", "label_mismatch", R.RECHECK, {"label_dose": "20 mg"}),
    "another drug on its label": Seed(
        PHARMACY, "read_the_ready_label", "label_mismatch", R.RECHECK,
        {"label_drug": "lidocaine"}),
    "past the pharmacy's day": Seed(
        PHARMACY, "read_the_ready_label", "beyond_use_date_passed", R.REPLACE_ITEM,
        {"use_before_day": "24 Nov 2026", "use_before_time": None}),
    "past the pharmacy's hour": Seed(
        PHARMACY, "read_the_ready_label", "beyond_use_date_passed", R.CALL_PHARMACIST,
        {"use_before_day": "25 Nov 2026", "use_before_time": "14:00"}),
    "no limit on the label": Seed(
        PHARMACY, "read_the_ready_label", "label_incomplete", R.RECHECK,
        {"use_before_day": None}),
    "runs out on the way": Seed(
        PHARMACY, "identify_the_patient", "preparation_time_exceeded", R.DISCARD_RESTART,
        change=after(hours=29)),
    "seal gone": Seed(
        PHARMACY, "inspect_the_product", "seal_broken", R.QUARANTINE, {"never_used": "n"}),
    "less in it than the label says": Seed(
        PHARMACY, "inspect_the_product", "fill_volume_abnormal", R.QUARANTINE,
        {"fill_volume": "9"}),
    "volume read at the line above": Seed(
        PHARMACY, "set_the_dose", "excess_not_expelled", R.ADJUST, {"drawn_volume": "10.5"}),
    "air in it": Seed(
        PHARMACY, "clear_the_air", "air_present", R.ADJUST, {"bubble_free": "a bubble is left"}),
    "flush taken for it": Seed(
        PHARMACY, "take_the_product", "flush_syringe_as_diluent", R.REPLACE_ITEM,
        {"product": FLUSH_SCAN}),
    "flush used before": Seed(
        PHARMACY, "take_the_flush", "device_reused", R.REPLACE_ITEM, {"flush_new": "n"}),
    "lot on the stop list": Seed(
        PHARMACY, "take_the_product", "lot_recalled", R.QUARANTINE,
        change=unit(recalled=frozenset({"PH-310/LB-77"}))),
    "patient objects": Seed(
        PHARMACY, "compare_at_the_bedside", "patient_concern", R.CALL_PHARMACIST,
        {"no_concern": "n"}),
}  # fmt: skip

RIGHT_ONES = {
    "child's device for the child's dose": Seed(
        INJECTOR, "take_the_product", seen={"product": SCAN_150},
        change=order(dose=Quantity.of("150", "ug")), early=True),
    "code typed": Seed(
        INJECTOR, "take_the_product",
        seen={"product": ADRENALINE_300, "lot": "AD5521", "expiry": "30 Sep 2027"}),
    "label in mg": Seed(INJECTOR, "read_the_ready_label", seen={"label_dose": "0.3 mg"}),
    "label by hand": Seed(
        INJECTOR, "read_the_ready_label", seen={"label_made": "written by hand"}),
    "name on the label": Seed(
        INJECTOR, "read_the_ready_label", seen={"label_identifier": "Halden Mossey"}),
    "strength per mL": Seed(
        INJECTOR, "read_the_label_again", seen={"read_strength": "1 mg/mL"}),
    "second person in mg": Seed(
        INJECTOR, "second_person_reads_the_device", seen={"checker_strength": "0.3 mg in 0.3 mL"}),
    "held longer": Seed(INJECTOR, "give_with_the_device", seen={"held_for": "10"}),
    "held just long enough": Seed(INJECTOR, "give_with_the_device", seen={"held_for": "5"}),
    "no figure of its own: ten seconds": Seed(
        INJECTOR, "give_with_the_device", seen={"held_for": "10"},
        change=product(ADRENALINE_300, hold=None)),
    "other vial of the same lot": Seed(CHAMBERS, "compare_the_parts", seen={"kit_lot": "LP0093"}),
    "swirled longer": Seed(CHAMBERS, "make_it_even", seen={"moved_for": "40"}),
    "half of it, on its own lines": Seed(
        CHAMBERS, "work_out_the_volume", seen={"own_volume": "0.5"},
        change=both(order(dose=Quantity.of("1.875", "mg")), ANY_DOSE), early=True),
    "half of it set": Seed(
        CHAMBERS, "set_the_dose", seen={"drawn_volume": "0.5"},
        change=both(order(dose=Quantity.of("1.875", "mg")), ANY_DOSE), early=True),
    "twenty minutes after mixing": Seed(CHAMBERS, "leave_the_area", change=after(minutes=20)),
    "amount with its decimals": Seed(
        CHAMBERS, "write_the_label", seen={"label_dose": "3.75 mg"}),
    "finer needle under the skin": Seed(CHAMBERS, "fit_the_tip", seen={"gauge": "25"}),
    "shaken a minute": Seed(DEPOT, "make_it_even", seen={"moved_for": "60"}),
    "minutes for seconds": Seed(DEPOT, "make_it_even", seen={"moved_for": "1 min"}),
    "another leaflet: swirled": Seed(
        DEPOT, "make_it_even", seen={"moved_how": "swirled"},
        change=product(MEDROXYPROGESTERONE, resuspend_how="swirled")),
    "needle from the box": Seed(
        DEPOT, "fit_the_tip", seen={"needle_from": "the box of this item"}),
    "needle from stock where none is in the box": Seed(
        DEPOT, "fit_the_tip", seen={"needle_from": "stock"},
        change=product(MEDROXYPROGESTERONE, needle="")),
    "longer needle": Seed(DEPOT, "fit_the_tip", seen={"needle_length": "38"}),
    "within its ten minutes": Seed(DEPOT, "leave_the_area", change=after(minutes=5)),
    "no life of its own": Seed(
        DEPOT, "leave_the_area", change=both(
            product(MEDROXYPROGESTERONE, life_after_opening=None), after(minutes=20))),
    "pharmacy gives a day only": Seed(
        PHARMACY, "read_the_ready_label",
        seen={"use_before_day": "25 Nov 2026", "use_before_time": None}),
    "runs out this evening": Seed(
        PHARMACY, "read_the_ready_label",
        seen={"use_before_day": "25 Nov 2026", "use_before_time": "20:00"}),
    "birth date on its label": Seed(
        PHARMACY, "read_the_ready_label", seen={"label_identifier": "2 Sep 1944"}),
    "drug in capitals": Seed(
        PHARMACY, "read_the_ready_label", seen={"label_drug": "LABETALOL"}),
    "volume with its unit": Seed(PHARMACY, "set_the_dose", seen={"drawn_volume": "10 mL"}),
    "strength per mL on it": Seed(
        PHARMACY, "read_the_label_again", seen={"read_strength": "5 mg/mL"}),
    "flush drawn up by hand": Seed(PHARMACY, "take_the_flush", seen={"flush": None}),
    "made yesterday, still good": Seed(PHARMACY, "identify_the_patient", change=after(hours=3)),
    "band scanned": Seed(
        PHARMACY, "identify_the_patient", seen={"first_identifier": "]d28018952000000000003027"}),
}  # fmt: skip

ORDERS = (INJECTOR, CHAMBERS, DEPOT, PHARMACY)
PACES = (5, 20, 25)


@pytest.mark.parametrize("name", SEEDS)
def test_a_planted_error_is_caught_where_it_belongs(
    name: str, shelf: Shelf, tmp_path: Path
) -> None:
    caught(SEEDS[name], shelf, tmp_path)


@pytest.mark.parametrize("name", RIGHT_ONES)
def test_a_right_answer_with_natural_variation_is_not_refused(
    name: str, shelf: Shelf, tmp_path: Path
) -> None:
    passed(RIGHT_ONES[name], shelf, tmp_path)


@pytest.mark.parametrize("order_id", ORDERS)
@pytest.mark.parametrize("seconds", PACES)
def test_whole_right_preparations_pass_without_a_refusal(
    order_id: str, seconds: int, tmp_path: Path
) -> None:
    right_through(order_id, "W7E-1", seconds, tmp_path)


# -- every device, with the variation of its first and last steps ---------------------------------

COMMON = {
    "name read from the record": ("read_the_order", {"first_identifier": "{name}"}),
    "birth date in words": ("read_the_order", {"second_identifier": "{born}"}),
    "quiet time not declared": ("prepare_the_place", {"quiet_declared": "n"}),
    "band scanned": ("identify_the_patient", {"first_identifier": "]d28018{band}"}),
    "drug in capitals at the bed": ("compare_at_the_bedside", {"bedside_drug": "{drug}"}),
    "name on the label at the bed": ("compare_at_the_bedside", {"bedside_identifier": "{name}"}),
    "site in other words": ("write_the_record", {"site_given": "left, a hand below the hip"}),
}
EVERY = (
    test_prefilled.WHOLE, test_prefilled.PART, test_prefilled.OPIOID, test_prefilled.CARTRIDGE,
    test_pen.CLEAR, test_pen.CLOUDY, *ORDERS,
)  # fmt: skip


@pytest.mark.parametrize("order_id", EVERY)
@pytest.mark.parametrize("name", COMMON)
def test_any_device_is_given_with_the_natural_variation_of_names_and_dates(
    name: str, order_id: str, shelf: Shelf, tmp_path: Path
) -> None:
    step, seen = COMMON[name]
    ward = demo_ward()
    line = ward.orders[order_id]
    whom = ward.patients[line.patient]
    words = {
        "name": whom.name,
        "born": f"{whom.birth_date.day} {whom.birth_date:%B %Y}",
        "band": whom.band_numbers[0],
        "drug": line.drug.upper(),
    }
    answers: dict[str, str | None] = {k: v.format_map(words) for k, v in seen.items()}
    passed(Seed(order_id, step, seen=answers), shelf, tmp_path)


# -- breaks and endings ----------------------------------------------------------------------------


def test_a_part_dose_that_is_not_given_is_accounted_for_to_the_last_line(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(test_prefilled.OPIOID, "write_the_label", tmp_path)
    outcome = scene.station.end(scene.id, "called_away", NURSE)
    assert outcome.screen.prep.place.startswith("discard_what_was_opened/")
    scene.on()
    refused = scene.attempt({"discarded_volume": "2"})
    assert [t.code for t in refused.told] == ["cd_unaccounted"]
    scene.station.remedy(scene.id, R.RECHECK, NURSE)
    assert scene.attempt({"discarded_volume": "1.5"}).entry.event.kind == "passed"
    last = scene.attempt({"witness_discarded_volume": "1.5"}, by=COLLEAGUE)
    assert last.screen.prep.place == "discarded"
    assert scene.trail.verify().whole


def test_a_break_at_the_window_has_the_pen_dialled_again(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(test_pen.CLEAR, "dial_the_dose", tmp_path)
    scene.station.interrupt(scene.id, "a colleague asks", NURSE)
    outcome = scene.station.resume(scene.id, NURSE)
    assert outcome.screen.prep.place == "dial_the_dose/reverify"
    told = scene.attempt().told
    assert [t.code for t in told] == ["interrupted_at_critical_step"]
    after_ = scene.station.remedy(scene.id, R.RECHECK, NURSE)
    assert after_.screen.prep.place == "dial_the_dose"
    assert scene.station.find(scene.id).latest("window") is None


@pytest.mark.parametrize("where", ("put down without a label", "out of my sight"))
@pytest.mark.parametrize("order_id", (test_prefilled.PART, DEPOT, test_pen.CLEAR))
def test_what_was_out_of_hand_is_not_given(
    order_id: str, where: str, shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(order_id, "identify_the_patient", tmp_path)
    scene.station.interrupt(scene.id, "an alarm", NURSE)
    scene.station.resume(scene.id, NURSE)
    outcome = scene.attempt({"custody": where})
    assert "left_unattended" in {t.code for t in outcome.told}
    assert outcome.screen.ways[0] is R.DISCARD_RESTART


def test_a_named_pen_may_be_put_down_in_sight(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(test_pen.CLEAR, "identify_the_patient", tmp_path)
    scene.station.interrupt(scene.id, "an alarm", NURSE)
    scene.station.resume(scene.id, NURSE)
    outcome = scene.attempt({"custody": "put down, labelled, in my sight"})
    assert "left_unattended" not in {t.code for t in outcome.told}


@pytest.mark.parametrize("order_id", EVERY)
def test_every_step_of_a_device_can_be_ended_and_leaves_a_whole_trail(
    order_id: str, shelf: Shelf, tmp_path: Path
) -> None:
    for number, step in enumerate(shelf.steps(order_id)):
        folder = tmp_path / str(number)
        folder.mkdir()
        scene = shelf.at(order_id, step, folder)
        outcome = scene.station.end(scene.id, "order_changed", NURSE)
        layout = scene.station.rules_of(scene.station.find(scene.id).workflow).layout
        opened = not layout.is_before(step, layout.workflow.opens)
        place = outcome.screen.prep.place
        assert place.startswith("discard_what_was_opened/") if opened else place == "abandoned"


# -- a ward's files --------------------------------------------------------------------------------

FAULTS = {
    "a pen without its time of use": (
        'life_in_use = "28 days"\n', "", "life_in_use", "a pen has one"),
    "a pen whose step is a volume": (
        'scale_step = "1 unit"', 'scale_step = "0.01 mL"', "scale_step", "another kind of amount"),
    "a syringe whose step is an amount of drug": (
        'scale_step = "0.025 mL"', 'scale_step = "2.5 mg"', "scale_step",
        "another kind of amount"),
    "a step of nothing": (
        'scale_step = "0.025 mL"', 'scale_step = "0 mL"', "scale_step", "above zero"),
    "a cartridge for no holder": ('holder = "K-2"\n', "", "holder", "Name the holder"),
    "a kit needle of another sort": (
        'needle = "kit"', 'needle = "any"', "needle", "kit"),
    "a kit needle where no step asks for it": (
        'holder = "K-2"\n', 'holder = "K-2"\nneedle = "kit"\n', "needle", "depot_suspension"),
    "moved in no known way": (
        'resuspend_how = "swirled"', 'resuspend_how = "stirred"', "resuspend_how", "swirled"),
    "moved for how long is left out": (
        'resuspend_for = "20 turns"\n', "", "resuspend_how", "go together"),
    "moved for neither turns nor a time": (
        'resuspend_for = "20 turns"', 'resuspend_for = "often"', "resuspend_for",
        "neither turns nor a time"),
    "no turn at all": (
        'resuspend_for = "20 turns"', 'resuspend_for = "0 turns"', "resuspend_for",
        "no movement"),
    "made even although it is clear": (
        'suspension = true\nresuspend_how = "swirled"', 'resuspend_how = "swirled"',
        "resuspend_how", "Only a suspension"),
    "primed in mL": ('prime = "3 units"', 'prime = "0.03 mL"', "prime", "another kind of amount"),
    "held for an amount": ('hold = "6 s"', 'hold = "6 units"', "hold", "length of time"),
    "no such container": (
        'container = "auto_injector"', 'container = "autoinjector"', "container",
        "auto_injector"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_in_a_device_is_told_with_its_place(name: str, tmp_path: Path) -> None:
    old, new, place, words = FAULTS[name]
    copied(tmp_path)
    edit(tmp_path / FORMULARY, old, new)
    told = faults_of(tmp_path)
    assert any(place in fault.place and words in fault.sentence for fault in told), told


def test_an_age_for_the_value_that_holds_a_dose_is_a_length_of_time(tmp_path: Path) -> None:
    copied(tmp_path)
    edit(tmp_path / ORDER_FILE, '"max_age": "30 min"', '"max_age": "30 mL"')
    assert any("max_age" in fault.place for fault in faults_of(tmp_path))


def test_a_device_may_stand_in_a_spreadsheet(tmp_path: Path) -> None:
    copied(tmp_path)
    (tmp_path / FORMULARY).unlink()
    (tmp_path / "formulary.csv").write_text(
        "edition,code,drug,container,strength,content,form,routes,suspension,scale_step,"
        "life_in_use,prime,hold,resuspend_how,resuspend_for\n"
        "2026-11,09520007303078,insulin isophane,insulin_pen,100 units/mL,3 mL,"
        "suspension for injection,SC,yes,1 unit,28 days,2 units,6 s,rolled and turned over,"
        "20 turns\n",
        encoding="utf-8",
    )
    edit(tmp_path / UNIT, '["09520007300329/FX0883"]', "[]")
    text = (tmp_path / UNIT).read_text(encoding="utf-8")
    start, end = text.index("[register]"), text.index("# This unit stops")
    (tmp_path / UNIT).write_text(text[:start] + text[end:], encoding="utf-8")
    pen = load(tmp_path).formulary.products["09520007303078"]
    assert pen == Product(
        code="09520007303078",
        drug="insulin isophane",
        container="insulin_pen",
        strength=Concentration.parse("100 units/mL"),
        content=Quantity.of("3", "mL"),
        form="suspension for injection",
        routes=("SC",),
        suspension=True,
        scale_step=Quantity.of("1", "{unit}"),
        life_in_use=Quantity.of("28", "d"),
        prime=Quantity.of("2", "{unit}"),
        hold=Quantity.of("6", "s"),
        resuspend_how="rolled and turned over",
        resuspend_for=Quantity.of("20", "1"),
    )


# -- what holds over all of the filled devices -------------------------------------------------

FILLED = (
    "prefilled_syringe", "cartridge_in_holder", "insulin_pen", "auto_injector",
    "two_chamber_device", "depot_suspension", "pharmacy_syringe",
)  # fmt: skip
TABLES = {
    "prefilled syringe and cartridge": (test_prefilled.SEEDS, test_prefilled.RIGHT_ONES),
    "pen": (test_pen.SEEDS, test_pen.RIGHT_ONES),
    "other devices": (SEEDS, RIGHT_ONES),
}


def phases_of(name: str) -> set[str]:
    """The names of a workflow's phases."""
    return {phase.name for phase in library.workflows()[name].phases}


def length_of(name: str, traits: frozenset[str]) -> dict[str, int]:
    """Screens, scans, typed numbers and presses of a workflow for orders with these traits.

    Every product is a scan, and so is one of the two identifiers wherever a patient is identified.
    All lines of a screen are seen with one press, each choice is one more.
    """
    steps = library.workflows()[name].for_(traits).steps
    kinds = [f.kind for step in steps for f in step.fields if not f.optional and not f.carried]
    return {
        "screens": len(steps),
        "scans": kinds.count(Kind.PRODUCT) + kinds.count(Kind.IDENTIFIER) // 2,
        "typed numbers": kinds.count(Kind.QUANTITY) + kinds.count(Kind.COUNT),
        "presses": kinds.count(Kind.CHOICE)
        + sum(any(f.kind is Kind.SEEN for f in step.fields) for step in steps),
    }


@pytest.mark.parametrize("name", FILLED)
@pytest.mark.parametrize("route", ("intravenous", "intramuscular", "subcutaneous"))
def test_a_filled_device_is_no_longer_than_the_glass_ampoule(
    name: str, route: str, capsys: pytest.CaptureFixture[str]
) -> None:
    # What settles does not go into a vein.
    settles = frozenset() if route == "intravenous" else frozenset({"suspension"})
    own = library.workflows()[name].conditions & settles
    plain, glass = (length_of(n, own | {route}) for n in (name, "glass_ampoule"))
    if route == "intravenous":
        every = length_of(name, library.workflows()[name].conditions)
        with capsys.disabled():
            print(f"\n{name}: {plain}; with every condition: {every}", end=" ")  # noqa: T201
    # What has two chambers is brought together and made even as well: one choice more.
    most = {**glass, "presses": glass["presses"] + ("resuspend" in phases_of(name))}
    assert all(plain[what] <= most[what] for what in plain), (plain, most)


def test_there_are_enough_errors_and_as_many_right_ones(
    capsys: pytest.CaptureFixture[str],
) -> None:
    planted = {f"{t}: {n}": s for t, (bad, _) in TABLES.items() for n, s in bad.items()}
    right = {f"{t}: {n}": s for t, (_, good) in TABLES.items() for n, s in good.items()}
    walks = 4 * len(test_prefilled.PACES) + 4 * len(test_pen.PACES) + 4 * len(PACES)
    varied = len(COMMON) * len(EVERY)
    with capsys.disabled():
        print(  # noqa: T201
            f"\n{len(planted)} planted, {len(right) + varied} right answers, {walks} whole walks"
        )
    assert len(planted) >= 80
    assert len(right) + varied + walks >= len(planted)
    assert {seed.code for seed in planted.values()} <= REASONS.keys()


def test_every_reason_of_a_filled_device_is_planted_somewhere() -> None:
    mine = {
        reason.code
        for module in ("prefilled", "device", "pen", "suspension")
        for reason in vars(__import__(f"checklist.checks.{module}", fromlist=["x"])).values()
        if getattr(reason, "code", "") in REASONS
    }
    planted = {seed.code for bad, _ in TABLES.values() for seed in bad.values()}
    told_as_notes = {"partial_dose_from_prefilled", "waste_expected"}
    assert mine - planted <= told_as_notes
