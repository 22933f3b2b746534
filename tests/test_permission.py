"""Who may do what, cell by cell, and that a station keeps to it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from checklist import library
from checklist.people import Role, StaffMember
from checklist.permission import MAY, Action, may
from checklist.station import SECOND, NotAllowed, NotSignedIn
from checklist.workflow import Who
from tests.people import pin_of
from tests.scene import CARE_ASSISTANT, COLLEAGUE, NURSE, TRAINEE, Scene

# Common practice, no source: written apart from the table, so that a slip in one of them is seen.
# Columns in the order of Role: preparer, checker, witness, leader, educator, qi_lead, pharmacist,
# administrator, trainee.
CELLS = {
    "prepare":          "x . . . . . . . .",
    "practise":         "x x x x x . x . x",
    "lead":             ". . . x . . . . .",
    "check":            ". x . . . . . . .",
    "witness":          ". . x . . . . . .",
    "release":          ". x . . . . x . .",
    "observe":          ". . . . x . . . .",
    "review_person":    ". . . . x . . . .",
    "read_near_misses": ". . . . x x x . .",
    "read_names":       ". . . . . . x . .",
    "keep_workflows":   ". . . . . . x . .",
    "keep_people":      ". . . . . . x x .",
    "lock_people":      ". . . . . . x x .",
    "reset_pin":        ". . . . . . x x .",
    "try_scanner":      "x . . . . . x x .",
    "erase":            ". . . . . . . x .",
    "verify":           "x x x x x x x x .",
    "checkpoint":       ". . . . . x x x .",
    "keep_lines":       ". . . . . x . . .",
    "export":           ". . . . . x x . .",
    "keep_trail":       ". . . . . . . x .",
}  # fmt: skip


def somebody(*roles: Role, active: bool = True) -> StaffMember:
    return StaffMember(code="XX-1", name="Nobody Here", roles=roles, active=active)


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("action", Action)
def test_each_role_may_do_what_its_cell_says_and_nothing_else(action: Action, role: Role) -> None:
    cell = CELLS[action.value].split()[list(Role).index(role)]
    assert may(somebody(role), action) is (cell == "x")
    assert may(somebody(role, active=False), action) is False


def test_the_table_knows_every_role_and_every_act() -> None:
    assert list(MAY) == list(Role) and len(CELLS) == len(Action)
    assert all(any(action in allowed for allowed in MAY.values()) for action in Action)


def test_roles_add_up_and_somebody_without_one_may_do_nothing() -> None:
    both = somebody(Role.EDUCATOR, Role.PREPARER)
    assert {a for a in Action if may(both, a)} == MAY[Role.EDUCATOR] | MAY[Role.PREPARER]
    assert not any(may(somebody(), action) for action in Action)


def test_no_single_role_both_keeps_the_people_and_makes_or_checks_doses() -> None:
    doses = {Action.PREPARE, Action.CHECK, Action.WITNESS}
    office = {Action.KEEP_PEOPLE, Action.RESET_PIN, Action.ERASE, Action.KEEP_TRAIL}
    assert not [role for role, allowed in MAY.items() if allowed & doses and allowed & office]


# -- at the station ------------------------------------------------------------------------------


def scene_with(folder: Path, *roles: Role) -> Scene:
    """A ward where the nurse holds these roles and no other."""
    scene = Scene(folder)
    nurse = replace(scene.ward.staff[NURSE], roles=roles)
    scene._set(replace(scene.ward, staff={**scene.ward.staff, NURSE: nurse}))
    return scene


@pytest.mark.parametrize("role", Role)
def test_a_preparation_is_opened_by_a_preparer_alone(role: Role, tmp_path: Path) -> None:
    scene = scene_with(tmp_path, role)
    if role is Role.PREPARER:
        assert scene.open().entry.event.kind == "opened"
        return
    with pytest.raises(NotAllowed, match="this asks for preparer"):
        scene.open()
    last = scene.trail.of("")[-1].event
    assert (last.kind, last.by) == ("not_allowed", NURSE)
    assert last.body == {"person": NURSE, "action": "prepare", "preparation": ""}
    assert scene.trail.preparations() == ()


@pytest.mark.parametrize("action", Action)
@pytest.mark.parametrize("role", Role)
def test_the_station_permits_what_the_table_allows_and_records_what_not(
    role: Role, action: Action, tmp_path: Path
) -> None:
    scene = scene_with(tmp_path, role)
    scene.station.sign_in(NURSE, pin_of(NURSE))
    if action in MAY[role]:
        assert scene.station.permit(NURSE, action).code == NURSE
        return
    with pytest.raises(NotAllowed):
        scene.station.permit(NURSE, action)
    assert scene.trail.of("")[-1].event.body["action"] == action.value


def test_nothing_is_permitted_to_somebody_who_has_not_signed_in(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    for action in Action:
        with pytest.raises(NotSignedIn, match="sign in first"):
            scene.station.permit("PH-2", action)
    assert scene.trail.head().seq == 0


def test_a_trainee_prepares_where_nothing_counts_and_nowhere_else(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    with pytest.raises(NotAllowed):
        scene.open(by=TRAINEE)
    scene.station._practice = True
    scene.open(by=TRAINEE)
    while scene.place != "prepare_the_place":
        scene.attempt(by=TRAINEE)
    told = [one.code for one in scene.attempt(by=TRAINEE).told]
    assert told == ["competency_lapsed"]


def test_a_withdrawn_role_lets_the_preparer_go_back_or_out_and_never_on(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    scene.to("fit_the_filter")
    scene.attempt({"filter_kind": "none", "pore": None})
    nurse = replace(scene.ward.staff[NURSE], roles=())
    scene._set(replace(scene.ward, staff={**scene.ward.staff, NURSE: nurse}))
    scene.station.remedy(scene.id, scene.station.screen(scene.id).ways[0], NURSE)
    with pytest.raises(NotAllowed):
        scene.attempt()
    assert scene.place == "fit_the_filter"
    assert scene.station.end(scene.id, "order_changed", NURSE).entry.event.kind == "ended"


def test_a_caution_kept_for_a_second_person_is_released_by_one_who_may(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.change_unit(second_person_cautions=("hand_skin_breach",))
    scene.open()
    scene.to("prepare_the_place")
    scene.attempt({"skin_whole": "n"})
    assert scene.place == "prepare_the_place/caution"
    for person in (TRAINEE, "QI-1", CARE_ASSISTANT):
        with pytest.raises(NotAllowed, match="asks for checker or pharmacist"):
            scene.station.proceed(scene.id, "looked_again", person)
    assert scene.place == "prepare_the_place/caution"
    assert scene.station.proceed(scene.id, "looked_again", COLLEAGUE).entry.event.by == COLLEAGUE


def test_every_shipped_step_of_a_second_person_compares_who_stands_there() -> None:
    every = [
        step
        for flow in library.workflows().values()
        for phase in (*flow.phases, *flow.asides)
        for step in phase.steps
        if step.who in SECOND
    ]
    assert len(every) > 20
    assert [step.name for step in every if SECOND[step.who][0] not in step.checks] == []


@pytest.mark.parametrize("person", [TRAINEE, "QI-1", NURSE])
@pytest.mark.parametrize("who", SECOND)
def test_where_a_step_would_not_compare_it_the_station_does(
    who: Who, person: str, tmp_path: Path
) -> None:
    scene = Scene(tmp_path, "ORD-101")
    scene.open()
    scene.to("witness_the_count" if who is Who.WITNESS else "second_person_works_it_out")
    prep = scene.station.find(scene.id)
    spot = scene.station.rules_of(prep.workflow).layout.spots[prep.place]
    bare = replace(spot, step=replace(spot.step, checks=()))
    scene.station.sign_in(person, pin_of(person), second_for=scene.id)
    with pytest.raises(NotAllowed):
        scene.station._tries(prep, bare, person)
    scene.station.sign_in(COLLEAGUE, pin_of(COLLEAGUE), second_for=scene.id)
    assert scene.station._tries(prep, bare, COLLEAGUE).code == COLLEAGUE
