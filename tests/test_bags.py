"""Bags, bottles, burettes, pump syringes and ready-mixed bags: errors are caught, right ones pass.

The errors come from the hazard register (a wrong or look-alike fluid, another volume, an addition
to a running bag, a layer that was not mixed, a rate set wrongly, air in the line) and from
published error types for infusions. The sums are held against published worked examples.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from checklist.compatibility import Judgement, Pair, Where, key
from checklist.formulary import DoseRange, InfusionLimits
from checklist.infusion import Plan
from checklist.label_parts import of_fluid
from checklist.order import Infusion
from checklist.preparation import Preparation
from checklist.quantity import Concentration, Quantity
from checklist.verdict import Remedy
from tests.planted import (
    Act,
    Seed,
    Shelf,
    after,
    caught,
    drug,
    order,
    passed,
    product,
    right_through,
    settings,
    unit,
)
from tests.scene import COLLEAGUE, NURSE, TRAINEE, Scene, demo_ward
from tests.wards import DEMO, FORMULARY, ORDERS, UNIT, copied, edit, faults_of, load
from tests.way_answers import (
    GLUCOSE_50_PERCENT,
    GLUCOSE_250,
    POTASSIUM,
    SALINE_100,
    SALINE_BOTTLE,
    made,
)

TABLE = "compatibility.toml"
R = Remedy
POTASSIUM_BAG, GRAVITY, FIRST_OUT = "ORD-401", "ORD-402", "ORD-403"
BOTTLE, BURETTE, PUMP, PREMIX = "ORD-404", "ORD-405", "ORD-406", "ORD-407"
EVERY = (POTASSIUM_BAG, GRAVITY, FIRST_OUT, BOTTLE, BURETTE, PUMP, PREMIX)


def q(text: str) -> Quantity:
    return Quantity.parse(text)


def infusion(**changes: object) -> Act:
    """Rewrite how the dose runs in."""

    def act(scene: Scene) -> None:
        run = scene.whole.infusion
        assert run is not None
        scene.change_order(infusion=replace(run, **changes))  # type: ignore[arg-type]

    return act


def table(one: str, other: str, where: Where, judgement: Judgement | None, **more: Any) -> Act:
    """Change what the ward's table has of two things; None takes the row out."""

    def act(scene: Scene) -> None:
        kept = scene.ward.compatibility
        pairs = dict(kept.pairs)
        pairs.pop(key(one, other, where), None)
        if judgement is not None:
            pairs[key(one, other, where)] = Pair(
                drug=one, other=other, where=where, judgement=judgement, source="a test", **more
            )
        scene._set(replace(scene.ward, compatibility=replace(kept, pairs=pairs)))

    return act


def limits(**figures: object) -> Act:
    """Change what holds for the drug in a carrier fluid."""
    return drug(infusion=InfusionLimits(**figures))  # type: ignore[arg-type]


FLUID = "take_the_fluid@carrier"
LOOK = "look_at_the_fluid@carrier"
SUM, RATE = "work_out_the_mixture", "work_out_the_rate"
SECOND, PORT, ADD = "second_person_works_out_the_infusion", "make_the_port_ready", "add_the_drug"
BLEND, SEE, STICK = "mix_it", "look_at_the_mixture", "label_the_container"
FINISHED, LINE = "second_person_reads_the_container", "prime_the_line"
SET, SET_AGAIN, START_IT = "set_the_rate", "second_person_reads_the_rate", "start_it"

SEEDS = {
    # -- the order
    "no fluid ordered": Seed(POTASSIUM_BAG, "read_the_order", "order_incomplete",
                             R.CALL_PRESCRIBER, change=infusion(carrier=""), early=True),
    "no volume ordered": Seed(POTASSIUM_BAG, "read_the_order", "order_incomplete",
                              R.CALL_PRESCRIBER, change=infusion(volume=None), early=True),
    "neither time nor rate": Seed(POTASSIUM_BAG, "read_the_order", "order_incomplete",
                                  R.CALL_PRESCRIBER, change=infusion(duration=None), early=True),
    "time and rate disagree": Seed(POTASSIUM_BAG, "read_the_order", "order_ambiguous",
                                   R.CALL_PRESCRIBER, change=infusion(rate=q("250 mL/h")),
                                   early=True),
    "a rate that reads two ways": Seed(POTASSIUM_BAG, "read_the_order", "order_ambiguous",
                                       R.CALL_PRESCRIBER,
                                       change=order(unreadable={"rate": "12,5 mL/h"}),
                                       early=True),
    "a concentrate with no fluid at all": Seed(POTASSIUM_BAG, "take_the_product",
                                               "concentrate_undiluted", R.REPLACE_ITEM,
                                               change=order(infusion=None), early=True),
    # -- the fluid
    "another fluid": Seed(POTASSIUM_BAG, FLUID, "carrier_mismatch", R.REPLACE_ITEM,
                          {"product": GLUCOSE_250}),
    "ten times as strong": Seed(FIRST_OUT, FLUID, "carrier_mismatch", R.REPLACE_ITEM,
                                {"product": GLUCOSE_50_PERCENT}),
    "a bottle for a bag": Seed(GRAVITY, FLUID, "carrier_mismatch", R.CALL_PHARMACIST,
                               {"product": SALINE_BOTTLE}),
    "a bag for a bottle": Seed(BOTTLE, FLUID, "carrier_mismatch", R.REPLACE_ITEM,
                               {"product": SALINE_100}),
    "the drug for the fluid": Seed(POTASSIUM_BAG, FLUID, "carrier_mismatch", R.STOP,
                                   {"product": POTASSIUM}),
    "a smaller bag": Seed(POTASSIUM_BAG, FLUID, "bag_volume_mismatch", R.REPLACE_ITEM,
                          {"product": SALINE_100}),
    "fluid out of date": Seed(POTASSIUM_BAG, FLUID, "product_expired", R.REPLACE_ITEM,
                              {"product": "09520007304013", "lot": "SC1",
                               "expiry": "30 Sep 2026"}),
    "fluid without a date": Seed(POTASSIUM_BAG, FLUID, "expiry_unreadable", R.REPLACE_ITEM,
                                 {"product": "09520007304013", "lot": "SC1"}),
    "fluid recalled": Seed(POTASSIUM_BAG, FLUID, "lot_recalled", R.QUARANTINE,
                           change=unit(recalled=frozenset({"09520007304013/SC4013"}))),
    "fluid not in the formulary": Seed(POTASSIUM_BAG, FLUID, "container_type_unknown",
                                       R.REPLACE_ITEM,
                                       {"product": "09520007399996", "lot": "A1",
                                        "expiry": "31 Dec 2027"}),
    "bag leaks": Seed(POTASSIUM_BAG, LOOK, "container_damaged", R.QUARANTINE,
                      {"fluid_whole": "n"}),
    "fluid cloudy": Seed(POTASSIUM_BAG, LOOK, "appearance_abnormal", R.QUARANTINE,
                         {"fluid_clear": "n"}),
    "bag used for somebody before": Seed(POTASSIUM_BAG, LOOK, "common_source_bottle",
                                         R.REPLACE_ITEM, {"fluid_unused": "n"}),
    "bottle lost its vacuum": Seed(BOTTLE, LOOK, "vacuum_lost", R.QUARANTINE,
                                   {"vacuum_kept": "n"}),
    # -- the sums
    "drug's own volume left out": Seed(POTASSIUM_BAG, SUM, "calculation_mismatch", R.RECHECK,
                                       {"own_final_volume": "500"}),
    "concentration ten times": Seed(POTASSIUM_BAG, SUM, "calculation_mismatch", R.RECHECK,
                                    {"own_final_strength": "392 mmol/L"}),
    "amount for a volume": Seed(POTASSIUM_BAG, SUM, "unit_mismatch", R.RECHECK,
                                {"own_final_volume": "20 mmol"}),
    "no answer of one's own": Seed(POTASSIUM_BAG, SUM, "calculation_missing", R.RECHECK,
                                   {"own_final_volume": None}),
    "too strong for a vein": Seed(POTASSIUM_BAG, SUM, "final_concentration_out_of_range",
                                  R.CALL_PHARMACIST, change=limits(most=Concentration.parse(
                                      "30 mmol/L"))),
    "too weak": Seed(FIRST_OUT, SUM, "final_concentration_out_of_range", R.CALL_PRESCRIBER,
                     change=limits(least=Concentration.parse("1.5 mg/mL"), overfill_matters=True)),
    "overfill left out": Seed(FIRST_OUT, SUM, "overfill_not_considered", R.RECHECK,
                              {"overfill": "left out of the sum"}, tier="soft"),
    "drug and fluid do not go together": Seed(
        POTASSIUM_BAG, SUM, "incompatible", R.CALL_PHARMACIST,
        change=table("potassium chloride", "sodium chloride", Where.BAG,
                     Judgement.INCOMPATIBLE)),
    "nobody has looked": Seed(POTASSIUM_BAG, SUM, "compatibility_unknown", R.CALL_PHARMACIST,
                              change=table("potassium chloride", "sodium chloride", Where.BAG,
                                           None)),
    "somebody looked and found nothing": Seed(
        BOTTLE, SUM, "compatibility_unknown", R.STOP,
        change=table("gentamicin", "sodium chloride", Where.BAG, Judgement.NO_DATA)),
    "known only for weaker mixtures": Seed(
        POTASSIUM_BAG, SUM, "compatibility_unknown", R.CALL_PHARMACIST,
        change=table("potassium chloride", "sodium chloride", Where.BAG, Judgement.COMPATIBLE,
                     most=Concentration.parse("20 mmol/L"))),
    "the bag takes the drug up": Seed(
        FIRST_OUT, SUM, "incompatible", R.CALL_PHARMACIST,
        change=table("amiodarone", "soft bag", Where.BAG, Judgement.INCOMPATIBLE)),
    "four packages": Seed(FIRST_OUT, SUM, "components_over_limit", R.CALL_PHARMACIST,
                          change=unit(packages_most=2), tier="soft"),
    "rate of the label's volume": Seed(POTASSIUM_BAG, RATE, "rate_mismatch", R.ADJUST,
                                       {"own_rate": "125 mL/h"}),
    "millilitres a minute": Seed(POTASSIUM_BAG, RATE, "rate_mismatch", R.SECOND_PERSON,
                                 {"own_rate": "2.1 mL/h"}),
    "a volume for a rate": Seed(POTASSIUM_BAG, RATE, "unit_mismatch", R.RECHECK,
                                {"own_rate": "127.5 mL"}),
    "no rate of one's own": Seed(POTASSIUM_BAG, RATE, "calculation_missing", R.RECHECK,
                                 {"own_rate": None}),
    "drops of another set": Seed(GRAVITY, RATE, "rate_mismatch", R.ADJUST,
                                 {"drop_factor": "60"}),
    "drops rounded down": Seed(BOTTLE, RATE, "rate_mismatch", R.ADJUST, {"own_rate": "203 mL/h"}),
    "no drop factor": Seed(GRAVITY, RATE, "entry_missing", R.RECHECK, {"drop_factor": None}),
    "hours for minutes by weight": Seed(PUMP, RATE, "rate_mismatch", R.CALL_PRESCRIBER,
                                        {"own_rate": "0.1 mL/h"}),
    "faster than the drug may run": Seed(POTASSIUM_BAG, RATE, "rate_above_limit",
                                         R.CALL_PRESCRIBER, change=limits(
                                             rate_most=q("4 mmol/h"))),
    "faster than each kg may have": Seed(PUMP, RATE, "rate_above_limit", R.STOP,
                                         change=limits(rate_most=q("0.05 microgram/kg/min"))),
    # -- the second person
    "second fluid differs": Seed(POTASSIUM_BAG, SECOND, "double_check_disagrees", R.RECHECK,
                                 {"checker_carrier": "glucose"}),
    "second volume differs": Seed(POTASSIUM_BAG, SECOND, "double_check_disagrees", R.RECHECK,
                                  {"checker_final_volume": "500"}),
    "second rate differs": Seed(POTASSIUM_BAG, SECOND, "double_check_disagrees",
                                R.CALL_PHARMACIST, {"checker_rate": "125 mL/h"}),
    "second rate missing": Seed(POTASSIUM_BAG, SECOND, "double_check_missing", R.SECOND_PERSON,
                                {"checker_rate": None}),
    "second person was told": Seed(POTASSIUM_BAG, SECOND, "double_check_not_independent",
                                   R.SECOND_PERSON, {"infusion_unknown": "n"}),
    "second person is the first": Seed(POTASSIUM_BAG, SECOND, "checker_same_person",
                                       R.SECOND_PERSON, by=NURSE),
    "second person in training": Seed(POTASSIUM_BAG, SECOND, "checker_not_eligible",
                                      R.SECOND_PERSON, by=TRAINEE),
    # -- adding and mixing
    "added to a running bag": Seed(POTASSIUM_BAG, PORT, "added_to_running_bag", R.REPLACE_ITEM,
                                   {"bag_state": "hanging and running"}),
    "taken down, and the unit says never": Seed(
        POTASSIUM_BAG, PORT, "added_to_running_bag", R.DISCARD_RESTART,
        {"bag_state": "clamped and taken down from its line"}),
    "port not wiped": Seed(POTASSIUM_BAG, PORT, "port_not_disinfected", R.RECHECK,
                           {"port_clean": "n"}),
    "hands not cleaned to add": Seed(POTASSIUM_BAG, PORT, "hand_hygiene_missing", R.RECHECK,
                                     {"hands_clean_to_add": "n"}),
    "less drawn out than goes in": Seed(FIRST_OUT, PORT, "bag_volume_mismatch", R.RECHECK,
                                        {"removed_volume": "3"}),
    "what was drawn out not read": Seed(FIRST_OUT, PORT, "entry_missing", R.RECHECK,
                                        {"removed_volume": None}),
    "through the wall": Seed(POTASSIUM_BAG, ADD, "bag_punctured", R.DISCARD_RESTART,
                             {"through_the_port": "n"}),
    "needle touched": Seed(POTASSIUM_BAG, ADD, "key_part_touched", R.DISCARD_RESTART,
                           {"tip_still_clean": "n"}),
    "needle left lying": Seed(POTASSIUM_BAG, ADD, "sharp_not_disposed", R.RECHECK,
                              {"sharp_in_box": "n"}),
    "recapped with two hands": Seed(POTASSIUM_BAG, ADD, "recap_two_handed", R.EVENT,
                                    {"no_recapping": "n"}),
    "not mixed at all": Seed(POTASSIUM_BAG, BLEND, "mixing_not_done", R.RECHECK,
                             {"turned_over": "0"}),
    "mixed too little for potassium": Seed(POTASSIUM_BAG, BLEND, "mixing_not_done", R.RECHECK,
                                           {"turned_over": "5"}),
    "mixed too little": Seed(GRAVITY, BLEND, "mixing_not_done", R.RECHECK, {"turned_over": "4"}),
    "haze after mixing": Seed(POTASSIUM_BAG, SEE, "appearance_abnormal", R.DISCARD_RESTART,
                              {"mixture_clear": "n"}),
    "a layer at the port": Seed(POTASSIUM_BAG, SEE, "mixing_not_done", R.RECHECK,
                                {"no_layer": "n"}),
    "port leaks": Seed(POTASSIUM_BAG, SEE, "container_damaged", R.QUARANTINE, {"no_leak": "n"}),
    # -- the finished container
    "other fluid on the label": Seed(POTASSIUM_BAG, STICK, "label_mismatch", R.RECHECK,
                                     {"label_carrier": "glucose"}),
    "label's volume without the drug": Seed(POTASSIUM_BAG, STICK, "label_mismatch", R.RECHECK,
                                            {"label_final_volume": "500"}),
    "label's concentration ten times": Seed(POTASSIUM_BAG, STICK, "label_mismatch", R.RECHECK,
                                            {"label_final_strength": "0.392 mmol/mL"}),
    "fluid missing on the label": Seed(POTASSIUM_BAG, STICK, "label_incomplete", R.RECHECK,
                                       {"label_carrier": None}),
    "put down without its label": Seed(POTASSIUM_BAG, STICK, "label_missing", R.DISCARD_RESTART,
                                       {"stuck_at_once": "n"}),
    "label over the print": Seed(POTASSIUM_BAG, STICK, "label_covers_scale", R.RECHECK,
                                 {"print_visible": "n"}, tier="soft"),
    "second reads another concentration": Seed(
        POTASSIUM_BAG, FINISHED, "double_check_disagrees", R.RECHECK,
        {"checker_bag_strength": "4 mmol/L"}),
    "second reads another patient": Seed(POTASSIUM_BAG, FINISHED, "double_check_disagrees",
                                         R.RECHECK, {"checker_bag_identifier": "30012415"}),
    "second was told the label": Seed(POTASSIUM_BAG, FINISHED, "double_check_not_independent",
                                      R.SECOND_PERSON, {"container_unknown": "n"}),
    # -- the line
    "air in the line": Seed(POTASSIUM_BAG, LINE, "air_in_line", R.ADJUST, {"line_full": "n"}),
    "vented set on a bag": Seed(POTASSIUM_BAG, LINE, "vent_not_allowed", R.REPLACE_ITEM,
                                {"set_kind": "vented set"}),
    "plain set on a bottle": Seed(BOTTLE, LINE, "vent_missing", R.REPLACE_ITEM,
                                  {"set_kind": "plain set"}, tier="soft"),
    "slack in the pump": Seed(PUMP, LINE, "start_up_slack", R.ADJUST, {"slack_taken_up": "n"},
                              tier="soft"),
    # -- at the bed
    "rate set ten times": Seed(POTASSIUM_BAG, SET, "rate_mismatch", R.ADJUST,
                               {"set_rate": "1275 mL/h"}),
    "rate in another unit": Seed(POTASSIUM_BAG, SET, "rate_mismatch", R.ADJUST,
                                 {"set_rate": "127.5 mL"}),
    "a drug in the line that is against it": Seed(POTASSIUM_BAG, SET, "line_incompatible",
                                                  R.STOP, {"in_the_line": "furosemide"}),
    "a drug in the line nobody looked up": Seed(POTASSIUM_BAG, SET, "line_incompatible",
                                                R.CALL_PHARMACIST, {"in_the_line": "morphine"}),
    "hangs longer than it lasts": Seed(POTASSIUM_BAG, SET, "hang_time_due", R.CALL_PHARMACIST,
                                       change=limits(life=q("2 hours")), tier="soft"),
    "pump set for another size": Seed(PUMP, SET, "pump_syringe_type_mismatch", R.ADJUST,
                                      {"pump_size": "20"}),
    "pump set for another make": Seed(PUMP, SET, "pump_syringe_type_mismatch", R.ADJUST,
                                      {"pump_make": "n"}),
    "second reads another rate": Seed(POTASSIUM_BAG, SET_AGAIN, "double_check_disagrees",
                                      R.RECHECK, {"checker_set_rate": "12.75 mL/h"}),
    "does not run as set": Seed(POTASSIUM_BAG, START_IT, "speed_not_as_ordered", R.RECHECK,
                                {"speed_kept": "n"}, tier="soft"),
    "reaction at the start": Seed(POTASSIUM_BAG, START_IT, "reaction_during", R.EVENT,
                                  {"no_reaction": "n"}),
    "no flush planned": Seed(BURETTE, START_IT, "flush_missing", R.RECHECK,
                             {"flush_planned": "n"}, tier="soft"),
    "hung an hour late": Seed(POTASSIUM_BAG, START_IT, "preparation_time_exceeded",
                              R.DISCARD_RESTART, change=after(minutes=61)),
    # -- burette and pump syringe
    "another drug in the chamber": Seed(BURETTE, "make_the_chamber_ready", "burette_not_empty",
                                        R.WAIT, {"chamber": "another drug"}),
    "unknown fluid in the chamber": Seed(BURETTE, "make_the_chamber_ready", "burette_not_empty",
                                         R.REPLACE_ITEM, {"chamber": "unknown fluid"}),
    "inlet open": Seed(BURETTE, "make_the_chamber_ready", "burette_inlet_open", R.ADJUST,
                       {"inlet_closed": "n"}, tier="soft"),
    "chamber filled on top of the drug": Seed(BURETTE, "read_the_whole_volume",
                                              "bag_volume_mismatch", R.RECHECK,
                                              {"made_up_volume": "50.75"}),
    "chamber not read": Seed(BURETTE, "read_the_whole_volume", "volume_not_recorded", R.RECHECK,
                             {"made_up_volume": None}),
    "pump's syringe too small": Seed(PUMP, "draw_the_fluid", "syringe_too_small",
                                     R.REPLACE_ITEM, {"pump_syringe_size": "20"}),
    "no luer lock": Seed(PUMP, "draw_the_fluid", "wrong_syringe_kind", R.REPLACE_ITEM,
                         {"pump_luer_lock": "n"}),
    "made up past the mark": Seed(PUMP, "read_the_whole_volume", "bag_volume_mismatch",
                                  R.DISCARD_RESTART, {"made_up_volume": "52"}),
    # -- the ready-mixed bag
    "somebody added to it": Seed(PREMIX, "look_at_the_bag", "premix_has_additive",
                                 R.DISCARD_RESTART, {"nothing_added": "n"}),
    "chambers not mixed": Seed(PREMIX, "look_at_the_bag", "chambers_not_mixed", R.RECHECK,
                               {"chambers_mixed": "n"},
                               change=product("09520007304105", chambers=True), early=True),
    "port seal broken": Seed(PREMIX, "look_at_the_bag", "seal_broken", R.QUARANTINE,
                             {"port_seals_whole": "n"}),
    "overwrap leaks": Seed(PREMIX, "look_at_the_bag", "container_damaged", R.QUARANTINE,
                           {"overwrap_off": "n"}),
    "the bag holds twice the dose": Seed(PREMIX, "look_at_the_bag", "strength_mismatch",
                                         R.CALL_PHARMACIST, change=order(dose=q("20 mmol")),
                                         early=True),
    "a concentrate for the ready bag": Seed(PREMIX, "take_the_product",
                                            "container_type_mismatch", R.REPLACE_ITEM,
                                            {"product": POTASSIUM}),
}  # fmt: skip

RIGHT_ANSWERS = {
    "rate and time both, agreeing": Seed(POTASSIUM_BAG, "read_the_order",
                                         change=infusion(rate=q("125 mL/h")), early=True),
    "fluid typed": Seed(POTASSIUM_BAG, FLUID,
                        seen={"product": "09520007304013", "lot": "SC1",
                              "expiry": "30 Sep 2028"}),
    "fluid expires today": Seed(POTASSIUM_BAG, FLUID,
                                seen={"product": "09520007304013", "lot": "SC1",
                                      "expiry": "25 Nov 2026"}),
    "other lot recalled": Seed(POTASSIUM_BAG, FLUID,
                               change=unit(recalled=frozenset({"09520007304013/SC4014"}))),
    "whole volume with its unit": Seed(POTASSIUM_BAG, SUM, seen={"own_final_volume": "510 mL"}),
    "whole volume in litres": Seed(POTASSIUM_BAG, SUM, seen={"own_final_volume": "0.51 L"}),
    "concentration to three figures": Seed(POTASSIUM_BAG, SUM,
                                           seen={"own_final_strength": "39.2 mmol/L"}),
    "concentration in each mL": Seed(POTASSIUM_BAG, SUM,
                                     seen={"own_final_strength": "0.0392 mmol/mL"}),
    "concentration to two figures": Seed(POTASSIUM_BAG, SUM,
                                         seen={"own_final_strength": "39 mmol/L"}),
    "overfill counted in": Seed(FIRST_OUT, SUM,
                                seen={"overfill": "counted in", "own_final_volume": "265",
                                      "own_final_strength": "300 mg in 265 mL"}),
    "no figure for the concentration": Seed(POTASSIUM_BAG, SUM, change=limits()),
    "three packages": Seed(FIRST_OUT, SUM, change=unit(packages_most=3)),
    "rate as a whole number": Seed(BOTTLE, RATE, seen={"own_rate": "204 mL/h"}),
    "rate in a minute": Seed(BOTTLE, RATE, seen={"own_rate": "3.4 mL/min"}),
    "rate not rounded": Seed(PUMP, RATE, seen={"own_rate": "5.325 mL/h"}),
    "rate rounded to the pump": Seed(PUMP, RATE, seen={"own_rate": "5.3 mL/h"}),
    "fine drops": Seed(GRAVITY, RATE, seen={"drop_factor": "60", "own_rate": "220 drops/min"}),
    "drops of a 15-drop set": Seed(GRAVITY, RATE,
                                   seen={"drop_factor": "15", "own_rate": "55 drops/min"}),
    "drops of a 10-drop set": Seed(GRAVITY, RATE,
                                   seen={"drop_factor": "10", "own_rate": "37 drops/min"}),
    "second rate not rounded": Seed(PUMP, SECOND, seen={"checker_rate": "5.325 mL/h"}),
    "second fluid with a capital": Seed(POTASSIUM_BAG, SECOND,
                                        seen={"checker_carrier": "Sodium  chloride"}),
    "taken down, and the unit lets it": Seed(
        POTASSIUM_BAG, PORT, seen={"bag_state": "clamped and taken down from its line"},
        change=settings(add_to_hanging_bag="clamped_and_taken_down")),
    "drawn out with its unit": Seed(FIRST_OUT, PORT, seen={"removed_volume": "6 mL"}),
    "turned more often": Seed(POTASSIUM_BAG, BLEND, seen={"turned_over": "15"}),
    "turned just enough": Seed(GRAVITY, BLEND, seen={"turned_over": "5"}),
    "label to three figures": Seed(POTASSIUM_BAG, STICK,
                                   seen={"label_final_strength": "39.2 mmol/L"}),
    "label's volume in litres": Seed(POTASSIUM_BAG, STICK,
                                     seen={"label_final_volume": "0.51 L"}),
    "second reads three figures": Seed(POTASSIUM_BAG, FINISHED,
                                       seen={"checker_bag_strength": "39.2 mmol/L"}),
    "second reads the name": Seed(POTASSIUM_BAG, FINISHED,
                                  seen={"checker_bag_identifier": "Ferris Dunmow"}),
    "plain fluid in the line": Seed(POTASSIUM_BAG, SET, seen={"in_the_line": "Sodium chloride"}),
    "none in the line": Seed(POTASSIUM_BAG, SET, seen={"in_the_line": "none"}),
    "hangs just long enough": Seed(POTASSIUM_BAG, SET, change=limits(life=q("4 hours"))),
    "pump's syringe larger": Seed(PUMP, "draw_the_fluid", seen={"pump_syringe_size": "60"}),
    "same drug still in the chamber": Seed(
        BURETTE, "make_the_chamber_ready", seen={"chamber": "the same drug in the same fluid"}),
    "chamber read with its unit": Seed(BURETTE, "read_the_whole_volume",
                                       seen={"made_up_volume": "50 mL"}),
    "hung fifty minutes later": Seed(GRAVITY, START_IT, change=after(minutes=40)),
}  # fmt: skip

PACES = (5, 20, 45)


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


@pytest.mark.parametrize("order_id", EVERY)
@pytest.mark.parametrize("seconds", PACES)
@pytest.mark.parametrize("station", ("W7E-1", "W7E-2"))
def test_whole_right_infusions_pass_without_a_refusal(
    order_id: str, seconds: int, station: str, tmp_path: Path
) -> None:
    right_through(order_id, station, seconds, tmp_path)


# -- the sums --------------------------------------------------------------------------------------

EXAMPLES = json.loads(
    (Path(__file__).parent / "data" / "worked_examples.json").read_text(encoding="utf-8")
)
DROPS = [e for e in EXAMPLES["examples"] if e["category"] == "drip_rate_gtt_min"]


@pytest.mark.parametrize("example", DROPS, ids=lambda e: e["id"])
def test_drops_a_minute_are_those_of_published_examples(example: dict[str, Any]) -> None:
    given = example["inputs"]
    if "rate" in given:
        flow = Quantity.of(*given["rate"])
    else:
        flow = Quantity.of(*given["volume"]).to("mL").per(Quantity.of(*given["time"]).to("h"))
    made_ = Plan(
        added=Quantity.of(0, "mL"),
        volume=Quantity.of(1, "mL"),
        strength=Concentration.parse("1 mg/mL"),
        rate=flow,
        lines=(),
    )
    drops = made_.drops(Quantity.of(given["drop_factor"][0], "{drop}/mL"))
    assert drops == Quantity.of(example["answer"][0], "{drop}/min")


def scene_at(order_id: str, step: str, folder: Path, *acts: Act) -> Scene:
    scene = Scene(folder, order_id=order_id)
    for act in acts:
        act(scene)
    scene.open()
    scene.to(step)
    return scene


def test_final_concentration_counts_what_comes_out_and_what_is_over(tmp_path: Path) -> None:
    # 20 mmol in 10 mL into 500 mL: 39.2 mmol/L; 10 mL out first 40.0; 10 % overfill counted 35.7.
    # The overfill of about 10 %: review of overfill in infusion bags (abstract).
    told = {}
    for name, acts in {
        "plain": (),
        "out": (infusion(first_out=True),),
        "over": (
            drug(infusion=InfusionLimits(overfill_matters=True)),
            product("09520007304013", overfill=Quantity.of("50", "mL")),
        ),
    }.items():
        folder = tmp_path / name
        folder.mkdir()
        scene = scene_at("ORD-401", SUM, folder, *acts)
        if name == "over":
            scene.attempt(
                {
                    "overfill": "counted in",
                    "own_final_volume": "560",
                    "own_final_strength": "20 mmol in 560 mL",
                }
            )
            assert scene.place == RATE
        told[name] = made(scene).strength.per_mL.to("mmol/L").rounded(q("0.1 mmol/L")).value
    assert told == {"plain": q("39.2 mmol/L"), "out": q("40 mmol/L"), "over": q("35.7 mmol/L")}


def test_rate_by_weight_is_exact_before_it_is_rounded(tmp_path: Path) -> None:
    # 5 microgram/kg/min, 70 kg, 200 mg in 50 mL: 5.25 mL/h, and 5.3 on a pump, a half going up.
    acts = (
        order(dose=q("200 mg")),
        infusion(rate=q("5 microgram/kg/min")),
        lambda s: s.change_patient(weight=q("70 kg")),
        drug(dose=DoseRange(), infusion=InfusionLimits()),
        product("09520007304099", strength=Concentration.parse("40 mg in 4 mL")),
        unit(many_containers=9, packages_most=9),
    )
    scene = scene_at("ORD-406", RATE, tmp_path, *acts)
    plan_ = made(scene)
    assert plan_.rate is not None and plan_.rate.magnitude == Fraction(21, 4)
    assert plan_.rate_set == q("5.3 mL/h")


def test_the_rate_is_said_aloud_in_words_once_it_was_worked_out(tmp_path: Path) -> None:
    scene = scene_at("ORD-406", RATE, tmp_path)
    outcome = scene.attempt()
    told = {note.code: note.found for note in outcome.notes}
    assert told["rate_said_aloud"] == "Say it aloud: five point three millilitres per hour."


def test_no_refusal_of_a_rate_tells_the_right_one(tmp_path: Path) -> None:
    scene = scene_at("ORD-406", RATE, tmp_path)
    for wrong in ("5.4 mL/h", "53 mL/h", "0.53 mL/h"):
        outcome = scene.attempt({"own_rate": wrong})
        assert all("5.3" not in t.found + t.why + t.next for t in outcome.told)
        scene.station.remedy(scene.id, R.ADJUST, scene.hands())


# -- the label -------------------------------------------------------------------------------------


def label_of(scene: Scene) -> dict[str, str]:
    from checklist.label import label

    prep: Preparation = scene.station.find(scene.id)
    spot = scene.station.rules_of(prep.workflow).layout.base(prep.place)
    around = scene.station.surroundings(prep, scene.station.person(COLLEAGUE), spot)
    return dict(label(prep, around).items)


def test_a_bags_label_says_amount_added_volume_whole_volume_and_fluid(tmp_path: Path) -> None:
    told = label_of(scene_at("ORD-401", "write_the_label", tmp_path))
    assert told["drug"] == "potassium chloride" and told["dose"] == "20 mmol"
    assert told["added"] == "10 mL" and told["volume"] == "510 mL"
    assert told["concentration"] == "about 0.03922 mmol/mL"
    assert told["carrier"] == "sodium chloride 0.9 %, 500 mL"
    assert told["rate"] == "127.5 mL/h" and told["checked_by"] == COLLEAGUE


def test_the_label_of_a_ready_bag_adds_the_patient_and_nothing_that_was_not_added(
    tmp_path: Path,
) -> None:
    told = label_of(scene_at("ORD-407", "write_the_label", tmp_path))
    assert told["volume"] == "1,000 mL" and told["concentration"] == "0.04 mmol/mL"
    assert "added" not in told and "carrier" not in told and told["rate"] == "125 mL/h"


# -- breaks and choice of workflow -----------------------------------------------------------------


def test_a_break_after_the_drug_went_in_asks_where_it_was(tmp_path: Path) -> None:
    scene = scene_at("ORD-402", BLEND, tmp_path)
    scene.station.interrupt(scene.id, "called away", NURSE)
    scene.station.resume(scene.id, NURSE)
    outcome = scene.attempt({"custody": "out of my sight"})
    assert "left_unattended" in {t.code for t in outcome.told}
    scene.station.remedy(scene.id, R.DISCARD_RESTART, NURSE)
    scene.on()
    assert scene.place == "take_the_product"


def test_each_container_brings_its_own_procedure(tmp_path: Path) -> None:
    seen = {}
    for order_id in (POTASSIUM_BAG, GRAVITY):
        folder = tmp_path / order_id
        folder.mkdir()
        scene = Scene(folder, order_id=order_id)
        scene.open()
        prep = scene.station.find(scene.id)
        steps = {s.name for s in scene.station.rules_of(prep.workflow).workflow.steps}
        seen[order_id] = ("fit_the_filter" in steps, "clean_the_stopper" in steps)
    assert seen == {POTASSIUM_BAG: (True, False), GRAVITY: (False, True)}


def test_an_infusion_is_never_opened_as_a_plain_ampoule(tmp_path: Path) -> None:
    from checklist.station import NotHere

    scene = Scene(tmp_path, order_id=POTASSIUM_BAG)
    for container in ("glass_ampoule", "premixed_bag", "emergency_kit"):
        with pytest.raises(NotHere):
            scene.station.open(POTASSIUM_BAG, NURSE, container=container)


def test_the_drug_has_to_come_in_a_container_that_can_be_added(tmp_path: Path) -> None:
    from checklist.station import NotHere

    scene = Scene(tmp_path, order_id=POTASSIUM_BAG)
    scene.change_product("09520007300916", container="prefilled_syringe")
    with pytest.raises(NotHere, match="none of the containers"):
        scene.open()


def test_an_order_without_an_infusion_keeps_its_gaps_apart() -> None:
    from checklist.infusion import gaps

    ward = demo_ward()
    assert gaps(ward.orders["ORD-103"]) == []
    bare = replace(ward.orders["ORD-401"], infusion=Infusion(into="bag"))
    assert gaps(bare) == ["the carrier fluid", "the volume of the fluid", "the time or the rate"]


def test_a_changed_fluid_in_the_order_is_no_longer_the_opened_one(tmp_path: Path) -> None:
    scene = scene_at("ORD-402", "compare_at_the_bedside", tmp_path)
    infusion(volume=q("250 mL"))(scene)
    outcome = scene.attempt()
    assert "order_not_current" in {t.code for t in outcome.told}


# -- a ward's files --------------------------------------------------------------------------------

BAG = '"into": "bag",'
FAULTS = {
    "an unknown vessel": (ORDERS, BAG, '"into": "bucket",', "infusion, into", "bucket"),
    "a key of the infusion misspelt": (ORDERS, BAG, '"inot": "bag",', "infusion, inot",
                                       "not known"),
    "a limit of another kind": (FORMULARY, 'final_most = "10 mg/mL"',
                                'final_least = "1 mmol/L"\nfinal_most = "10 mg/mL"',
                                "final_most", "another kind"),
    "limits the wrong way round": (FORMULARY, 'final_most = "2 mg/mL"', 'final_most = "0.2 mg/mL"',
                                   "final_most", "below final_least"),
    "a limit without its volume": (FORMULARY, 'final_most = "10 mg/mL"', 'final_most = "10 mg"',
                                   "final_most", "no volume"),
    "a rate with no time in it": (FORMULARY, 'rate_most = "10 mmol/h"', 'rate_most = "10 mmol"',
                                  "rate_most", "not so much in a time"),
    "turning that is no number of times": (FORMULARY, 'inversions = "10"', 'inversions = "2.5"',
                                           "inversions", "not a number of times"),
    "a life that is no time": (FORMULARY, 'life_when_mixed = "24 hours"',
                               'life_when_mixed = "24 mL"', "life_when_mixed", "length of time"),
    "overfill that is no volume": (FORMULARY, 'overfill = "7 mL"', 'overfill = "7 %"', "overfill",
                                   "does not say of what"),
    "packages without a limit": (UNIT, "many_containers = 3",
                                 "many_containers = 3\npackages_most = 9", "packages_most", ""),
    "a drug the table does not know": (TABLE, 'drug = "tranexamic acid"', 'drug = "tranexamic"',
                                       "pair 2, drug", "not a drug of the formulary"),
    "a judgement that is none": (TABLE, 'judgement = "no data"', 'judgement = "perhaps"',
                                 "judgement", "perhaps"),
    "a place that is none": (TABLE, 'where = "line"', 'where = "pump"', "where", "pump"),
    "a row without a source": (TABLE, 'source = "invented demonstration entry 1"\n', "",
                               "pair 1, source", "not there"),
    "a drug with itself": (TABLE, 'with = "cyclizine"', 'with = "hyoscine butylbromide"',
                           "with", "the drug itself"),
    "the same row the other way round": (
        TABLE, 'drug = "potassium chloride"\nwith = "sodium chloride"\nwhere = "line"',
        'drug = "sodium chloride"\nwith = "potassium chloride"\nwhere = "bag"', "pair 10",
        "stands twice"),
    "a time that is none": (TABLE, 'within = "30 min"', 'within = "soon"', "within", "soon"),
    "no edition": (TABLE, 'edition = "2026-11 (invented entries, not for care)"', "", "edition",
                   "not there"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_in_a_wards_files_is_told_with_its_place(name: str, tmp_path: Path) -> None:
    file, old, new, place, words = FAULTS[name]
    copied(tmp_path)
    shutil.copy(DEMO / TABLE, tmp_path / TABLE)
    edit(tmp_path / file, old, new)
    told = faults_of(tmp_path)
    assert any(place in f.place and words in f.sentence for f in told), told


UNCLEAR = {
    "rate": ('"rate": "0.1 microgram/kg/min"', '"rate": "0,1 microgram/kg/min"'),
    "a rate in mL for each kg": ('"rate": "0.1 microgram/kg/min"', '"rate": "2 mL/kg/h"'),
    "volume": ('"volume": "50 mL"', '"volume": "50"'),
    "duration": ('"duration": "4 hours"', '"duration": "4 mL"'),
    "carrier_strength": ('"carrier_strength": "5 %"', '"carrier_strength": "five"'),
    "second dose": ('"drug": "cyclizine",\n        "dose": "50 mg"',
                    '"drug": "cyclizine",\n        "dose": "50"'),
}  # fmt: skip


@pytest.mark.parametrize("name", UNCLEAR)
def test_what_an_infusion_says_unclearly_is_kept_for_the_nurse_to_refuse(
    name: str, tmp_path: Path
) -> None:
    old, new = UNCLEAR[name]
    copied(tmp_path)
    edit(tmp_path / ORDERS, old, new)
    orders = load(tmp_path).orders
    told = {key for one in orders.values() for key in one.unreadable}
    assert told & {name, "rate"}, told


def test_a_ward_without_a_table_knows_of_nothing_that_goes_together(tmp_path: Path) -> None:
    copied(tmp_path)
    assert not load(tmp_path).compatibility.pairs


def test_a_row_reads_the_same_from_either_side() -> None:
    table_ = demo_ward().compatibility
    one = table_.of("Glucose", "amiodarone", Where.BAG)
    assert one is not None and one is table_.of("amiodarone", "glucose", Where.BAG)
    assert table_.of("amiodarone", "glucose", Where.SYRINGE) is None


def test_a_percentage_on_an_order_is_grams_in_a_hundred(tmp_path: Path) -> None:
    run = demo_ward().orders[PUMP].infusion
    assert run is not None and run.carrier_strength == Concentration.parse("50 mg/mL")


def test_limits_may_stand_in_a_spreadsheet(tmp_path: Path) -> None:
    copied(tmp_path)
    (tmp_path / FORMULARY).unlink()
    (tmp_path / "formulary.csv").write_text(
        "edition,code,drug,container,strength,content,routes,final_most,rate_most,inversions,"
        "overfill_matters,overfill\n"
        "2026-11,09520007304013,sodium chloride,fluid_bag,0.9 g in 100 mL,500 mL,IV,40 mmol/L,"
        "10 mmol/h,10,yes,7 mL\n",
        encoding="utf-8",
    )
    edit(tmp_path / UNIT, '["09520007300329/FX0883"]', "[]")
    text = (tmp_path / UNIT).read_text(encoding="utf-8")
    start, end = text.index("[register]"), text.index("# This unit stops")
    (tmp_path / UNIT).write_text(text[:start] + text[end:], encoding="utf-8")
    kept = load(tmp_path).formulary.drugs["sodium chloride"].infusion
    assert kept.most == Concentration.parse("40 mmol/L") and kept.inversions == 10
    assert kept.rate_most == q("10 mmol/h") and kept.overfill_matters


@pytest.mark.parametrize(
    ("strength", "said"),
    [
        ("0.9 %", "0.9 %"),
        ("9 mg/mL", "0.9 %"),
        ("0.18 %", "0.18 %"),
        ("5 g in 100 mL", "5 %"),
        ("50 g in 100 mL", "50 %"),
        ("40 mmol in 1000 mL", "0.04 mmol/mL"),
    ],
)
def test_a_fluid_is_told_in_percent_as_on_its_bag(strength: str, said: str) -> None:
    """So nobody takes 50 mg/mL of glucose for the drug. Grams in 100 mL: common practice."""
    assert of_fluid(Concentration.parse(strength, expand=True)) == said
