"""Insulin pens: planted errors are caught where they belong, right answers pass.

The errors come from the hazard register (a pen shared, undated, of another strength, not primed,
dialled by clicks, pulled out too early) and from common practice.
"""

from __future__ import annotations

import csv
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from checklist import library
from checklist.order import HoldRule
from checklist.quantity import Concentration, Quantity
from checklist.verdict import Remedy
from tests.planted import (
    Seed,
    Shelf,
    after,
    both,
    caught,
    order,
    passed,
    product,
    right_through,
    settings,
    unit,
)

R = Remedy
CLEAR, CLOUDY = "ORD-305", "ORD-306"
ASPART, ASPART_200, ISOPHANE = "09520007303054", "09520007303061", "09520007303078"
SCAN_200 = "]d201095200073030611728063010IB2001"
ISOPHANE_SCAN = "]d201095200073030781728033110II7734"
UNITS = "{unit}"
GLUCOSE = HoldRule(what="blood glucose", unit="mmol/L", lowest=Quantity.of("4", "mmol/L"))

SEEDS = {
    # -- the item
    "twin insulin": Seed(
        CLEAR, "take_the_product", "product_mismatch", R.REPLACE_ITEM, {"product": ISOPHANE_SCAN}),
    "twin's name": Seed(
        CLEAR, "say_the_name", "lasa_not_confirmed", R.REPLACE_ITEM,
        {"name_on_label": "insulin isophane"}),
    "twice as strong": Seed(
        CLEAR, "take_the_product", "strength_mismatch", R.REPLACE_ITEM, {"product": SCAN_200}),
    "cloudy for clear": Seed(
        CLEAR, "take_the_product", "formulation_mismatch", R.REPLACE_ITEM,
        change=product(ASPART, form="suspension for injection")),
    "expired": Seed(
        CLEAR, "take_the_product", "product_expired", R.REPLACE_ITEM,
        {"product": ASPART, "lot": "IA1290", "expiry": "31 Oct 2026"}),
    "recalled": Seed(
        CLEAR, "take_the_product", "lot_recalled", R.QUARANTINE,
        change=unit(recalled=frozenset({f"{ASPART}/IA1290"}))),
    "lot not read": Seed(
        CLEAR, "take_the_product", "label_unreadable", R.REPLACE_ITEM,
        {"product": ASPART, "expiry": "31 Aug 2027"}),
    "clear one is hazy": Seed(
        CLEAR, "inspect_the_product", "appearance_abnormal", R.QUARANTINE,
        {"content_as_described": "n"}),
    "pen was frozen": Seed(
        CLEAR, "inspect_the_product", "storage_breach", R.QUARANTINE, {"kept_as_it_should": "n"}),
    "pen cracked": Seed(
        CLEAR, "inspect_the_product", "container_damaged", R.REPLACE_ITEM,
        {"container_whole": "n"}),
    # -- whose pen, and since when
    "no name at all": Seed(
        CLEAR, "read_the_pen", "pen_not_labelled", R.REPLACE_ITEM, {"name_is_on": "nowhere"}),
    "name on the cap only": Seed(
        CLEAR, "read_the_pen", "pen_not_labelled", R.REPLACE_ITEM,
        {"name_is_on": "on the cap only"}),
    "name not read": Seed(
        CLEAR, "read_the_pen", "pen_not_labelled", R.RECHECK, {"pen_identifier": None}),
    "another patient's pen": Seed(
        CLEAR, "read_the_pen", "pen_wrong_patient", R.REPLACE_ITEM,
        {"pen_identifier": "Marlow Quennell"}),
    "another patient's pen, used": Seed(
        CLEAR, "read_the_pen", "pen_wrong_patient", R.EVENT, {"pen_identifier": "30012936"}),
    "bed for a name": Seed(
        CLEAR, "read_the_pen", "pen_wrong_patient", R.REPLACE_ITEM, {"pen_identifier": "bed 4"}),
    "a like name": Seed(
        CLEAR, "read_the_pen", "pen_wrong_patient", R.REPLACE_ITEM,
        {"pen_identifier": "Corisande Welk"}),
    "no opened date": Seed(
        CLEAR, "read_the_pen", "in_use_date_missing", R.REPLACE_ITEM, {"opened_on": None}),
    "opened tomorrow": Seed(
        CLEAR, "read_the_pen", "in_use_date_missing", R.RECHECK, {"opened_on": "26 Nov 2026"}),
    "open for 29 days": Seed(
        CLEAR, "read_the_pen", "in_use_expired", R.REPLACE_ITEM, {"opened_on": "27 Oct 2026"}),
    "maker gives it two weeks": Seed(
        CLEAR, "read_the_pen", "in_use_expired", R.REPLACE_ITEM, {"opened_on": "10 Nov 2026"},
        change=product(ASPART, life_in_use=Quantity.of("14", "d"))),
    "pen counts in twos": Seed(
        CLEAR, "read_the_pen", "no_usable_scale", R.REPLACE_ITEM,
        change=both(product(ASPART, scale_step=Quantity.of("2", UNITS)),
                    order(dose=Quantity.of("11", UNITS))), early=True),
    "half a unit on a pen of whole ones": Seed(
        CLEAR, "read_the_pen", "no_usable_scale", R.CALL_PHARMACIST,
        change=order(dose=Quantity.of("11.5", UNITS)), early=True),
    "straight from the fridge": Seed(
        CLEAR, "read_the_pen", "too_cold", R.WAIT, {"warm": "n"}, tier="soft"),
    # -- made even
    "turned too few times": Seed(
        CLOUDY, "make_it_even", "not_resuspended", R.WAIT, {"moved_for": "10"}),
    "not turned over": Seed(
        CLOUDY, "make_it_even", "not_resuspended", R.WAIT, {"moved_how": "rolled"}),
    "shaken": Seed(
        CLOUDY, "make_it_even", "mix_method_wrong", R.QUARANTINE, {"moved_how": "shaken"}),
    "clumps at the bottom": Seed(
        CLOUDY, "make_it_even", "not_resuspended", R.REPLACE_ITEM, {"even": "n"}),
    # -- how much
    "amount taken from memory": Seed(
        CLEAR, "say_the_amount", "calculation_mismatch", R.RECHECK, {"own_amount": "10"}),
    "ten times too much": Seed(
        CLEAR, "say_the_amount", "calculation_mismatch", R.RECHECK, {"own_amount": "120"}),
    "prime counted in": Seed(
        CLEAR, "say_the_amount", "calculation_mismatch", R.RECHECK, {"own_amount": "14"}),
    "mL for units": Seed(
        CLEAR, "say_the_amount", "unit_mismatch", R.RECHECK, {"own_amount": "0.12 mL"}),
    "no own answer": Seed(
        CLEAR, "say_the_amount", "calculation_missing", R.RECHECK, {"own_amount": None}),
    "enough for the dose but not the prime": Seed(
        CLEAR, "say_the_amount", "pen_units_insufficient", R.REPLACE_ITEM, {"amount_left": "13"},
        tier="soft"),
    "nearly empty": Seed(
        CLOUDY, "say_the_amount", "pen_units_insufficient", R.REPLACE_ITEM, {"amount_left": "5"},
        tier="soft"),
    "second reading: other strength": Seed(
        CLEAR, "read_the_label_again", "strength_mismatch", R.REPLACE_ITEM,
        {"read_strength": "200 units/mL"}),
    "second reading: other insulin": Seed(
        CLEAR, "read_the_label_again", "product_mismatch", R.REPLACE_ITEM,
        {"read_drug": "insulin isophane"}),
    "second reading left out": Seed(
        CLEAR, "read_the_label_again", "label_read_missing", R.RECHECK, {"read_drug": None}),
    # -- needle, prime, window
    "hands not cleaned": Seed(
        CLEAR, "fit_the_pen_needle", "hand_hygiene_missing", R.RECHECK,
        {"hands_clean_to_open": "n"}),
    "seal not wiped": Seed(
        CLEAR, "fit_the_pen_needle", "stopper_not_disinfected", R.RECHECK, {"seal_wiped": "n"}),
    "needle from this morning": Seed(
        CLEAR, "fit_the_pen_needle", "pen_needle_not_new", R.REPLACE_ITEM, {"needle_new": "n"}),
    "inner cap left on": Seed(
        CLEAR, "fit_the_pen_needle", "pen_inner_cap_on", R.RECHECK, {"caps_off": "n"}),
    "drawn out with a syringe": Seed(
        CLEAR, "fit_the_pen_needle", "device_used_as_vial", R.DISCARD_RESTART,
        {"not_drawn_from": "n"}),
    "not primed": Seed(
        CLEAR, "prime_the_pen", "pen_prime_failed", R.RECHECK, {"primed": "0"}),
    "primed with one": Seed(
        CLEAR, "prime_the_pen", "pen_prime_failed", R.RECHECK, {"primed": "1"}),
    "its leaflet asks for three": Seed(
        CLEAR, "prime_the_pen", "pen_prime_failed", R.RECHECK, {"primed": "2"},
        change=product(ASPART, prime=Quantity.of("3", UNITS))),
    "the unit asks for three": Seed(
        CLEAR, "prime_the_pen", "pen_prime_failed", R.RECHECK, {"primed": "2"},
        change=settings(pen_prime_units=3)),
    "no drop": Seed(
        CLEAR, "prime_the_pen", "pen_prime_failed", R.REPLACE_ITEM, {"drop_seen": "n"}),
    "one click too many": Seed(
        CLEAR, "dial_the_dose", "dose_window_mismatch", R.ADJUST, {"window": "13"}),
    "one click too few": Seed(
        CLEAR, "dial_the_dose", "dose_window_mismatch", R.ADJUST, {"window": "11"}),
    "prime left on the dial": Seed(
        CLEAR, "dial_the_dose", "dose_window_mismatch", R.ADJUST, {"window": "14"}),
    "figures turned round": Seed(
        CLEAR, "dial_the_dose", "dose_window_mismatch", R.ADJUST, {"window": "21"}),
    "window in mL": Seed(
        CLEAR, "dial_the_dose", "dose_window_mismatch", R.ADJUST, {"window": "0.12 mL"}),
    "window not read": Seed(
        CLEAR, "dial_the_dose", "volume_not_recorded", R.RECHECK, {"window": None}),
    "second person reads another number": Seed(
        CLEAR, "second_person_reads_the_device", "double_check_disagrees", R.RECHECK,
        {"checker_window": "21"}),
    "second person reads another strength": Seed(
        CLEAR, "second_person_reads_the_device", "double_check_disagrees", R.RECHECK,
        {"checker_strength": "200 units/mL"}),
    "second person reads another name": Seed(
        CLEAR, "second_person_reads_the_device", "double_check_disagrees", R.CALL_PHARMACIST,
        {"checker_label_identifier": "30012088"}),
    "second person was told": Seed(
        CLEAR, "second_person_reads_the_device", "double_check_not_independent", R.SECOND_PERSON,
        {"second_answer_own": "n"}),
    "second person leaves a gap": Seed(
        CLEAR, "second_person_reads_the_device", "double_check_missing", R.RECHECK,
        {"checker_window": None}),
    "preparer reads it twice": Seed(
        CLEAR, "second_person_reads_the_device", "checker_same_person", R.SECOND_PERSON,
        by="RN-12"),
    # -- at the bed
    "wrong wristband": Seed(
        CLEAR, "identify_the_patient", "patient_id_mismatch", R.RECHECK,
        {"first_identifier": "30012936"}),
    "dial knocked on the way": Seed(
        CLEAR, "compare_at_the_bedside", "bedside_mismatch", R.RECHECK,
        {"bedside_dose": "16 units"}),
    "glucose too low": Seed(
        CLEAR, "look_at_the_value", "hold_parameter_met", R.CALL_PRESCRIBER,
        {"assessment": "3.4"}),
    "glucose from breakfast": Seed(
        CLEAR, "look_at_the_value", "assessment_stale", R.RECHECK, {"assessed_at": "08:10"},
        tier="soft"),
    "glucose time of later": Seed(
        CLEAR, "look_at_the_value", "assessment_stale", R.RECHECK, {"assessed_at": "23:30"},
        tier="soft"),
    "meal not looked at": Seed(
        CLEAR, "look_at_the_value", "assessment_missing", R.RECHECK, {"meal_known": "n"},
        tier="soft"),
    "pulled out at once": Seed(
        CLEAR, "give_with_the_device", "hold_time_short", R.RECHECK, {"held_for": "3"},
        tier="soft"),
    "leaflet asks for six": Seed(
        CLOUDY, "give_with_the_device", "hold_time_short", R.RECHECK, {"held_for": "5"},
        tier="soft"),
    "window stops before zero": Seed(
        CLEAR, "give_with_the_device", "dose_incomplete", R.CALL_PRESCRIBER, {"all_given": "n"}),
    "drug runs down the skin": Seed(
        CLEAR, "give_with_the_device", "dose_incomplete", R.STOP, {"no_leak": "n"}),
    "patient turns grey": Seed(
        CLEAR, "give_with_the_device", "reaction_during", R.EVENT, {"no_reaction": "n"}),
    "needle left on the pen": Seed(
        CLEAR, "dispose", "needle_left_on_pen", R.RECHECK, {"kept_part": "n"}),
    "needle on the locker": Seed(
        CLEAR, "dispose", "sharp_not_disposed", R.RECHECK, {"sharp_in_box": "n"}),
    "recapped with two hands": Seed(
        CLEAR, "dispose", "recap_two_handed", R.REPLACE_ITEM, {"no_recapping": "n"}),
}  # fmt: skip

RIGHT_ONES = {
    "code and lot typed": Seed(
        CLEAR, "take_the_product",
        seen={"product": ASPART, "lot": "IA1290", "expiry": "31 Jan 2027"}),
    "order without a strength": Seed(
        CLEAR, "take_the_product", change=order(strength=None), early=True),
    "the stronger pen where no strength is ordered": Seed(
        CLEAR, "take_the_product", seen={"product": SCAN_200}, change=order(strength=None),
        early=True),
    "ordered strength written out": Seed(
        CLEAR, "take_the_product", change=order(strength=Concentration.parse("300 units in 3 mL")),
        early=True),
    "name in capitals": Seed(
        CLEAR, "say_the_name", seen={"name_on_label": "INSULIN ASPART"}),
    "record number on the barrel": Seed(
        CLEAR, "read_the_pen", seen={"pen_identifier": "30014077"}),
    "family name first": Seed(
        CLEAR, "read_the_pen", seen={"pen_identifier": "WHELK, Corisande"}),
    "birth date on the barrel": Seed(
        CLEAR, "read_the_pen", seen={"pen_identifier": "11 Apr 1981"}),
    "new pen, dated today": Seed(CLEAR, "read_the_pen", seen={"opened_on": "25 Nov 2026"}),
    "last day of its use": Seed(CLEAR, "read_the_pen", seen={"opened_on": "28 Oct 2026"}),
    "a longer time of use": Seed(
        CLEAR, "read_the_pen", seen={"opened_on": "20 Oct 2026"},
        change=product(ASPART, life_in_use=Quantity.of("42", "d"))),
    "pen of half units": Seed(
        CLEAR, "read_the_pen",
        change=both(product(ASPART, scale_step=Quantity.of("0.5", UNITS)),
                    order(dose=Quantity.of("11.5", UNITS))), early=True),
    "pen of double steps, even dose": Seed(
        CLEAR, "read_the_pen", change=product(ASPART, scale_step=Quantity.of("2", UNITS))),
    "turned more than asked": Seed(CLOUDY, "make_it_even", seen={"moved_for": "30"}),
    "turned just enough": Seed(CLOUDY, "make_it_even", seen={"moved_for": "20"}),
    "another leaflet: ten turns": Seed(
        CLOUDY, "make_it_even", seen={"moved_for": "10"},
        change=product(ISOPHANE, resuspend_for=Quantity.of("10", "1"))),
    "only rolled, as its leaflet has it": Seed(
        CLOUDY, "make_it_even", seen={"moved_how": "rolled"},
        change=product(ISOPHANE, resuspend_how="rolled")),
    "bare number": Seed(CLEAR, "say_the_amount", seen={"own_amount": "12"}),
    "number with its unit": Seed(CLEAR, "say_the_amount", seen={"own_amount": "12 units"}),
    "just enough left": Seed(CLEAR, "say_the_amount", seen={"amount_left": "14"}),
    "full pen": Seed(CLEAR, "say_the_amount", seen={"amount_left": "300"}),
    "strength as the box has it": Seed(
        CLEAR, "read_the_label_again", seen={"read_strength": "300 units in 3 mL"}),
    "primed twice as much": Seed(CLEAR, "prime_the_pen", seen={"primed": "4"}),
    "primed with two": Seed(CLEAR, "prime_the_pen", seen={"primed": "2"}),
    "its leaflet asks for one": Seed(
        CLEAR, "prime_the_pen", seen={"primed": "1"},
        change=product(ASPART, prime=Quantity.of("1", UNITS))),
    "window as a bare number": Seed(CLEAR, "dial_the_dose", seen={"window": "12"}),
    "window with its unit": Seed(CLEAR, "dial_the_dose", seen={"window": "12 units"}),
    "second person reads the name": Seed(
        CLEAR, "second_person_reads_the_device",
        seen={"checker_label_identifier": "Corisande Whelk"}),
    "second person writes the box's strength": Seed(
        CLEAR, "second_person_reads_the_device", seen={"checker_strength": "300 units in 3 mL"}),
    "band scanned": Seed(
        CLEAR, "identify_the_patient", seen={"first_identifier": "]d28018952000000000003218"}),
    "glucose at the bound": Seed(CLEAR, "look_at_the_value", seen={"assessment": "4"}),
    "glucose with a decimal": Seed(CLEAR, "look_at_the_value", seen={"assessment": "8.6"}),
    "glucose measured half an hour ago": Seed(
        CLEAR, "look_at_the_value", seen={"assessed_at": "14:00"}, change=after(minutes=20)),
    "no limit on its age": Seed(
        CLEAR, "look_at_the_value", seen={"assessed_at": "09:00"},
        change=order(hold=GLUCOSE), early=True),
    "the unit asks for one": Seed(
        CLEAR, "prime_the_pen", seen={"primed": "1"}, change=settings(pen_prime_units=1)),
    "the unit holds for six": Seed(
        CLEAR, "give_with_the_device", seen={"held_for": "6"},
        change=settings(pen_hold_seconds=6)),
    "held longer": Seed(CLEAR, "give_with_the_device", seen={"held_for": "15"}),
    "held six, as its leaflet has it": Seed(
        CLOUDY, "give_with_the_device", seen={"held_for": "6"}),
}  # fmt: skip

PACES = (5, 20, 45)


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


@pytest.mark.parametrize("order_id", (CLEAR, CLOUDY))
@pytest.mark.parametrize("seconds", PACES)
@pytest.mark.parametrize("station", ("W7E-1", "W7E-2"))
def test_whole_right_preparations_pass_without_a_refusal(
    order_id: str, station: str, seconds: int, tmp_path: Path
) -> None:
    right_through(order_id, station, seconds, tmp_path)


# -- against figures from outside ----------------------------------------------------------------


def published(step: str) -> str:
    """The value of a step in the published table of pen technique; its source stands beside it."""
    with (Path(__file__).parent / "data" / "insulin_pen.csv").open(encoding="utf-8") as table:
        return next(row["value"] for row in csv.DictReader(table) if row["step"].startswith(step))


def test_what_is_shipped_for_priming_and_holding_is_the_published_technique() -> None:
    # Frid AH et al., Mayo Clin Proc 2016;91(9):1231-55, as given on teaching pages.
    shipped = library.settings().in_force({})
    assert published("prime").startswith(f"{shipped['pen_prime_units']} units, needle up")
    assert f"{shipped['pen_hold_seconds']} s in technique guidance" in published("hold")


def test_one_volume_of_two_strengths_is_two_doses() -> None:
    # 8 units of 100/mL are 0.08 mL, and 0.08 mL of 300/mL are 24 units (handbook example).
    usual, strong = (Concentration.parse(f"{n} units/mL") for n in (100, 300))
    volume = usual.volume_for(Quantity.of(8, UNITS))
    assert volume == Quantity.of("0.08", "mL")
    assert strong.amount_in(volume) == Quantity.of(24, UNITS)


@pytest.mark.parametrize(
    ("opened", "last"),
    [("10 Feb 2026", date(2026, 3, 10)), ("10 Feb 2024", date(2024, 3, 9))],
)
def test_four_weeks_in_use_are_counted_over_the_end_of_february(
    opened: str, last: date, shelf: Shelf, tmp_path: Path
) -> None:
    # Handbook example: opened 10 February, 28 days, opened day 0; in a leap year a day earlier.
    for day, kind in ((last, "passed"), (last + timedelta(days=1), "refused")):
        folder = tmp_path / kind
        folder.mkdir()
        scene = shelf.at(CLEAR, "read_the_pen", folder)
        scene.now = datetime.combine(day, scene.now.timetz())
        assert scene.attempt({"opened_on": opened}).entry.event.kind == kind
        assert ("in_use_expired" in {t.code for t in scene.outcomes[-1].told}) == (
            kind == "refused"
        )
