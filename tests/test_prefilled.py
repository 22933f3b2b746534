"""Prefilled syringes and cartridges: planted errors are caught where they belong, right ones pass.

The errors come from the hazard register (a part dose given whole, a device used as a vial, a fill
that is not the label's, a flush taken for a drug, a cartridge in another's holder) and from common
practice.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from checklist.formulary import DoseRange
from checklist.order import Allergy
from checklist.quantity import Concentration, Quantity
from checklist.verdict import Remedy
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
    settings,
    unit,
)

R = Remedy
WHOLE, PART, OPIOID, CARTRIDGE = "ORD-301", "ORD-302", "ORD-303", "ORD-304"
ENOXAPARIN_40, ENOXAPARIN_60 = "09520007303016", "09520007303023"
FENTANYL, HYDROMORPHONE = "09520007303030", "09520007303047"
FLUSH_SCAN = "]d201095200073031221728083110FL1001"
OLD_FLUSH = "]d201095200073031221726083110FL0900"
FENTANYL_SCAN = "]d201095200073030301727113010FYK618"
MORPHINE_AMPOULE = "]d201095200073001141728083110LM4476"
ANY_DOSE = drug(dose=DoseRange())

SEEDS = {
    # -- the item
    "a flush for the drug": Seed(
        OPIOID, "take_the_product", "flush_syringe_as_diluent", R.REPLACE_ITEM,
        {"product": FLUSH_SCAN}),
    "another drug's syringe": Seed(
        WHOLE, "take_the_product", "product_mismatch", R.REPLACE_ITEM, {"product": FENTANYL_SCAN}),
    "an ampoule for these steps": Seed(
        OPIOID, "take_the_product", "container_type_mismatch", R.REPLACE_ITEM,
        {"product": MORPHINE_AMPOULE}),
    "not the ordered strength": Seed(
        WHOLE, "take_the_product", "strength_mismatch", R.REPLACE_ITEM,
        change=order(strength=Concentration.parse("150 mg in 1 mL")), early=True),
    "expired": Seed(
        WHOLE, "take_the_product", "product_expired", R.REPLACE_ITEM,
        {"product": ENOXAPARIN_40, "lot": "EN3110", "expiry": "31 Oct 2026"}),
    "recalled": Seed(
        WHOLE, "take_the_product", "lot_recalled", R.QUARANTINE,
        change=unit(recalled=frozenset({f"{ENOXAPARIN_40}/EN3110"}))),
    "not for this route": Seed(
        WHOLE, "take_the_product", "route_mismatch", R.REPLACE_ITEM,
        change=product(ENOXAPARIN_40, routes=("IV",))),
    "allergic to it": Seed(
        WHOLE, "take_the_product", "allergy_match", R.CALL_PRESCRIBER,
        change=patient(allergies=(Allergy(substance="enoxaparin"),))),
    "no allergy status": Seed(
        WHOLE, "take_the_product", "allergy_unknown", R.RECHECK, change=patient(allergies=None)),
    "stock not as booked": Seed(
        OPIOID, "count_the_stock", "cd_count_mismatch", R.RECHECK, {"count_before": "7"}),
    # -- looked at
    "cap loose": Seed(
        WHOLE, "inspect_the_product", "seal_broken", R.QUARANTINE, {"never_used": "n"}),
    "barrel cracked": Seed(
        WHOLE, "inspect_the_product", "container_damaged", R.QUARANTINE, {"container_whole": "n"}),
    "cloudy": Seed(
        WHOLE, "inspect_the_product", "appearance_abnormal", R.QUARANTINE,
        {"content_as_described": "n"}),
    "frozen": Seed(
        WHOLE, "inspect_the_product", "storage_breach", R.QUARANTINE, {"kept_as_it_should": "n"}),
    "label rubbed off": Seed(
        WHOLE, "inspect_the_product", "label_unreadable", R.REPLACE_ITEM, {"label_whole": "n"}),
    "looks overfilled": Seed(
        WHOLE, "inspect_the_product", "fill_volume_abnormal", R.QUARANTINE,
        {"filled_as_labelled": "n"}),
    "filled to double": Seed(
        PART, "inspect_the_product", "fill_volume_abnormal", R.QUARANTINE, {"fill_volume": "1.2"}),
    "a line too little": Seed(
        OPIOID, "inspect_the_product", "fill_volume_abnormal", R.QUARANTINE,
        {"fill_volume": "1.9"}),
    "fill read in another unit": Seed(
        OPIOID, "inspect_the_product", "fill_volume_abnormal", R.QUARANTINE,
        {"fill_volume": "2 mg"}),
    "fill not read on a scale": Seed(
        OPIOID, "inspect_the_product", "fill_volume_abnormal", R.RECHECK, {"fill_volume": None}),
    "needle pack torn": Seed(
        WHOLE, "look_at_the_devices", "device_pack_breached", R.REPLACE_ITEM,
        {"packs_whole": "n"}),
    # -- worked out
    "ten times too much": Seed(
        PART, "work_out_the_volume", "calculation_mismatch", R.RECHECK, {"own_volume": "4.5"}),
    "more than one syringe holds": Seed(
        PART, "work_out_the_volume", "volume_exceeds_content", R.RECHECK, {"own_volume": "0.7"}),
    "dose of two syringes": Seed(
        PART, "work_out_the_volume", "volume_exceeds_content", R.RECHECK,
        {"own_volume": "0.8"}, change=order(dose=Quantity.of("80", "mg")), early=True),
    "mg for mL": Seed(
        PART, "work_out_the_volume", "unit_mismatch", R.RECHECK, {"own_volume": "45 mg"}),
    "no own answer": Seed(
        PART, "work_out_the_volume", "calculation_missing", R.RECHECK, {"own_volume": None}),
    "part of a syringe without lines": Seed(
        WHOLE, "work_out_the_volume", "no_usable_scale", R.REPLACE_ITEM,
        change=order(dose=Quantity.of("30", "mg")), early=True),
    "less than a line": Seed(
        OPIOID, "work_out_the_volume", "no_usable_scale", R.CALL_PHARMACIST,
        {"own_volume": "0.08"}, change=both(order(dose=Quantity.of("4", "ug")), ANY_DOSE),
        early=True),
    "far from any line": Seed(
        OPIOID, "work_out_the_volume", "rounding_out_of_tolerance", R.REPLACE_ITEM,
        {"own_volume": "0.14"}, change=both(order(dose=Quantity.of("7", "ug")), ANY_DOSE),
        early=True),
    "second person finds another volume": Seed(
        PART, "second_person_works_it_out", "double_check_disagrees", R.RECHECK,
        {"checker_volume": "0.6"}),
    "second person was told": Seed(
        PART, "second_person_works_it_out", "double_check_not_independent", R.SECOND_PERSON,
        {"first_answer_unknown": "n"}),
    "preparer checks alone": Seed(
        PART, "second_person_works_it_out", "checker_same_person", R.SECOND_PERSON, by="RN-12"),
    "second reading: the twin's strength": Seed(
        PART, "read_the_label_again", "strength_mismatch", R.REPLACE_ITEM,
        {"read_strength": "40 mg in 1 mL"}),
    # -- opened and set
    "hands not cleaned": Seed(
        WHOLE, "take_the_cap_off", "hand_hygiene_missing", R.RECHECK,
        {"hands_clean_to_open": "n"}),
    "tip touched the tray": Seed(
        WHOLE, "take_the_cap_off", "key_part_touched", R.DISCARD_RESTART, {"cap_off": "n"}),
    "drawn out with another syringe": Seed(
        OPIOID, "take_the_cap_off", "device_used_as_vial", R.DISCARD_RESTART,
        {"not_drawn_from": "n"}),
    "diluted by habit": Seed(
        OPIOID, "take_the_cap_off", "unneeded_dilution", R.CALL_PHARMACIST,
        {"added": "something else"}),
    "diluted under the skin, where a push may be": Seed(
        WHOLE, "take_the_cap_off", "unneeded_dilution", R.DISCARD_RESTART,
        {"added": "something else"}, change=settings(dilute_iv_push="allowed")),
    "maker's bubble pushed out": Seed(
        WHOLE, "clear_the_air", "air_expelled_against_product", R.REPLACE_ITEM,
        {"bubble_free": "no bubble left"}, tier="soft"),
    "bubble left with a part dose": Seed(
        PART, "clear_the_air", "air_present", R.ADJUST, {"bubble_free": "a bubble is left"}),
    "bubble left for a vein": Seed(
        OPIOID, "clear_the_air", "air_present", R.ADJUST, {"bubble_free": "a bubble is left"}),
    "excess still in": Seed(
        PART, "set_the_dose", "excess_not_expelled", R.ADJUST, {"drawn_volume": "0.6"}),
    "a line above": Seed(
        OPIOID, "set_the_dose", "excess_not_expelled", R.ADJUST, {"drawn_volume": "1.6"}),
    "pushed out too far": Seed(
        OPIOID, "set_the_dose", "volume_under_target", R.DISCARD_RESTART, {"drawn_volume": "1.4"}),
    "some of the whole dose lost": Seed(
        WHOLE, "set_the_dose", "volume_under_target", R.DISCARD_RESTART, {"drawn_volume": "0.35"}),
    "read in mg": Seed(
        PART, "set_the_dose", "unit_mismatch", R.RECHECK, {"drawn_volume": "45 mg"}),
    "volume not read": Seed(
        PART, "set_the_dose", "volume_not_recorded", R.RECHECK, {"drawn_volume": None}),
    "waste does not add up": Seed(
        OPIOID, "waste_the_rest", "cd_waste_mismatch", R.RECHECK, {"wasted_volume": "0.4"}),
    "waste can be got back": Seed(
        OPIOID, "waste_the_rest", "cd_waste_recoverable", R.ADJUST,
        {"waste_method": "sharps box, not absorbed"}, tier="soft"),
    "waste signed unseen": Seed(
        OPIOID, "witness_the_waste", "cd_witness_missing", R.SECOND_PERSON, {"act_seen": "n"}),
    "own witness": Seed(
        OPIOID, "witness_the_waste", "cd_witness_same_person", R.SECOND_PERSON, by="RN-12"),
    # -- needle, label, flush
    "needle loose on the cone": Seed(
        WHOLE, "fit_the_tip", "connector_fit", R.REPLACE_ITEM, {"tip_fits": "n"}, tier="soft"),
    "needle too long for fat": Seed(
        WHOLE, "fit_the_tip", "needle_unsuitable", R.REPLACE_ITEM, {"needle_length": "38"},
        tier="soft"),
    "recapped with two hands": Seed(
        WHOLE, "fit_the_tip", "recap_two_handed", R.REPLACE_ITEM, {"one_handed": "n"}),
    "another syringe picked up": Seed(
        OPIOID, "look_at_the_dose", "product_mismatch", R.REPLACE_ITEM, {"emptied": FLUSH_SCAN}),
    "set down without a label": Seed(
        OPIOID, "write_the_label", "label_missing", R.DISCARD_RESTART, {"never_put_down": "n"}),
    "patient not added": Seed(
        OPIOID, "write_the_label", "label_incomplete", R.RECHECK, {"label_identifier": None}),
    "label gives the whole syringe": Seed(
        PART, "write_the_label", "label_mismatch", R.RECHECK, {"label_dose": "60 mg"}),
    "label over the lines": Seed(
        PART, "write_the_label", "label_covers_scale", R.RECHECK, {"scale_visible": "n"},
        tier="soft"),
    "second person reads the old volume": Seed(
        PART, "second_person_reads_the_dose", "double_check_disagrees", R.RECHECK,
        {"checker_drawn_volume": "0.6"}),
    "a drug for the flush": Seed(
        OPIOID, "take_the_flush", "product_mismatch", R.REPLACE_ITEM, {"flush": FENTANYL_SCAN}),
    "flush expired": Seed(
        OPIOID, "take_the_flush", "product_expired", R.REPLACE_ITEM, {"flush": OLD_FLUSH}),
    "flush begun for another": Seed(
        OPIOID, "take_the_flush", "device_reused", R.REPLACE_ITEM, {"flush_new": "n"}),
    "flush without a name": Seed(
        OPIOID, "take_the_flush", "label_missing", R.RECHECK, {"flush_apart": "n"}),
    # -- leaving and giving
    "rest kept for later": Seed(
        PART, "leave_the_area", "single_dose_kept", R.RECHECK, {"rest_not_kept": "n"}),
    "two patients' syringes": Seed(
        PART, "leave_the_area", "items_for_two_patients", R.RECHECK, {"one_patient": "n"}),
    "waited too long": Seed(
        OPIOID, "identify_the_patient", "preparation_time_exceeded", R.DISCARD_RESTART,
        change=after(hours=5)),
    "label of the next bed": Seed(
        PART, "compare_at_the_bedside", "bedside_mismatch", R.RECHECK,
        {"bedside_identifier": "30012088"}),
    "whole syringe given": Seed(
        PART, "give_the_dose", "more_given_than_drawn", R.RECHECK, {"given_volume": "0.6"}),
    "syringe left on the bed": Seed(
        WHOLE, "dispose", "sharp_not_disposed", R.RECHECK, {"sharp_in_box": "n"}),
    # -- the cartridge
    "cartridge overfilled": Seed(
        CARTRIDGE, "inspect_the_product", "fill_volume_abnormal", R.QUARANTINE,
        {"fill_volume": "2.1"}),
    "cartridge seal broken": Seed(
        CARTRIDGE, "inspect_the_product", "seal_broken", R.EVENT, {"never_used": "n"}),
    "twin's name on the cartridge": Seed(
        CARTRIDGE, "say_the_name", "lasa_not_confirmed", R.RECHECK, {"name_on_label": "morphine"}),
    "dental holder": Seed(
        CARTRIDGE, "seat_the_cartridge", "cartridge_type_mismatch", R.REPLACE_ITEM,
        {"holder_mark": "D-1"}),
    "holder of an unknown type": Seed(
        CARTRIDGE, "seat_the_cartridge", "cartridge_type_mismatch", R.REPLACE_ITEM,
        {"holder_mark": "K-2"}, change=product(HYDROMORPHONE, holder="")),
    "holder not cleaned": Seed(
        CARTRIDGE, "seat_the_cartridge", "holder_fault", R.RECHECK, {"holder_clean": "n"}),
    "rod beside the plunger": Seed(
        CARTRIDGE, "seat_the_cartridge", "cartridge_not_seated", R.RECHECK, {"seated": "n"}),
    "cartridge used as a vial": Seed(
        CARTRIDGE, "take_the_cap_off", "device_used_as_vial", R.DISCARD_RESTART,
        {"not_drawn_from": "n"}),
    "cartridge excess still in": Seed(
        CARTRIDGE, "set_the_dose", "excess_not_expelled", R.ADJUST, {"drawn_volume": "1"}),
    "cartridge short": Seed(
        CARTRIDGE, "set_the_dose", "volume_under_target", R.DISCARD_RESTART,
        {"drawn_volume": "0.6"}),
    "cartridge label missing": Seed(
        CARTRIDGE, "write_the_label", "label_missing", R.DISCARD_RESTART, {"never_put_down": "n"}),
    "holder put away uncleaned": Seed(
        CARTRIDGE, "dispose", "holder_fault", R.RECHECK, {"kept_part": "n"}),
    "needle recapped at the bed": Seed(
        CARTRIDGE, "dispose", "recap_two_handed", R.REPLACE_ITEM, {"no_recapping": "n"}),
}  # fmt: skip

RIGHT_ONES = {
    "code and lot typed": Seed(
        WHOLE, "take_the_product",
        seen={"product": ENOXAPARIN_40, "lot": "EN3110", "expiry": "Aug 2028"}),
    "ordered strength is that of the label": Seed(
        WHOLE, "take_the_product", change=order(strength=Concentration.parse("40 mg in 0.4 mL")),
        early=True),
    "expires today": Seed(
        WHOLE, "take_the_product",
        seen={"product": ENOXAPARIN_40, "lot": "EN3110", "expiry": "25 Nov 2026"}),
    "another allergy": Seed(
        WHOLE, "take_the_product", change=patient(allergies=(Allergy(substance="latex gloves"),))),
    "lot of another product recalled": Seed(
        WHOLE, "take_the_product", change=unit(recalled=frozenset({f"{ENOXAPARIN_60}/EN3110"}))),
    "ready-made item of these very steps": Seed(
        WHOLE, "read_the_order", change=product(ENOXAPARIN_40, ready_to_use=True), early=True),
    "half a line over in the fill": Seed(
        PART, "inspect_the_product", seen={"fill_volume": "0.6125"}),
    "fill with its unit": Seed(OPIOID, "inspect_the_product", seen={"fill_volume": "2 mL"}),
    "no lines, so no figure": Seed(WHOLE, "inspect_the_product", seen={"fill_volume": None}),
    "whole of a syringe without lines": Seed(WHOLE, "work_out_the_volume"),
    "answer as a decimal": Seed(PART, "work_out_the_volume", seen={"own_volume": "0.45 mL"}),
    "part on the last line": Seed(
        OPIOID, "work_out_the_volume", seen={"own_volume": "1.9"},
        change=order(dose=Quantity.of("95", "ug")), early=True),
    "whole syringe of an opioid": Seed(
        OPIOID, "work_out_the_volume", seen={"own_volume": "2", "estimate": "about one container"},
        change=order(dose=Quantity.of("100", "ug")), early=True),
    "dose written in mg": Seed(
        OPIOID, "work_out_the_volume", change=order(dose=Quantity.of("0.075", "mg")), early=True),
    "checker writes mL": Seed(
        PART, "second_person_works_it_out", seen={"checker_volume": "0.45 mL"}),
    "checker reads strength per mL": Seed(
        OPIOID, "second_person_works_it_out", seen={"checker_strength": "50 microgram/mL"}),
    "label read per mL": Seed(
        WHOLE, "read_the_label_again", seen={"read_strength": "100 mg/mL"}),
    "drug in capitals": Seed(WHOLE, "read_the_label_again", seen={"read_drug": "ENOXAPARIN"}),
    "diluent that the leaflet asks for": Seed(
        OPIOID, "take_the_cap_off", seen={"added": "what order or leaflet asks for"}),
    "push diluted where the unit allows it": Seed(
        OPIOID, "take_the_cap_off", seen={"added": "something else"},
        change=settings(dilute_iv_push="allowed")),
    "bubble kept for the whole dose": Seed(
        WHOLE, "clear_the_air", seen={"bubble_free": "a bubble is left"}),
    "bubble gone with the excess": Seed(
        PART, "clear_the_air", seen={"bubble_free": "no bubble left"}),
    "bubble pushed out where nothing keeps it": Seed(
        WHOLE, "clear_the_air", seen={"bubble_free": "no bubble left"},
        change=product(ENOXAPARIN_40, keeps_air=False)),
    "set to the line": Seed(PART, "set_the_dose", seen={"drawn_volume": "0.45"}),
    "whole volume with its unit": Seed(WHOLE, "set_the_dose", seen={"drawn_volume": "0.4 mL"}),
    "rounded to the nearest line": Seed(
        OPIOID, "set_the_dose", seen={"drawn_volume": "1.5"},
        change=order(dose=Quantity.of("76", "ug")), early=True),
    "waste in the unit's device": Seed(
        OPIOID, "waste_the_rest", seen={"waste_method": "unit's waste device"}),
    "witness writes the unit": Seed(
        OPIOID, "witness_the_waste", seen={"witness_wasted_volume": "0.5 mL"}),
    "needle fixed to the syringe": Seed(
        WHOLE, "fit_the_tip",
        seen={"tip": "the needle fixed to it", "gauge": "25", "needle_length": "16"}),
    "finer needle": Seed(WHOLE, "fit_the_tip", seen={"gauge": "25"}),
    "needle-free connector": Seed(
        OPIOID, "fit_the_tip", seen={"tip": "cap, no needle"}),
    "code typed at the third reading": Seed(
        OPIOID, "look_at_the_dose", seen={"emptied": FENTANYL}),
    "label by hand": Seed(
        OPIOID, "write_the_label", seen={"label_made": "written by hand"}),
    "label in mg": Seed(OPIOID, "write_the_label", seen={"label_dose": "0.075 mg"}),
    "name read from the label": Seed(
        PART, "write_the_label", seen={"label_identifier": "Halden Mossey"}),
    "second reading by birth date": Seed(
        PART, "second_person_reads_the_dose", seen={"checker_label_identifier": "27 May 1979"}),
    "flush drawn up and labelled by hand": Seed(
        OPIOID, "take_the_flush", seen={"flush": None}),
    "flush typed with its expiry": Seed(
        OPIOID, "take_the_flush", seen={"flush": "09520007303122", "flush_expiry": "Nov 2026"}),
    "almost an hour": Seed(OPIOID, "identify_the_patient", change=after(minutes=40)),
    "band scanned": Seed(
        PART, "identify_the_patient", seen={"first_identifier": "]d28018952000000000003041"}),
    "amount at the bed in microgram": Seed(
        OPIOID, "compare_at_the_bedside", seen={"bedside_dose": "75 microgram"}),
    "all of it given": Seed(OPIOID, "give_the_dose", seen={"given_volume": "1.5 mL"}),
    "holder mark in small letters": Seed(
        CARTRIDGE, "seat_the_cartridge", seen={"holder_mark": "k-2"}),
    "holder mark with a space": Seed(
        CARTRIDGE, "seat_the_cartridge", seen={"holder_mark": "K- 2"}),
    "whole cartridge": Seed(
        CARTRIDGE, "work_out_the_volume",
        seen={"own_volume": "1", "estimate": "about one container"},
        change=order(dose=Quantity.of("2", "mg")), early=True),
    "cartridge into muscle, other needle": Seed(
        CARTRIDGE, "fit_the_tip", seen={"gauge": "22", "needle_length": "38"}),
}  # fmt: skip

ORDERS = (WHOLE, PART, OPIOID, CARTRIDGE)
PACES = (5, 20, 45, 60)


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
