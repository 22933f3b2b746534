"""Planted errors over the glass-ampoule path: each is refused where it belongs, with its way out.

The errors are drawn from the trade's published error types (wrong patient, drug, strength, dose,
route, time, technique; missing filter, label or witness) and from common practice. The same number
of right preparations with natural variation passes without a refusal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path

import pytest

from checklist.checks import REASONS
from checklist.observation import Channel
from checklist.order import Allergy, HoldRule
from checklist.people import Role
from checklist.quantity import Concentration, Quantity
from checklist.verdict import Remedy
from tests.scene import CARE_ASSISTANT, NURSE, START, TRAINEE, Scene

Act = Callable[[Scene], None]


def nothing(scene: Scene) -> None:
    """No change of the surroundings."""


def order(**changes: object) -> Act:
    return lambda scene: scene.change_order(**changes)


def patient(**changes: object) -> Act:
    return lambda scene: scene.change_patient(**changes)


def unit(**changes: object) -> Act:
    return lambda scene: scene.change_unit(**changes)


def settings(**values: object) -> Act:
    return lambda scene: scene.change_settings(**values)


def drug(**changes: object) -> Act:
    return lambda scene: scene.change_drug(**changes)


def product(**changes: object) -> Act:
    def act(scene: Scene) -> None:
        code = {"ORD-103": "09520007300411", "ORD-101": "09520007300114"}[scene.order_id]
        scene.change_product(code, **changes)

    return act


def staff(**changes: object) -> Act:
    """Change what is on record about the preparer."""

    def act(scene: Scene) -> None:
        people = {**scene.ward.staff, NURSE: replace(scene.ward.staff[NURSE], **changes)}  # type: ignore[arg-type]
        scene._set(replace(scene.ward, staff=people))

    return act


def after(**span: float) -> Act:
    return lambda scene: scene.wait(**span)


@dataclass(frozen=True)
class Seed:
    """One planted error: what is wrong, at which step it is caught, by which code, the way out."""

    step: str
    code: str
    way: Remedy
    seen: dict[str, str | None] = field(default_factory=dict)
    change: Act = nothing
    order: str = "ORD-103"
    by: str = ""
    tier: str = "hard"
    late: bool = False


R = Remedy
MORPHINE = "ORD-101"
KETOROLAC = "ORD-104"
OTHER_PATIENT = {"first_identifier": "30012088", "second_identifier": "1944-09-02"}

SEEDS = {
    # -- the order
    "order stopped": Seed("read_the_order", "order_not_current", R.CALL_PRESCRIBER,
                          change=order(status="stopped")),
    "order not in force yet": Seed("read_the_order", "order_not_current", R.CALL_PRESCRIBER,
                                   change=order(starts=START + timedelta(hours=1))),
    "order run out": Seed("read_the_order", "order_not_current", R.STOP,
                          change=order(stops=START - timedelta(hours=1))),
    "order without route": Seed("read_the_order", "order_incomplete", R.CALL_PRESCRIBER,
                                change=order(route="")),
    "order without dose": Seed("read_the_order", "order_incomplete", R.CALL_PRESCRIBER,
                               change=order(dose=None)),
    "order without prescriber": Seed("read_the_order", "order_incomplete", R.CALL_PRESCRIBER,
                                     change=order(prescriber="")),
    "dose that reads two ways": Seed("read_the_order", "order_ambiguous", R.CALL_PRESCRIBER,
                                     change=order(dose=None, unreadable={"dose": "4,0 mg"})),
    "trailing zero, high-alert": Seed("read_the_order", "order_notation_error_prone",
                                      R.CALL_PRESCRIBER, order=MORPHINE,
                                      change=order(written={"dose": "7.50 mg"})),
    "trailing zero": Seed("read_the_order", "order_notation_error_prone", R.CALL_PRESCRIBER,
                          change=order(written={"dose": "4.0 mg"}), tier="soft"),
    "U for units": Seed("read_the_order", "order_notation_error_prone", R.CALL_PRESCRIBER,
                        change=order(written={"dose": "10 U"}), tier="soft"),
    "naked point": Seed("read_the_order", "order_notation_error_prone", R.CALL_PRESCRIBER,
                        change=order(written={"dose": ".5 mg"}), tier="soft"),
    "spoken order, no read-back": Seed("read_the_order", "verbal_order_not_read_back",
                                       R.CALL_PRESCRIBER, change=order(verbal=True)),
    "dose already given": Seed("read_the_order", "dose_already_given", R.STOP,
                               change=order(last_given=START - timedelta(minutes=20))),
    "too soon after the last": Seed("read_the_order", "interval_too_short", R.WAIT,
                                    change=order(last_given=START - timedelta(hours=5),
                                                 due=START + timedelta(minutes=90))),
    "outside the window": Seed("read_the_order", "outside_time_window", R.WAIT, tier="soft",
                               change=order(due=START + timedelta(hours=3))),
    "time-critical and late": Seed("read_the_order", "time_critical_late", R.CALL_PRESCRIBER,
                                   tier="soft",
                                   change=order(due=START - timedelta(hours=1), last_given=None,
                                                time_critical=True)),
    "tenfold dose": Seed("read_the_order", "dose_above_limit", R.CALL_PRESCRIBER,
                         change=order(dose=Quantity.of("40", "mg"))),
    "dose above the usual": Seed("read_the_order", "dose_outside_range", R.CALL_PHARMACIST,
                                 order=MORPHINE, tier="soft",
                                 change=order(dose=Quantity.of("12.5", "mg"))),
    "dose below the usual": Seed("read_the_order", "dose_outside_range", R.CALL_PHARMACIST,
                                 tier="soft", change=order(dose=Quantity.of("2", "mg"))),
    "weight missing": Seed("read_the_order", "weight_missing", R.RECHECK, order="ORD-105",
                           change=patient(weight=None)),
    "weight of last month": Seed("read_the_order", "weight_out_of_date", R.RECHECK,
                                 order="ORD-105", tier="soft",
                                 change=patient(weighed_on=START.date() - timedelta(days=30))),
    "not reviewed": Seed("read_the_order", "no_pharmacist_review", R.CALL_PHARMACIST,
                         change=order(reviewed_by=""), tier="soft"),
    "no indication": Seed("read_the_order", "indication_unclear", R.CALL_PRESCRIBER,
                          change=order(indication=""), tier="soft"),
    "pharmacy only": Seed("read_the_order", "pharmacy_only_preparation", R.STOP,
                          change=drug(pharmacy_only=True)),
    # -- the patient
    "wrong patient's record": Seed("read_the_order", "patient_id_mismatch", R.RECHECK,
                                   dict(OTHER_PATIENT)),
    "one digit of the number": Seed("read_the_order", "patient_id_mismatch", R.RECHECK,
                                    {"first_identifier": "30012416"}),
    "bed for an identifier": Seed("read_the_order", "patient_id_too_few", R.RECHECK,
                                  {"first_identifier": "bed 4"}),
    "the same datum twice": Seed("read_the_order", "patient_id_too_few", R.RECHECK,
                                 {"second_identifier": "30012415"}),
    "allergy status unknown": Seed("read_the_order", "allergy_unknown", R.RECHECK,
                                   change=patient(allergies=None)),
    "allergic to the drug": Seed("read_the_order", "allergy_match", R.CALL_PRESCRIBER,
                                 change=patient(allergies=(Allergy(substance="Ondansetron"),))),
    "allergic to the class": Seed("read_the_order", "allergy_match", R.CALL_PRESCRIBER,
                                  order=MORPHINE, change=patient(allergies=(
                                      Allergy(substance="codeine", drug_class="opioids"),))),
    "related class": Seed("read_the_order", "allergy_cross_class", R.CALL_PHARMACIST,
                          order=KETOROLAC, tier="soft", change=patient(allergies=(
                              Allergy(substance="aspirin", drug_class="salicylates"),))),
    "hold rule met": Seed("see_the_patient", "hold_parameter_met", R.CALL_PRESCRIBER,
                          {"assessment": "8"}, order=MORPHINE),
    "hold value not read": Seed("see_the_patient", "entry_missing", R.RECHECK,
                                {"assessment": None}, order=MORPHINE),
    "patient declines": Seed("see_the_patient", "patient_declined", R.STOP,
                             {"patient_agrees": "n"}),
    "no vein": Seed("see_the_patient", "route_unavailable", R.CALL_PRESCRIBER,
                    {"route_usable": "n"}),
    # -- person and place
    "not allowed to prepare any more": Seed("prepare_the_place", "not_authorised", R.STOP,
                                            change=staff(roles=(Role.CHECKER,)), late=True),
    "competency lapsed": Seed("prepare_the_place", "competency_lapsed", R.SECOND_PERSON,
                              by="RN-31", tier="soft"),
    "competency lapsed, high-alert": Seed("prepare_the_place", "competency_lapsed",
                                          R.SECOND_PERSON, by="RN-31", order=MORPHINE,
                                          change=order(route="IM", site="deltoid")),
    "cluttered surface": Seed("prepare_the_place", "area_not_clean", R.RECHECK,
                              {"surface_clean": "n"}),
    "stray syringe": Seed("prepare_the_place", "unlabelled_item_found", R.RECHECK,
                          {"no_stray_item": "n"}),
    "hands not cleaned": Seed("prepare_the_place", "hand_hygiene_missing", R.RECHECK,
                              {"hands_clean": "n"}),
    # -- the item
    "another drug": Seed("take_the_product", "product_mismatch", R.REPLACE_ITEM,
                         {"product": "]d201095200073002131727093010NX5567"}),
    "twice the strength": Seed("take_the_product", "strength_mismatch", R.REPLACE_ITEM,
                               {"product": "]d201095200073001211728053110LN8039"}, order=MORPHINE,
                               change=order(strength=Concentration.parse("10 mg in 1 mL"))),
    "expired": Seed("take_the_product", "product_expired", R.REPLACE_ITEM,
                    {"product": "]d201095200073004111726103110OW4490"}),
    "expired yesterday, typed": Seed("take_the_product", "product_expired", R.REPLACE_ITEM,
                                     {"product": "09520007300411", "lot": "OX5528",
                                      "expiry": "24 Nov 2026"}),
    "recalled lot": Seed("take_the_product", "lot_recalled", R.QUARANTINE,
                         {"product": "]d201095200073003291727123110FX0883"}, order="ORD-102"),
    "a vial": Seed("take_the_product", "container_type_mismatch", R.REPLACE_ITEM,
                   {"product": "]d201095200073005101728043010KE6602"}, order=MORPHINE),
    "a nebule": Seed("take_the_product", "not_for_injection", R.REPLACE_ITEM,
                     {"product": "]d201095200073008171727083110SB0457"}),
    "a concentrate": Seed("take_the_product", "concentrate_undiluted", R.REPLACE_ITEM,
                          {"product": "]d201095200073009161728033110PK5506"}),
    "not in the formulary": Seed("take_the_product", "container_type_unknown", R.REPLACE_ITEM,
                                 {"product": "09520007399996", "lot": "A1",
                                  "expiry": "31 Dec 2027"}),
    "check digit misread": Seed("take_the_product", "entry_unreadable", R.RECHECK,
                                {"product": "09520007300412", "lot": "A1",
                                 "expiry": "31 Dec 2027"}),
    "no expiry": Seed("take_the_product", "expiry_unreadable", R.REPLACE_ITEM,
                      {"product": "09520007300411", "lot": "OX5528"}),
    "date that reads two ways": Seed("take_the_product", "entry_unreadable", R.RECHECK,
                                     {"product": "09520007300411", "lot": "OX5528",
                                      "expiry": "03/04/2027"}),
    "label torn": Seed("take_the_product", "label_unreadable", R.REPLACE_ITEM,
                       {"product": None}),
    "other form": Seed("take_the_product", "formulation_mismatch", R.REPLACE_ITEM,
                       change=order(form="emulsion for injection")),
    "label not for this route": Seed("take_the_product", "route_mismatch", R.REPLACE_ITEM,
                                     change=product(routes=("IM",))),
    "bulk pack": Seed("take_the_product", "pharmacy_bulk_pack_on_ward", R.STOP,
                      change=product(bulk_pack=True)),
    "five containers": Seed("take_the_product", "many_containers_for_dose", R.RECHECK,
                            tier="soft", change=product(content=Quantity.of("0.4", "mL"))),
    "the twin's name read": Seed("say_the_name", "lasa_not_confirmed", R.RECHECK,
                                 {"name_on_label": "hydromorphone"}, order=MORPHINE),
    "stock not as booked": Seed("count_the_stock", "cd_count_mismatch", R.RECHECK,
                                {"count_before": "11", "count_after": "10"}, order=MORPHINE),
    "count does not add up": Seed("count_the_stock", "cd_count_mismatch", R.EVENT,
                                  {"count_after": "10"}, order=MORPHINE),
    "own witness": Seed("witness_the_count", "cd_witness_same_person", R.SECOND_PERSON,
                        order=MORPHINE, by=NURSE),
    "witness without the role": Seed("witness_the_count", "cd_witness_not_eligible",
                                     R.SECOND_PERSON, order=MORPHINE, by=CARE_ASSISTANT),
    "witness counts otherwise": Seed("witness_the_count", "cd_count_mismatch", R.RECHECK,
                                     {"witness_count_after": "12"}, order=MORPHINE),
    "cracked": Seed("inspect_the_product", "container_damaged", R.QUARANTINE,
                    {"container_whole": "n"}),
    "particles": Seed("inspect_the_product", "appearance_abnormal", R.QUARANTINE,
                      {"content_as_described": "n"}),
    "had been frozen": Seed("inspect_the_product", "storage_breach", R.QUARANTINE,
                            {"kept_as_it_should": "n"}),
    # -- devices and sum
    "torn pack": Seed("look_at_the_devices", "device_pack_breached", R.REPLACE_ITEM,
                      {"packs_whole": "n"}),
    "no label at hand": Seed("look_at_the_devices", "label_not_ready", R.RECHECK,
                             {"label_at_hand": "n"}),
    "enteral syringe": Seed("choose_the_syringe", "enteral_in_parenteral_syringe",
                            R.REPLACE_ITEM, {"syringe_kind": "enteral"}),
    "insulin syringe": Seed("choose_the_syringe", "syringe_scale_mismatch", R.REPLACE_ITEM,
                            {"syringe_kind": "insulin"}),
    "neuraxial dose, common tip": Seed("choose_the_syringe", "neuraxial_connector_required",
                                       R.REPLACE_ITEM,
                                       change=lambda s: (order(route="IT")(s),
                                                         product(routes=("IT",))(s))[0]),
    "too small": Seed("choose_the_syringe", "syringe_too_small", R.REPLACE_ITEM,
                      {"syringe_size": "1", "graduation": "0.01"}),
    "too coarse": Seed("choose_the_syringe", "syringe_too_coarse", R.REPLACE_ITEM,
                       {"syringe_size": "20", "graduation": "2"}),
    "ten times the volume": Seed("work_out_the_volume", "calculation_mismatch", R.RECHECK,
                                 {"own_volume": "0.2"}),
    "milligrams for millilitres": Seed("work_out_the_volume", "unit_mismatch", R.RECHECK,
                                       {"own_volume": "4 mg"}),
    "comma for point": Seed("work_out_the_volume", "entry_unreadable", R.RECHECK,
                            {"own_volume": "2,0"}),
    "no own answer": Seed("work_out_the_volume", "calculation_missing", R.RECHECK,
                          {"own_volume": None}),
    "more than the ampoule holds": Seed("work_out_the_volume", "volume_exceeds_content",
                                        R.RECHECK, {"own_volume": "20"}),
    "estimate far off": Seed("work_out_the_volume", "estimate_disagrees", R.RECHECK,
                             {"estimate": "much less than half a container"}, tier="soft"),
    "too much for one site": Seed("work_out_the_volume", "volume_exceeds_site_limit",
                                  R.CALL_PRESCRIBER, tier="soft",
                                  change=lambda s: (order(route="IM", site="deltoid")(s),
                                                    product(routes=("IM",))(s))[0]),
    # -- second person
    "second person is the first": Seed("second_person_works_it_out", "checker_same_person",
                                       R.SECOND_PERSON, order=MORPHINE, by=NURSE),
    "second person in training": Seed("second_person_works_it_out", "checker_not_eligible",
                                      R.SECOND_PERSON, order=MORPHINE, by=TRAINEE),
    "told the answer": Seed("second_person_works_it_out", "double_check_not_independent",
                            R.SECOND_PERSON, {"first_answer_unknown": "n"}, order=MORPHINE),
    "second volume differs": Seed("second_person_works_it_out", "double_check_disagrees",
                                  R.RECHECK, {"checker_volume": "0.075"}, order=MORPHINE),
    "second drug differs": Seed("second_person_works_it_out", "double_check_disagrees",
                                R.RECHECK, {"checker_drug": "hydromorphone"}, order=MORPHINE),
    "second strength missing": Seed("second_person_works_it_out", "double_check_missing",
                                    R.SECOND_PERSON, {"checker_strength": None}, order=MORPHINE),
    # -- opening and drawing
    "hands not cleaned again": Seed("make_the_neck_ready", "hand_hygiene_missing", R.RECHECK,
                                    {"hands_clean_to_open": "n"}),
    "liquid in the neck": Seed("make_the_neck_ready", "neck_not_clear", R.RECHECK,
                               {"neck_clear": "n"}, tier="soft"),
    "neck not wiped": Seed("make_the_neck_ready", "neck_not_wiped", R.RECHECK,
                           {"neck_wiped": "n"}, tier="soft"),
    "shattered": Seed("snap_the_neck", "ampoule_shattered", R.DISCARD_RESTART,
                      {"clean_break": "n"}),
    "glass in the ampoule": Seed("snap_the_neck", "glass_visible", R.DISCARD_RESTART,
                                 {"no_glass_in_it": "n"}),
    "cut": Seed("snap_the_neck", "glass_cut", R.DISCARD_RESTART, {"no_cut": "n"}),
    "head left lying": Seed("snap_the_neck", "sharp_not_disposed", R.RECHECK,
                            {"head_in_box": "n"}),
    "no filter": Seed("fit_the_filter", "filter_missing", R.REPLACE_ITEM,
                      {"filter_kind": "none", "pore": None}),
    "plain needle called filter, no pore": Seed("fit_the_filter", "filter_missing",
                                                R.REPLACE_ITEM, {"pore": None}),
    "pore too wide": Seed("fit_the_filter", "filter_missing", R.REPLACE_ITEM, {"pore": "10"}),
    "filter at the line only": Seed("fit_the_filter", "filter_missing", R.REPLACE_ITEM,
                                    {"filter_kind": "filter at the line only"}),
    "must not be filtered": Seed("fit_the_filter", "filter_not_allowed", R.CALL_PHARMACIST,
                                 change=product(filter_allowed=False)),
    "second label reading differs": Seed("read_the_label_again", "product_mismatch",
                                         R.REPLACE_ITEM, {"read_drug": "naloxone"}),
    "second strength reading differs": Seed("read_the_label_again", "strength_mismatch",
                                            R.REPLACE_ITEM, {"read_strength": "8 mg in 2 mL"}),
    "second label reading skipped": Seed("read_the_label_again", "label_read_missing",
                                         R.RECHECK, {"read_drug": None}),
    "rim touched": Seed("draw_up", "key_part_touched", R.REPLACE_ITEM, {"rim_untouched": "n"}),
    "air pushed in": Seed("draw_up", "air_injected_into_ampoule", R.DISCARD_RESTART,
                          {"no_air_in": "n"}),
    "drug pushed back": Seed("draw_up", "fluid_returned_to_container", R.DISCARD_RESTART,
                             {"nothing_returned": "n"}),
    "bubble, intravenous": Seed("clear_the_air", "air_present", R.ADJUST,
                                {"bubble_free": "a bubble is left"}),
    "excess volume": Seed("set_the_dose", "volume_over_target", R.ADJUST,
                          {"drawn_volume": "2.1"}),
    "whole ampoule with its overfill": Seed("set_the_dose", "volume_over_target", R.ADJUST,
                                            {"drawn_volume": "2.15"}),
    "more than there can be": Seed("set_the_dose", "volume_exceeds_content", R.RECHECK,
                                   {"drawn_volume": "2.5"}),
    "short": Seed("set_the_dose", "volume_under_target", R.ADJUST, {"drawn_volume": "1.9"}),
    "volume not read": Seed("set_the_dose", "volume_not_recorded", R.RECHECK,
                            {"drawn_volume": None}),
    "filter left on": Seed("change_the_needle", "filter_not_removed", R.REPLACE_ITEM,
                           {"tip": "the filter"}),
    "drawing needle left on": Seed("change_the_needle", "needle_not_changed", R.REPLACE_ITEM,
                                   {"tip": "the needle that drew it up", "gauge": "18",
                                    "needle_length": "40"}, tier="soft"),
    "recapped with two hands": Seed("change_the_needle", "recap_two_handed", R.REPLACE_ITEM,
                                    {"one_handed": "n"}),
    "needle too short for muscle": Seed("change_the_needle", "needle_unsuitable",
                                        R.REPLACE_ITEM, {"gauge": "25", "needle_length": "10"},
                                        order=KETOROLAC, tier="soft"),
    "another ampoule emptied": Seed("look_at_the_dose", "product_mismatch", R.REPLACE_ITEM,
                                    {"emptied": "]d201095200073002131727093010NX5567"}),
    "glass in the syringe": Seed("look_at_the_dose", "glass_visible", R.DISCARD_RESTART,
                                 {"no_glass": "n"}),
    "cloudy": Seed("look_at_the_dose", "appearance_abnormal", R.QUARANTINE,
                   {"dose_clear": "n"}),
    # -- waste
    "waste short by a twentieth": Seed("waste_the_rest", "cd_waste_mismatch", R.RECHECK,
                                       {"wasted_volume": "0.2"}, order=MORPHINE),
    "waste off by a hundredth": Seed("waste_the_rest", "cd_waste_mismatch", R.RECHECK,
                                     {"wasted_volume": "0.26"}, order=MORPHINE),
    "waste into the sink": Seed("waste_the_rest", "cd_waste_recoverable", R.ADJUST,
                                {"waste_method": "sink"}, order=MORPHINE, tier="soft"),
    "witness saw nothing": Seed("witness_the_waste", "cd_witness_missing", R.SECOND_PERSON,
                                {"act_seen": "n"}, order=MORPHINE),
    "waste witnessed by the preparer": Seed("witness_the_waste", "cd_witness_same_person",
                                            R.SECOND_PERSON, order=MORPHINE, by=NURSE),
    # -- label, leaving
    "put down unlabelled": Seed("write_the_label", "label_missing", R.RECHECK,
                                {"never_put_down": "n"}),
    "other patient on the label": Seed("write_the_label", "label_mismatch", R.RECHECK,
                                       {"label_identifier": "30012088"}),
    "other amount on the label": Seed("write_the_label", "label_mismatch", R.RECHECK,
                                      {"label_dose": "40 mg"}),
    "other volume on the label": Seed("write_the_label", "label_mismatch", R.RECHECK,
                                      {"label_volume": "0.2"}),
    "amount missing on the label": Seed("write_the_label", "label_incomplete", R.RECHECK,
                                        {"label_dose": None}),
    "scale hidden": Seed("write_the_label", "label_covers_scale", R.RECHECK,
                         {"scale_visible": "n"}, tier="soft"),
    "second reading of the syringe differs": Seed("second_person_reads_the_dose",
                                                  "double_check_disagrees", R.RECHECK,
                                                  {"checker_drawn_volume": "0.8"},
                                                  order=MORPHINE),
    "sharps left behind": Seed("leave_the_area", "area_left_with_open_items", R.RECHECK,
                               {"place_cleared": "n"}),
    "ampoule kept for later": Seed("leave_the_area", "opened_ampoule_kept", R.RECHECK,
                                   {"nothing_kept": "n"}),
    "two patients' doses": Seed("leave_the_area", "items_for_two_patients", R.RECHECK,
                                {"one_patient": "n"}),
    "too long after opening": Seed("leave_the_area", "preparation_time_exceeded",
                                   R.DISCARD_RESTART, change=after(minutes=61), late=True),
    # -- bedside
    "wrong wristband": Seed("identify_the_patient", "patient_id_mismatch", R.RECHECK,
                            {"first_identifier": "]d28018952000000000003027"}),
    "band unreadable": Seed("identify_the_patient", "wristband_missing", R.RECHECK,
                            {"identified_by": "no readable band"}),
    "band only": Seed("identify_the_patient", "patient_id_by_alternative", R.RECHECK,
                      {"identified_by": "read the band only, patient cannot answer"},
                      tier="soft"),
    "room for an identifier": Seed("identify_the_patient", "patient_id_too_few", R.RECHECK,
                                   {"second_identifier": "room 12"}),
    "given by another": Seed("identify_the_patient", "giver_not_preparer", R.RECHECK,
                             by="RN-27"),
    "order stopped meanwhile": Seed("compare_at_the_bedside", "order_not_current",
                                    R.CALL_PRESCRIBER, change=order(status="stopped"), late=True),
    "dose changed meanwhile": Seed("compare_at_the_bedside", "order_not_current",
                                   R.CALL_PRESCRIBER,
                                   change=order(dose=Quantity.of("8", "mg")), late=True),
    "given by a colleague meanwhile": Seed("compare_at_the_bedside", "order_not_current", R.STOP,
                                           change=order(last_given=START), late=True),
    "allergy found meanwhile": Seed("compare_at_the_bedside", "allergy_match", R.CALL_PRESCRIBER,
                                    change=patient(allergies=(Allergy(substance="ondansetron"),)),
                                    late=True),
    "label names another drug": Seed("compare_at_the_bedside", "bedside_mismatch", R.RECHECK,
                                     {"bedside_drug": "naloxone"}),
    "patient says it looks different": Seed("compare_at_the_bedside", "patient_concern",
                                            R.RECHECK, {"no_concern": "n"}),
    "line not traced": Seed("compare_at_the_bedside", "line_not_traced", R.RECHECK,
                            {"line_traced": "n"}),
    "stood an hour at the bed": Seed("give_the_dose", "preparation_time_exceeded",
                                     R.DISCARD_RESTART, change=after(minutes=61), late=True),
    "part given": Seed("give_the_dose", "partial_dose_given", R.CALL_PRESCRIBER,
                       {"given_volume": "1.5"}, tier="soft"),
    "more given than drawn": Seed("give_the_dose", "more_given_than_drawn", R.RECHECK,
                                  {"given_volume": "2.2"}),
    "reaction": Seed("give_the_dose", "reaction_during", R.EVENT, {"no_reaction": "n"}),
    "line not flushed": Seed("give_the_dose", "flush_missing", R.RECHECK, {"flushed": "n"},
                             tier="soft"),
    "sharp left on the bed": Seed("dispose", "sharp_not_disposed", R.RECHECK,
                                  {"sharp_in_box": "n"}),
    "recorded before giving": Seed("write_the_record", "recorded_before_giving", R.RECHECK,
                                   {"time_given": "13:55"}),
    "recorded for later": Seed("write_the_record", "recorded_before_giving", R.RECHECK,
                               {"time_given": "23:10"}),
    "recorded late": Seed("write_the_record", "record_late", R.RECHECK, tier="soft",
                          change=after(minutes=45), late=True,
                          seen={"time_given": "14:12"}),
    "site not recorded": Seed("write_the_record", "record_incomplete", R.RECHECK,
                              {"site_given": None}),
}  # fmt: skip


def scene_of(seed: Seed, folder: Path) -> Scene:
    """The scene just before the planted error."""
    scene = Scene(folder, order_id=seed.order)
    if seed.order == "ORD-105":
        scene.wait(minutes=56)
    if not seed.late:
        seed.change(scene)
    first = seed.by if seed.step in ("prepare_the_place",) else NURSE
    scene.open(by=first or NURSE, container="glass_ampoule")
    return scene


def go_to(scene: Scene, seed: Seed) -> None:
    """To the seed's step, in the hands that the seed names."""
    while scene.place != seed.step:
        outcome = scene.attempt(by=seed.by if seed.step == "prepare_the_place" else "")
        if outcome.screen.stands == "caution":
            scene.station.proceed(scene.id, "looked_again", outcome.entry.event.by)
        else:
            assert outcome.entry.event.kind == "passed", [t.code for t in outcome.told]
    if seed.late:
        seed.change(scene)


@pytest.mark.parametrize("name", SEEDS)
def test_a_planted_error_is_caught_where_it_belongs(name: str, tmp_path: Path) -> None:
    seed = SEEDS[name]
    scene = scene_of(seed, tmp_path)
    go_to(scene, seed)
    outcome = scene.attempt(seed.seen, by=seed.by)
    told = {t.code: t.tier for t in outcome.told}
    assert seed.code in told, told
    assert told[seed.code] == seed.tier
    assert outcome.screen.stands == ("caution" if seed.tier == "soft" else "refused")
    assert outcome.screen.prep.place.startswith(f"{seed.step}/")
    assert seed.way in outcome.screen.ways, outcome.screen.ways
    assert "check_failed" not in told
    # The way out is taken and recorded, and it leads back or out, never on.
    after = scene.station.remedy(scene.id, seed.way, seed.by or scene.hands_of(seed.step))
    assert after.entry.event.kind == "remedied"
    assert seed.code in after.entry.event.body["answers"]
    layout = scene.station.rules_of(after.screen.prep.workflow).layout
    assert not layout.is_before(seed.step, after.screen.prep.place)


def test_the_refused_error_leaves_the_preparation_where_it_was(tmp_path: Path) -> None:
    for i, (name, seed) in enumerate(list(SEEDS.items())[::12]):
        folder = tmp_path / str(i)
        folder.mkdir()
        scene = scene_of(seed, folder)
        go_to(scene, seed)
        before = scene.station.find(scene.id).seen
        outcome = scene.attempt(seed.seen, by=seed.by)
        assert outcome.screen.prep.seen == before, name


VARIATIONS: dict[str, Seed] = {
    "name instead of number": Seed("read_the_order", "", R.RECHECK,
                                   {"first_identifier": "Ottoline Brask"}),
    "name, family name first": Seed("read_the_order", "", R.RECHECK,
                                    {"first_identifier": "BRASK, Ottoline"}),
    "band scanned at the record": Seed("read_the_order", "", R.RECHECK,
                                       {"first_identifier": "]d28018952000000000003034"}),
    "birth date in words": Seed("read_the_order", "", R.RECHECK,
                                {"second_identifier": "19 Dec 1987"}),
    "at the edge of the window": Seed("read_the_order", "", R.RECHECK,
                                      change=order(due=START + timedelta(minutes=60))),
    "dose at the upper end": Seed("read_the_order", "", R.RECHECK, order=MORPHINE,
                                  change=order(dose=Quantity.of("10", "mg"))),
    "dose in microgram": Seed("read_the_order", "", R.RECHECK,
                              change=order(dose=Quantity.of("4000", "ug"))),
    "other allergy": Seed("read_the_order", "", R.RECHECK,
                          change=patient(allergies=(Allergy(substance="penicillin"),))),
    "last dose long ago": Seed("read_the_order", "", R.RECHECK,
                               change=order(last_given=START - timedelta(days=2))),
    "spoken order, read back": Seed("read_the_order", "", R.RECHECK,
                                    change=order(verbal=True, read_back=True)),
    "hold value at the bound": Seed("see_the_patient", "", R.RECHECK, {"assessment": "10"},
                                    order=MORPHINE),
    "hold rule with a ceiling": Seed(
        "see_the_patient", "", R.RECHECK, {"assessment": "110"},
        change=order(hold=HoldRule(what="pulse per minute", unit="1/min",
                                   highest=Quantity.of("120", "1/min")))),
    "quiet not declared": Seed("prepare_the_place", "", R.RECHECK, {"quiet_declared": "n"}),
    "code typed with lot and expiry": Seed("take_the_product", "", R.RECHECK,
                                           {"product": "09520007300411", "lot": "OX5528",
                                            "expiry": "31 Jul 2027"}),
    "expiry month only": Seed("take_the_product", "", R.RECHECK,
                              {"product": "09520007300411", "lot": "OX5528",
                               "expiry": "07/2027"}),
    "expires today": Seed("take_the_product", "", R.RECHECK,
                          {"product": "09520007300411", "lot": "OX5528",
                           "expiry": "25 Nov 2026"}),
    "same lot number of another product recalled": Seed(
        "take_the_product", "", R.RECHECK,
        change=unit(recalled=frozenset({"09520007300213/OX5528"}))),
    "name in capitals": Seed("say_the_name", "", R.RECHECK, {"name_on_label": "MORPHINE"},
                             order=MORPHINE),
    "luer slip": Seed("choose_the_syringe", "", R.RECHECK, {"syringe_kind": "luer slip"}),
    "larger syringe": Seed("choose_the_syringe", "", R.RECHECK,
                           {"syringe_size": "5", "graduation": "0.2"}),
    "answer as a whole number": Seed("work_out_the_volume", "", R.RECHECK, {"own_volume": "2"}),
    "answer with its unit": Seed("work_out_the_volume", "", R.RECHECK, {"own_volume": "2 mL"}),
    "second expiry in words": Seed("second_person_works_it_out", "", R.RECHECK,
                                   {"checker_expiry": "31 Aug 2028"}, order=MORPHINE),
    "second strength per mL": Seed("second_person_works_it_out", "", R.RECHECK,
                                   {"checker_strength": "10 mg/mL"}, order=MORPHINE),
    "filter straw": Seed("fit_the_filter", "", R.RECHECK, {"filter_kind": "filter straw"}),
    "finer filter": Seed("fit_the_filter", "", R.RECHECK, {"pore": "1.2"}),
    "strength per mL on the second reading": Seed("read_the_label_again", "", R.RECHECK,
                                                  {"read_strength": "2 mg/mL"}),
    "drug with a capital": Seed("read_the_label_again", "", R.RECHECK,
                                {"read_drug": "Ondansetron"}),
    "volume with its unit": Seed("set_the_dose", "", R.RECHECK, {"drawn_volume": "2 mL"}),
    "ventrogluteal site, longer needle": Seed(
        "change_the_needle", "", R.RECHECK, {"gauge": "22", "needle_length": "38"},
        order=KETOROLAC, change=order(site="ventrogluteal")),
    "shortest needle for the deltoid": Seed("change_the_needle", "", R.RECHECK,
                                            {"gauge": "23", "needle_length": "25"},
                                            order=KETOROLAC),
    "emptied code typed": Seed("look_at_the_dose", "", R.RECHECK, {"emptied": "09520007300411"}),
    "label by hand": Seed("write_the_label", "", R.RECHECK, {"label_made": "written by hand"}),
    "label read back by name": Seed("write_the_label", "", R.RECHECK,
                                    {"label_identifier": "Ottoline Brask"}),
    "amount in microgram on the label": Seed("write_the_label", "", R.RECHECK,
                                             {"label_dose": "4000 microgram"}),
    "an hour less a minute": Seed("leave_the_area", "", R.RECHECK, change=after(minutes=50),
                                  late=True),
    "band scanned at the bedside": Seed("identify_the_patient", "", R.RECHECK,
                                        {"first_identifier": "]d28018952000000000003034"}),
    "another may give, by the unit's rule": Seed(
        "compare_at_the_bedside", "", R.RECHECK, by="RN-27",
        change=settings(giver_must_be_preparer="witnessed")),
    "time given a minute ago": Seed("write_the_record", "", R.RECHECK),
}  # fmt: skip


@pytest.mark.parametrize("name", VARIATIONS)
def test_a_right_preparation_with_natural_variation_is_not_refused(
    name: str, tmp_path: Path
) -> None:
    seed = VARIATIONS[name]
    scene = scene_of(seed, tmp_path)
    while scene.place != seed.step:
        scene.on()
    if seed.late:
        seed.change(scene)
    outcome = scene.attempt(seed.seen, by=seed.by)
    assert outcome.entry.event.kind == "passed", [t.code for t in outcome.told]
    assert not scene.station.find(scene.id).refusals


ORDERS = ("ORD-101", "ORD-102", "ORD-103", "ORD-104", "ORD-105")
STATIONS = ("W7E-1", "W7E-2")
CHANNELS = (Channel.TYPED, Channel.SCANNED)


@pytest.mark.parametrize("order_id", ORDERS)
@pytest.mark.parametrize("station", STATIONS)
@pytest.mark.parametrize("seconds", (5, 20, 45, 70, 90))
def test_whole_right_preparations_pass_without_a_refusal(
    order_id: str, station: str, seconds: int, tmp_path: Path
) -> None:
    scene = Scene(tmp_path, order_id=order_id, station_name=station)
    if order_id == "ORD-105":
        scene.wait(minutes=56)
    if order_id == "ORD-104":
        scene.wait(minutes=20)
    scene.open()
    outcome = scene.attempt(wait=seconds)
    while not outcome.screen.prep.closed:
        assert outcome.entry.event.kind == "passed", [t.code for t in outcome.told]
        outcome = scene.attempt(wait=seconds)
    assert outcome.screen.prep.place == "given"
    assert scene.trail.verify().whole


def test_there_are_enough_seeds_and_as_many_right_ones() -> None:
    assert len(SEEDS) >= 33
    right = len(VARIATIONS) + len(ORDERS) * len(STATIONS) * 5
    assert right >= 33
    assert {s.code for s in SEEDS.values()} <= REASONS.keys()
