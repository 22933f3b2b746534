"""Two drugs in one syringe: errors are caught where they belong, right ones pass.

The errors come from the hazard register (mixing that nobody permits, an incompatible pair, the
wrong order of drawing, an over-draw that cannot be undone, a label that names one drug) and from
common practice.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from checklist.compatibility import Judgement, Where
from checklist.order import Allergy, Component
from checklist.preparation import FIRST, SECOND
from checklist.quantity import Concentration, Quantity
from checklist.station import NotHere
from checklist.verdict import Remedy
from tests.planted import (
    Act,
    Seed,
    Shelf,
    after,
    caught,
    order,
    passed,
    patient,
    product,
    right_through,
    settings,
    unit,
)
from tests.scene import COLLEAGUE, NURSE, Scene
from tests.test_bags import table
from tests.way_answers import CYCLIZINE, HALOPERIDOL, HYOSCINE

R = Remedy
AMPOULES, VIAL_FIRST = "ORD-411", "ORD-412"
HYO, CYC, MOR, HAL = "hyoscine butylbromide", "cyclizine", "morphine", "haloperidol"


def q(text: str) -> Quantity:
    return Quantity.parse(text)


def second(**changes: object) -> Act:
    """Rewrite the second drug of the order."""

    def act(scene: Scene) -> None:
        component = scene.whole.second
        assert component is not None
        scene.change_order(second=replace(component, **changes))  # type: ignore[arg-type]

    return act


def drug_named(name: str, **changes: object) -> Act:
    """Change one drug of the formulary."""

    def act(scene: Scene) -> None:
        formulary = scene.ward.formulary
        drugs = {**formulary.drugs, name: replace(formulary.drugs[name], **changes)}  # type: ignore[arg-type]
        scene._set(replace(scene.ward, formulary=replace(formulary, drugs=drugs)))

    return act


ORDERS, MARK, GO_ON = "choose_the_order", "work_out_the_mark", "go_on_to_the_second"
ROLL, STICK, SECOND_LOOK = "mix_in_the_syringe", "label_both_drugs", "second_person_reads_both"
FIRST_LOOK = "second_person_reads_the_first_drug"

SEEDS = {
    # -- permitted, and in which order
    "the unit mixes nothing": Seed(AMPOULES, ORDERS, "mixing_not_permitted", R.CALL_PHARMACIST,
                                   change=settings(mixing_in_syringe="not_allowed")),
    "into a vein": Seed(AMPOULES, ORDERS, "mixing_not_permitted", R.STOP,
                        change=order(route="IV", site=""), early=True),
    "a vaccine": Seed(AMPOULES, ORDERS, "mixing_not_permitted", R.CALL_PRESCRIBER,
                      change=drug_named(CYC, drug_class="vaccine")),
    "a long-acting insulin": Seed(AMPOULES, ORDERS, "mixing_not_permitted", R.STOP,
                                  change=drug_named(HYO, drug_class="long-acting insulin")),
    "a pair that is not on the list": Seed(AMPOULES, ORDERS, "mixing_not_permitted",
                                           R.CALL_PHARMACIST,
                                           change=table(HYO, CYC, Where.SYRINGE, None)),
    "the other drug first": Seed(VIAL_FIRST, ORDERS, "mix_order_wrong", R.RECHECK,
                                 {"drawn_first": MOR}),
    "a third drug first": Seed(VIAL_FIRST, ORDERS, "mix_order_wrong", R.RECHECK,
                               {"drawn_first": "hydromorphone"}),
    "second drug's dose above its limit": Seed(VIAL_FIRST, ORDERS, "dose_above_limit",
                                               R.CALL_PRESCRIBER,
                                               change=second(dose=q("25 mg")), early=True),
    "second drug's dose unusual": Seed(AMPOULES, ORDERS, "dose_outside_range",
                                       R.CALL_PHARMACIST, change=second(dose=q("5 mg")),
                                       early=True, tier="soft"),
    "allergic to the second drug": Seed(AMPOULES, ORDERS, "allergy_match", R.CALL_PRESCRIBER,
                                        change=patient(allergies=(Allergy(substance=CYC),))),
    # -- the two items
    "second drug taken first": Seed(AMPOULES, "take_the_product@first", "product_mismatch",
                                    R.REPLACE_ITEM, {"product": CYCLIZINE}),
    "first drug taken twice": Seed(AMPOULES, "take_the_product@second", "product_mismatch",
                                   R.REPLACE_ITEM, {"product": HYOSCINE}),
    "the ampoule where the vial goes": Seed(VIAL_FIRST, "take_the_product@first",
                                            "product_mismatch", R.REPLACE_ITEM,
                                            {"product": "]d201095200073001141728083110LM4476"}),
    "first item out of date": Seed(AMPOULES, "take_the_product@first", "product_expired",
                                   R.REPLACE_ITEM, {"product": "09520007304129", "lot": "HY1",
                                                    "expiry": "1 Nov 2026"}),
    "second item recalled": Seed(AMPOULES, "take_the_product@second", "lot_recalled",
                                 R.QUARANTINE,
                                 change=unit(recalled=frozenset({"09520007304136/CY4136"}))),
    "the twin of the second drug": Seed(VIAL_FIRST, "say_the_name@second", "lasa_not_confirmed",
                                        R.REPLACE_ITEM, {"name_on_label": "hydromorphone"}),
    "stock of the second drug": Seed(VIAL_FIRST, "count_the_stock@second", "cd_count_mismatch",
                                     R.EVENT, {"count_before": "11", "count_after": "10"}),
    "second ampoule cracked": Seed(AMPOULES, "inspect_the_product@second", "container_damaged",
                                   R.QUARANTINE, {"container_whole": "n"}),
    # -- the sums
    "syringe too small for both": Seed(AMPOULES, "choose_the_syringe", "syringe_too_small",
                                       R.REPLACE_ITEM,
                                       {"syringe_size": "1", "graduation": "0.01"}),
    "too coarse for the smaller dose": Seed(VIAL_FIRST, "choose_the_syringe",
                                            "syringe_too_coarse", R.REPLACE_ITEM,
                                            {"syringe_size": "10", "graduation": "0.5"}),
    "lines between the doses": Seed(VIAL_FIRST, "choose_the_syringe", "syringe_too_coarse",
                                    R.CALL_PHARMACIST,
                                    {"syringe_size": "5", "graduation": "0.2"}),
    "first volume wrong": Seed(VIAL_FIRST, "work_out_the_volume@first", "calculation_mismatch",
                               R.RECHECK, {"own_volume": "0.05"}),
    "second volume wrong": Seed(VIAL_FIRST, "work_out_the_volume@second",
                                "calculation_mismatch", R.RECHECK, {"own_volume": "8"}),
    "mark without the first drug": Seed(VIAL_FIRST, MARK, "calculation_mismatch", R.RECHECK,
                                        {"own_total": "0.8"}),
    "mark in milligrams": Seed(VIAL_FIRST, MARK, "unit_mismatch", R.RECHECK,
                               {"own_total": "10.5 mg"}),
    "no mark of one's own": Seed(VIAL_FIRST, MARK, "calculation_missing", R.RECHECK,
                                 {"own_total": None}),
    "they do not go together": Seed(AMPOULES, MARK, "incompatible", R.CALL_PHARMACIST,
                                    change=table(HYO, CYC, Where.SYRINGE,
                                                 Judgement.INCOMPATIBLE)),
    "looked up, nothing found": Seed(AMPOULES, MARK, "compatibility_unknown", R.STOP,
                                     change=table(HYO, CYC, Where.SYRINGE, Judgement.NO_DATA)),
    "known only for weaker ones": Seed(
        VIAL_FIRST, MARK, "compatibility_unknown", R.CALL_PHARMACIST,
        change=table(MOR, HAL, Where.SYRINGE, Judgement.COMPATIBLE,
                     most=Concentration.parse("5 mg/mL"))),
    "too much for one site": Seed(AMPOULES, MARK, "volume_exceeds_site_limit", R.CALL_PRESCRIBER,
                                  {"own_total": "2"}, change=order(site="deltoid"), early=True,
                                  tier="soft"),
    # -- the first drug
    "second person reads another strength": Seed(
        VIAL_FIRST, "second_person_works_it_out@second", "double_check_disagrees", R.RECHECK,
        {"checker_strength": "20 mg/mL"}),
    "stopper of the first not rubbed": Seed(VIAL_FIRST, "clean_the_stopper@first",
                                            "stopper_not_disinfected", R.RECHECK,
                                            {"stopper_rubbed": "n"}),
    "first label reading differs": Seed(VIAL_FIRST, "read_the_label_again@first",
                                        "product_mismatch", R.REPLACE_ITEM,
                                        {"read_drug": MOR}),
    "too much of the first drug": Seed(VIAL_FIRST, "set_the_dose@first", "volume_over_target",
                                       R.ADJUST, {"drawn_volume": "0.6"}),
    "too little of the first drug": Seed(VIAL_FIRST, "set_the_dose@first",
                                         "volume_under_target", R.ADJUST,
                                         {"drawn_volume": "0.4"}),
    "another container emptied": Seed(VIAL_FIRST, "look_at_the_dose@first", "product_mismatch",
                                      R.DISCARD_RESTART, {"emptied": CYCLIZINE}),
    "second person reads another first volume": Seed(
        VIAL_FIRST, FIRST_LOOK, "double_check_disagrees", R.RECHECK,
        {"checker_first_volume": "0.6"}),
    "second person was told the first volume": Seed(
        VIAL_FIRST, FIRST_LOOK, "double_check_not_independent", R.SECOND_PERSON,
        {"first_reading_own": "n"}),
    "first volume not read again": Seed(VIAL_FIRST, FIRST_LOOK, "double_check_missing",
                                        R.SECOND_PERSON, {"checker_first_volume": None}),
    # -- the second drug
    "the same needle": Seed(VIAL_FIRST, GO_ON, "needle_not_changed", R.REPLACE_ITEM,
                            {"between_needle": "the same needle"}, tier="soft"),
    "second container entered before": Seed(VIAL_FIRST, GO_ON, "mix_order_wrong",
                                            R.DISCARD_RESTART, {"second_untouched": "n"}),
    "plunger pressed": Seed(VIAL_FIRST, GO_ON, "fluid_returned_to_container", R.DISCARD_RESTART,
                            {"plunger_held": "n"}),
    "no filter for the second ampoule": Seed(AMPOULES, "fit_the_filter@second", "filter_missing",
                                             R.REPLACE_ITEM,
                                             {"filter_kind": "none", "pore": None}),
    "drawn past the mark": Seed(VIAL_FIRST, "set_the_dose", "overdraw_in_mixture",
                                R.DISCARD_RESTART, {"drawn_volume": "1.4"}),
    "short of the mark": Seed(VIAL_FIRST, "set_the_dose", "volume_under_target", R.ADJUST,
                              {"drawn_volume": "1.2"}),
    "mark not read": Seed(VIAL_FIRST, "set_the_dose", "volume_not_recorded", R.RECHECK,
                          {"drawn_volume": None}),
    "filter left on": Seed(AMPOULES, "change_the_needle", "filter_not_removed", R.REPLACE_ITEM,
                           {"tip": "the filter"}),
    "not mixed": Seed(AMPOULES, ROLL, "mixing_not_done", R.RECHECK, {"rolled": "n"}),
    "haze in the syringe": Seed(AMPOULES, ROLL, "appearance_abnormal", R.DISCARD_RESTART,
                                {"mixture_clear": "n"}),
    "rest of the second drug": Seed(VIAL_FIRST, "waste_the_rest@second", "cd_waste_mismatch",
                                    R.RECHECK, {"wasted_volume": "0.7"}),
    "witness reads another rest": Seed(VIAL_FIRST, "witness_the_waste@second",
                                       "cd_waste_mismatch", R.RECHECK,
                                       {"witness_wasted_volume": "0.3"}),
    # -- the label and the bed
    "one drug named twice": Seed(AMPOULES, STICK, "label_mismatch", R.RECHECK,
                                 {"label_second_drug": HYO}),
    "amounts crossed": Seed(AMPOULES, STICK, "label_mismatch", R.RECHECK,
                            {"label_dose": "50 mg", "label_second_dose": "20 mg"}),
    "first volume for the whole": Seed(AMPOULES, STICK, "label_mismatch", R.RECHECK,
                                       {"label_volume": "1"}),
    "second drug missing on the label": Seed(AMPOULES, STICK, "label_incomplete", R.RECHECK,
                                             {"label_second_drug": None}),
    "set down before its label": Seed(AMPOULES, STICK, "label_missing", R.DISCARD_RESTART,
                                      {"never_put_down": "n"}),
    "second person reads another whole": Seed(VIAL_FIRST, SECOND_LOOK, "double_check_disagrees",
                                              R.RECHECK, {"checker_total": "0.8"}),
    "second person reads another second drug": Seed(VIAL_FIRST, SECOND_LOOK,
                                                    "double_check_disagrees", R.RECHECK,
                                                    {"checker_both": "hydromorphone"}),
    "at the bed another second drug": Seed(AMPOULES, "compare_at_the_bedside",
                                           "bedside_mismatch", R.DISCARD_RESTART,
                                           {"bedside_second_drug": HAL}),
    "at the bed another second amount": Seed(AMPOULES, "compare_at_the_bedside",
                                             "bedside_mismatch", R.RECHECK,
                                             {"bedside_second_dose": "25 mg"}),
    "allergy to the second found meanwhile": Seed(
        AMPOULES, "compare_at_the_bedside", "allergy_match", R.CALL_PRESCRIBER,
        change=patient(allergies=(Allergy(substance=CYC),))),
    "second drug changed meanwhile": Seed(AMPOULES, "compare_at_the_bedside",
                                          "order_not_current", R.STOP,
                                          change=second(dose=q("25 mg"))),
    "together for too long": Seed(AMPOULES, "give_the_dose", "preparation_time_exceeded",
                                  R.DISCARD_RESTART, change=after(minutes=31)),
}  # fmt: skip

RIGHT_ANSWERS = {
    "named with a capital": Seed(VIAL_FIRST, ORDERS, seen={"drawn_first": "Haloperidol"}),
    "a pair off the list, and the unit asks the table": Seed(
        AMPOULES, ORDERS, change=settings(mixing_in_syringe="allowed_if_compatible")),
    "other allergy": Seed(AMPOULES, ORDERS,
                          change=patient(allergies=(Allergy(substance="penicillin"),))),
    "first item typed": Seed(AMPOULES, "take_the_product@first",
                             seen={"product": "09520007304129", "lot": "HY1",
                                   "expiry": "31 Dec 2027"}),
    "second item typed": Seed(AMPOULES, "take_the_product@second",
                              seen={"product": "09520007304136", "lot": "CY1",
                                    "expiry": "31 Dec 2027"}),
    "finer lines": Seed(VIAL_FIRST, "choose_the_syringe",
                        seen={"syringe_size": "3", "graduation": "0.1"}),
    "first volume with its unit": Seed(VIAL_FIRST, "work_out_the_volume@first",
                                       seen={"own_volume": "0.5 mL"}),
    "mark with its unit": Seed(VIAL_FIRST, MARK, seen={"own_total": "1.3 mL"}),
    "known up to this strength": Seed(
        VIAL_FIRST, MARK, change=table(MOR, HAL, Where.SYRINGE, Judgement.COMPATIBLE,
                                       most=Concentration.parse("8 mg in 1.3 mL"))),
    "the row the other way round": Seed(
        AMPOULES, MARK, change=table(CYC, HYO, Where.SYRINGE, Judgement.COMPATIBLE)),
    "second label in other words": Seed(VIAL_FIRST, "read_the_label_again@second",
                                        seen={"read_strength": "10 mg/mL"}),
    "the same needle, by the unit's rule": Seed(
        VIAL_FIRST, GO_ON, seen={"between_needle": "the same needle"},
        change=settings(needle_between_vials="same")),
    "first volume read as one has it": Seed(VIAL_FIRST, FIRST_LOOK,
                                            seen={"checker_first_volume": "0.5 mL"}),
    "mark read with its unit": Seed(VIAL_FIRST, "set_the_dose", seen={"drawn_volume": "1.3 mL"}),
    "label in the other order": Seed(
        AMPOULES, STICK, seen={"label_drug": CYC, "label_dose": "50 mg",
                               "label_second_drug": HYO, "label_second_dose": "20 mg"}),
    "label by hand": Seed(AMPOULES, STICK, seen={"label_made": "written by hand"}),
    "second person, drug with a capital": Seed(VIAL_FIRST, SECOND_LOOK,
                                               seen={"checker_both": "Morphine"}),
    "at the bed in the other order": Seed(
        AMPOULES, "compare_at_the_bedside",
        seen={"bedside_drug": CYC, "bedside_dose": "50 mg", "bedside_second_drug": HYO,
              "bedside_second_dose": "20 mg"}),
    "within their time": Seed(AMPOULES, "give_the_dose", change=after(minutes=15)),
}  # fmt: skip

PACES = (5, 10, 20, 30)


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


@pytest.mark.parametrize("order_id", (AMPOULES, VIAL_FIRST))
@pytest.mark.parametrize("seconds", PACES)
@pytest.mark.parametrize("station", ("W7E-1", "W7E-2"))
def test_whole_right_mixtures_pass_without_a_refusal(
    order_id: str, seconds: int, station: str, tmp_path: Path
) -> None:
    right_through(order_id, station, seconds, tmp_path)


# -- the order of drawing --------------------------------------------------------------------------

# Taylor's Clinical Nursing Skills and teaching pages on insulin pairs, both secondary: a vial that
# others will use after goes first, then a vial, then an ampoule; clear goes before cloudy.
DRAWING = {
    ("glass_ampoule", "single_dose_vial"): True,
    ("single_dose_vial", "glass_ampoule"): False,
    ("glass_ampoule", "glass_ampoule"): False,
    ("single_dose_vial", "single_dose_vial"): False,
}


@pytest.mark.parametrize("first,then", DRAWING)
def test_a_vial_is_drawn_before_an_ampoule_whatever_the_order_names_first(
    first: str, then: str, tmp_path: Path
) -> None:
    scene = Scene(tmp_path, order_id=AMPOULES)
    product("09520007304129", container=first)(scene)
    product("09520007304136", container=then)(scene)
    scene.open()
    prep = scene.station.find(scene.id)
    assert prep.turned is DRAWING[first, then]
    drawn = [prep.of(item).order.drug for item in (FIRST, SECOND)]
    assert drawn == ([CYC, HYO] if prep.turned else [HYO, CYC])
    assert dict(prep.sources) == dict(
        zip((FIRST, SECOND), sorted((first, then), reverse=True), strict=True)
    )


def test_a_cloudy_liquid_is_drawn_after_a_clear_one(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=AMPOULES)
    product("09520007304129", suspension=True)(scene)
    scene.open()
    assert scene.station.find(scene.id).of(FIRST).order.drug == CYC


def test_each_drug_sees_its_own_order_and_readings(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(VIAL_FIRST, "set_the_dose", tmp_path)
    prep = scene.station.find(scene.id)
    first, then = prep.of(FIRST), prep.of(SECOND)
    assert (first.order.drug, then.order.drug) == (HAL, MOR)
    assert first.order.second is None and then.of("").order == prep.order
    codes = [v.latest("product").value.code for v in (first, then)]  # type: ignore[union-attr]
    assert codes == ["09520007304112", "09520007300114"]
    assert prep.latest("product") is None, "what is one drug's own is not the mixture's"
    assert first.latest("drawn_volume") is not None and then.latest("drawn_volume") is None
    assert then.latest("syringe_size") == prep.latest("syringe_size") is not None
    assert prep.items == (FIRST, SECOND)


def test_the_label_names_both_drugs_amounts_and_concentrations(
    shelf: Shelf, tmp_path: Path
) -> None:
    from checklist.label import label

    scene = shelf.at(AMPOULES, STICK, tmp_path)
    prep = scene.station.find(scene.id)
    spot = scene.station.rules_of(prep.workflow).layout.base(prep.place)
    made = label(prep, scene.station.surroundings(prep, scene.station.person(NURSE), spot))
    assert made.items["drug"] == f"{HYO} and {CYC}"
    assert made.items["dose"] == f"{HYO} 20 mg and {CYC} 50 mg"
    assert made.items["volume"] == "2 mL" and not made.missing
    assert made.items["concentration"] == f"{HYO} 10 mg/mL and {CYC} 25 mg/mL"
    began = prep.time_of("drawn_volume")
    assert began is not None and made.use_before is not None
    # The pair's own limit, 30 min in the demonstration table, is shorter than the unit's hour.
    assert (made.use_before - began).total_seconds() == 30 * 60


@pytest.mark.parametrize("step", ("fit_the_filter@second", "set_the_dose", STICK))
def test_after_a_break_either_container_says_which_dose_it_is(
    step: str, shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(AMPOULES, step, tmp_path)
    scene.station.interrupt(scene.id, "called away", NURSE)
    scene.station.resume(scene.id, NURSE)
    outcome = scene.attempt({"product_again": HALOPERIDOL})
    assert "product_mismatch" in {t.code for t in outcome.told}
    scene.station.remedy(scene.id, R.CALL_PHARMACIST, NURSE)
    outcome = scene.attempt()
    assert "product_mismatch" not in {t.code for t in outcome.told}


def test_what_was_opened_of_a_controlled_drug_is_accounted_for_by_its_own_content(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(VIAL_FIRST, STICK, tmp_path)
    scene.station.end(scene.id, "contamination", NURSE)
    scene.on()
    assert scene.place.startswith("account_for_both/")
    # One ampoule of 1 mL, 0.2 mL wasted before: 0.8 mL of the controlled drug are left.
    asked = {f.name for f in scene.station.screen(scene.id).fields}
    assert asked == {"discarded_second"}
    outcome = scene.attempt({"discarded_second": "1"})
    assert "cd_unaccounted" in {t.code for t in outcome.told}
    scene.station.remedy(scene.id, R.RECHECK, NURSE)
    scene.attempt({"discarded_second": "0.8"})
    outcome = scene.attempt({"witness_discarded_second": "0.7"}, by=COLLEAGUE)
    assert "cd_unaccounted" in {t.code for t in outcome.told}
    scene.station.remedy(scene.id, R.RECHECK, COLLEAGUE)
    outcome = scene.attempt({"witness_discarded_second": "0.8"}, by=COLLEAGUE)
    assert outcome.screen.prep.place == "discarded"


def test_a_part_that_was_given_counts_by_its_share(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(VIAL_FIRST, "give_the_dose", tmp_path)
    scene.attempt({"given_volume": "0.65"})
    scene.station.proceed(scene.id, "prescriber_knows", NURSE)
    scene.station.end(scene.id, "other", NURSE, note="patient taken to theatre")
    scene.on()
    # Half of 1.3 mL is given, so half of the 0.8 mL of the controlled drug.
    scene.attempt({"discarded_second": "0.4"})
    outcome = scene.attempt({"witness_discarded_second": "0.4"}, by=COLLEAGUE)
    assert outcome.screen.prep.place == "discarded"


def test_both_controlled_drugs_of_a_mixture_leave_the_stock(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=VIAL_FIRST)
    scene.change_unit(register={**scene.ward.unit.register, "09520007304112": 5})
    drug_named(HAL, controlled=True)(scene)
    scene.open()
    scene.to("set_the_dose@first")
    from checklist import register

    prep = scene.station.find(scene.id)
    rules = scene.station.rules_of(prep.workflow)
    told = [(prep.id, register.use(scene.station.entries(prep.id), rules))]
    left = register.booked(scene.ward.unit.register, told, own="")
    assert left["09520007304112"] == 4
    assert left["09520007300114"] == scene.ward.unit.register["09520007300114"] - 1


def test_a_mixture_of_drugs_that_come_in_nothing_to_draw_from_is_not_begun(
    tmp_path: Path,
) -> None:
    scene = Scene(tmp_path, order_id=AMPOULES)
    scene.change_order(second=Component(drug="paracetamol", dose=q("500 mg")))
    with pytest.raises(NotHere, match="none of the containers"):
        scene.open()
