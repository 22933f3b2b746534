"""The emergency kit: the short way holds what it must, and does not close before it is made good.

The errors come from the hazard register (a call heard wrongly, a kit out of date, a dose put down
without a name, a record that nobody finished) and from a published near miss with a drug that was
kept at the bed in case.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from checklist.order import Allergy, Call
from checklist.people import Role
from checklist.quantity import Quantity
from checklist.station import NotHere
from checklist.verdict import Remedy
from tests.planted import (
    Act,
    Seed,
    Shelf,
    after,
    caught,
    passed,
    patient,
    right_through,
    unit,
)
from tests.scene import COLLEAGUE, LABELS, NURSE, TRAINEE, Scene, demo_ward
from tests.way_answers import write_order

R = Remedy
CALL = "CALL-1"
HEAR, KNOW, KIT, TAKE = "hear_the_leader", "know_the_patient", "open_the_kit", "take_the_product"
SAY, HOLD, GIVE = "work_out_the_volume", "label_or_hand", "give_the_dose"
WRITTEN, LOOK_BACK, SEAL = "have_the_order_written", "second_person_looks_back", "reseal_the_kit"


def leader(**changes: object) -> Act:
    """Change what is on record about the leader."""

    def act(scene: Scene) -> None:
        staff = {**scene.ward.staff, "DR-4": replace(scene.ward.staff["DR-4"], **changes)}  # type: ignore[arg-type]
        scene._set(replace(scene.ward, staff=staff))

    return act


def written(**changes: object) -> Act:
    """The order as the leader wrote it afterwards, in some way not as it was called."""

    def act(scene: Scene) -> None:
        write_order(scene, **changes)

    return act


SEEDS = {
    "nobody leads": Seed(CALL, HEAR, "entry_missing", R.RECHECK, {"leader": None}),
    "the leader is not known": Seed(CALL, HEAR, "not_authorised", R.STOP, {"leader": "DR-9"}),
    "the leader may not lead": Seed(CALL, HEAR, "not_authorised", R.SECOND_PERSON,
                                    change=leader(roles=(Role.TRAINEE,))),
    "the leader has left": Seed(CALL, HEAR, "not_authorised", R.STOP,
                                change=leader(active=False)),
    "the preparer leads": Seed(CALL, HEAR, "not_authorised", R.STOP, {"leader": NURSE}),
    "another drug heard": Seed(CALL, HEAR, "verbal_order_not_read_back", R.CALL_PRESCRIBER,
                               {"heard_drug": "adrenaline"}),
    "ten times the dose heard": Seed(CALL, HEAR, "verbal_order_not_read_back",
                                     R.CALL_PRESCRIBER, {"heard_dose": "6 mg"}),
    "milligrams heard for micrograms": Seed(CALL, HEAR, "verbal_order_not_read_back", R.STOP,
                                            {"heard_dose": "600 mg"}),
    "not said back": Seed(CALL, HEAR, "verbal_order_not_read_back", R.CALL_PRESCRIBER,
                          {"said_back": "not said back"}),
    "nobody answered": Seed(CALL, HEAR, "verbal_order_not_read_back", R.CALL_PRESCRIBER,
                            {"said_back": "said back, no answer came"}),
    "another patient's band": Seed(CALL, KNOW, "patient_id_mismatch", R.RECHECK,
                                   {"first_identifier": "30012415"}),
    "a bed for an identifier": Seed(CALL, KNOW, "patient_id_too_few", R.RECHECK,
                                    {"second_identifier": "bed 4"}),
    "no band": Seed(CALL, KNOW, "patient_id_by_alternative", R.RECHECK,
                    {"identified_by": "no readable band"}, tier="soft"),
    "known allergy": Seed(CALL, KNOW, "allergy_match", R.CALL_PRESCRIBER,
                          change=patient(allergies=(Allergy(substance="atropine"),))),
    "seal broken": Seed(CALL, KIT, "seal_broken", R.REPLACE_ITEM, {"kit_seal": "n"}),
    "kit out of date": Seed(CALL, KIT, "product_expired", R.REPLACE_ITEM,
                            {"kit_expiry": "31 Oct 2026"}),
    "no date on the kit": Seed(CALL, KIT, "expiry_unreadable", R.REPLACE_ITEM,
                               {"kit_expiry": None}),
    "another drug in the hand": Seed(CALL, TAKE, "product_mismatch", R.REPLACE_ITEM,
                                     {"product": LABELS["ORD-103"]}),
    "item out of date": Seed(CALL, TAKE, "product_expired", R.REPLACE_ITEM,
                             {"product": "09520007304174", "lot": "AT1",
                              "expiry": "24 Nov 2026"}),
    "item recalled": Seed(CALL, TAKE, "lot_recalled", R.QUARANTINE,
                          change=unit(recalled=frozenset({"09520007304174/AT4174"}))),
    "not read aloud": Seed(CALL, TAKE, "label_read_missing", R.RECHECK, {"read_aloud": "n"}),
    "volume wrong": Seed(CALL, SAY, "calculation_mismatch", R.RECHECK, {"own_volume": "10"}),
    "nobody else came to it": Seed(CALL, SAY, "double_check_missing", R.SECOND_PERSON,
                                   {"heard_by_another": "n"}),
    "rim touched": Seed(CALL, "draw_up", "key_part_touched", R.REPLACE_ITEM,
                        {"rim_untouched": "n"}),
    "too much drawn": Seed(CALL, "set_the_dose", "volume_over_target", R.ADJUST,
                           {"drawn_volume": "1.05"}),
    "put down without a label": Seed(CALL, HOLD, "label_missing", R.DISCARD_RESTART,
                                     {"whereabouts": "put down or handed on without a label"}),
    "line not followed": Seed(CALL, GIVE, "line_not_traced", R.RECHECK, {"line_traced": "n"}),
    "nothing said, nothing written": Seed(CALL, GIVE, "record_incomplete", R.RECHECK,
                                          {"said_given": "n"}),
    "an hour later": Seed(CALL, GIVE, "preparation_time_exceeded", R.DISCARD_RESTART,
                          change=after(minutes=61)),
    # -- afterwards
    "the order is not written": Seed(CALL, WRITTEN, "emergency_not_completed",
                                     R.CALL_PRESCRIBER, {"written_line": "ORD-999"}),
    "no line named": Seed(CALL, WRITTEN, "emergency_not_completed", R.RECHECK,
                          {"written_line": None}),
    "a line of another dose": Seed(CALL, WRITTEN, "emergency_not_completed", R.RECHECK,
                                   {"written_line": "ORD-492"},
                                   change=written(id="ORD-492", dose=Quantity.of("300", "ug"))),
    "a line of another prescriber": Seed(CALL, WRITTEN, "emergency_not_completed", R.RECHECK,
                                         {"written_line": "ORD-492"},
                                         change=written(id="ORD-492", prescriber="DR-7")),
    "a line of another patient": Seed(CALL, WRITTEN, "emergency_not_completed", R.RECHECK,
                                      {"written_line": "ORD-492"},
                                      change=written(id="ORD-492", patient="P-301")),
    "not reviewed": Seed(CALL, WRITTEN, "emergency_not_completed", R.CALL_PHARMACIST,
                         {"written_line": "ORD-492"}, change=written(id="ORD-492",
                                                                     reviewed_by="")),
    "second person finds another container": Seed(CALL, LOOK_BACK, "product_mismatch",
                                                  R.CALL_PHARMACIST,
                                                  {"looked_at": LABELS["ORD-103"]}),
    "second person finds another volume": Seed(CALL, LOOK_BACK, "double_check_disagrees",
                                               R.SECOND_PERSON, {"checker_given_volume": "0.5"}),
    "second person is the first": Seed(CALL, LOOK_BACK, "checker_same_person", R.SECOND_PERSON,
                                       by=NURSE),
    "second person in training": Seed(CALL, LOOK_BACK, "checker_not_eligible", R.SECOND_PERSON,
                                      by=TRAINEE),
    "nothing looked at": Seed(CALL, LOOK_BACK, "emergency_not_completed", R.SECOND_PERSON,
                              {"looked_at": None}),
    "kit not restocked": Seed(CALL, SEAL, "emergency_not_completed", R.RECHECK,
                              {"kit_restocked": "n"}),
    "a spare left at the bed": Seed(CALL, SEAL, "emergency_not_completed", R.RECHECK,
                                    {"no_spare_left": "n"}),
    "kit not sealed": Seed(CALL, SEAL, "emergency_not_completed", R.RECHECK, {"new_seal": None}),
}  # fmt: skip


RIGHT_ANSWERS = {
    "said back with a capital": Seed(CALL, HEAR, seen={"heard_drug": "Atropine"}),
    "said back in milligrams": Seed(CALL, HEAR, seen={"heard_dose": "0.6 mg"}),
    "the leader holds no other role": Seed(CALL, HEAR, change=leader(roles=(Role.LEADER,))),
    "allergies not on record": Seed(CALL, KNOW, change=patient(allergies=None)),
    "known by name": Seed(CALL, KNOW, seen={"first_identifier": "Ferris Dunmow"}),
    "kit expires today": Seed(CALL, KIT, seen={"kit_expiry": "25 Nov 2026"}),
    "item typed": Seed(CALL, TAKE, seen={"product": "09520007304174", "lot": "AT1",
                                         "expiry": "31 Aug 2028"}),
    "volume with its unit": Seed(CALL, SAY, seen={"own_volume": "1 mL"}),
    "put down, labelled": Seed(CALL, HOLD,
                               seen={"whereabouts": "put down or handed on, labelled"}),
    "given half an hour later": Seed(CALL, GIVE, change=after(minutes=30)),
    "no review is expected here": Seed(CALL, WRITTEN, seen={"written_line": "ORD-492"},
                                       change=lambda s: (
                                           unit(pharmacist_review_expected=False)(s),
                                           written(id="ORD-492", reviewed_by="")(s))[0]),
    "looked back by typing": Seed(CALL, LOOK_BACK, seen={"looked_at": "09520007304174"}),
}  # fmt: skip


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


@pytest.mark.parametrize("seconds", (2, 5, 10, 20, 45, 70))
@pytest.mark.parametrize("station", ("W7E-1", "corridor"))
def test_whole_right_emergencies_pass_without_a_refusal(
    seconds: int, station: str, tmp_path: Path
) -> None:
    right_through(CALL, station, seconds, tmp_path)


# -- what the short way leaves out, and what it does not -------------------------------------------


def test_the_mode_is_told_and_recorded_with_its_leader(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id=CALL)
    scene.open()
    outcome = scene.attempt()
    assert {n.code for n in outcome.notes} == {"emergency_mode"}
    assert "DR-4" in outcome.notes[0].found
    noted = outcome.entry.event.body["notes"]
    assert noted == [{"code": "emergency_mode", "facts": {"leader": "DR-4"}}]


def test_no_written_order_stands_in_the_way_and_none_may_be_left_out(
    shelf: Shelf, tmp_path: Path
) -> None:
    steps = shelf.steps(CALL)
    assert "read_the_order" not in steps and "second_person_works_it_out" not in steps
    scene = shelf.at(CALL, WRITTEN, tmp_path)
    outcome = scene.attempt({"written_line": "ORD-999"})
    assert {t.code for t in outcome.told} == {"emergency_not_completed"}
    assert not outcome.screen.prep.closed
    # It stays open, and the station knows it, until the record is there.
    assert [p.id for p in scene.trail.open_preparations()] == [scene.id]
    scene.station.remedy(scene.id, R.RECHECK, NURSE)
    outcome = scene.finish()
    assert outcome.screen.prep.place == "given"


def test_an_unfinished_emergency_stands_in_the_way_of_the_next_ordinary_dose(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(CALL, WRITTEN, tmp_path)
    other = scene.station.open("ORD-103", NURSE)
    assert other.screen.prep.id != scene.id
    ordinary = Scene(tmp_path, order_id="ORD-103", now=scene.now, begun=other.screen.prep.id)
    ordinary.to("prepare_the_place")
    outcome = ordinary.attempt()
    assert "another_preparation_open" in {t.code for t in outcome.told}


def test_a_second_call_may_be_prepared_while_the_first_is_not_made_good(
    shelf: Shelf, tmp_path: Path
) -> None:
    scene = shelf.at(CALL, WRITTEN, tmp_path)
    call = Call(
        leader="DR-4", patient="P-302", drug="naloxone", dose=Quantity.of("400", "ug"), route="IV"
    )
    outcome = scene.station.open_call(call, NURSE)
    assert outcome.screen.prep.place == HEAR
    assert outcome.screen.prep.order.id != scene.station.find(scene.id).order.id


def test_an_ordinary_order_never_takes_the_short_way(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id="ORD-103")
    with pytest.raises(NotHere):
        scene.station.open("ORD-103", NURSE, container="emergency_kit")
    with pytest.raises(NotHere):
        scene.station.open(CALL, NURSE)


def test_a_call_for_a_drug_that_is_not_kept_is_said_at_once(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id="ORD-103")
    call = Call(
        leader="DR-4",
        patient="P-302",
        drug="vasopressin",
        dose=Quantity.of("40", "{unit}"),
        route="IV",
    )
    with pytest.raises(NotHere, match="vasopressin comes in none of the containers"):
        scene.station.open_call(call, NURSE)


def test_the_second_look_is_by_another_person(shelf: Shelf, tmp_path: Path) -> None:
    scene = shelf.at(CALL, LOOK_BACK, tmp_path)
    outcome = scene.attempt()
    assert outcome.entry.event.by == COLLEAGUE != scene.station.find(scene.id).preparer
    assert Role.CHECKER in demo_ward().staff[COLLEAGUE].roles
