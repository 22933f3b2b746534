"""Signing in: a PIN of one's own, afresh for a second person, a lock after wrong ones, recorded."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from checklist.answer import Answer
from checklist.attendance import UNPROVEN
from checklist.credential import PracticePins
from checklist.lockout import FOR_GOOD
from checklist.observation import Channel
from checklist.permission import Action
from checklist.preparation import Act
from checklist.quantity import Quantity
from checklist.station import NotHere, NotSignedIn, Station
from checklist.unit import SignIn
from checklist.verdict import Remedy
from tests.people import pin_of, set_pins
from tests.scene import COLLEAGUE, NURSE, TRAINEE, Scene

WRONG = "a pin of nobody"


@pytest.fixture
def scene(tmp_path: Path) -> Scene:
    return Scene(tmp_path, "ORD-101")


def plain(scene: Scene) -> Station:
    """The scene's station as another program would hold it: nobody signs in by themselves."""
    return another(scene)


def another(scene: Scene, **changes: Any) -> Station:
    ready = scene.station
    return Station(
        scene.trail,
        scene.ward,
        workflows=ready.workflows,
        limits=ready.limits,
        required=ready.required,
        name="W7E-2",
        clock=lambda: scene.now,
        new_id=lambda: f"other-{next(scene._numbers):06d}",
        reload=lambda ward: scene.ward,
        **{"credentials": ready._attendance._credentials, **changes},
    )


def acts(scene: Scene) -> list[tuple[str, str, dict[str, Any]]]:
    """What happened beside the preparations: kind, person, body."""
    return [(e.event.kind, e.event.by, dict(e.event.body)) for e in scene.trail.of("")]


def at_the_witness(scene: Scene) -> Station:
    """A plain station at the step of a witness, with the nurse signed in."""
    scene.open()
    scene.to("witness_the_count")
    station = plain(scene)
    station.sign_in(NURSE, pin_of(NURSE))
    return station


def right(scene: Scene) -> dict[str, Answer]:
    return {name: Answer(raw, Channel.TYPED) for name, raw in scene.right().items()}


# -- in and out ----------------------------------------------------------------------------------


def test_a_sign_in_is_an_entry_with_person_proof_and_roles(scene: Scene) -> None:
    station = plain(scene)
    assert station.sign_in(NURSE, pin_of(NURSE)).code == NURSE
    assert station.sign_in("952000000000001276", pin_of(COLLEAGUE)).code == COLLEAGUE
    station.sign_out(NURSE)
    station.sign_out(NURSE)
    roles = ["preparer", "checker", "witness", "leader"]
    at = {"preparation": "", "step": ""}
    assert acts(scene) == [
        ("signed_in", NURSE, {"person": NURSE, "proof": "pin", "roles": roles, **at}),
        ("signed_in", COLLEAGUE, {"person": COLLEAGUE, "proof": "pin", "roles": roles, **at}),
        ("signed_out", NURSE, {"person": NURSE}),
    ]
    with pytest.raises(NotSignedIn, match="sign in first"):
        station.open("ORD-103", NURSE)


@pytest.mark.parametrize(
    ("code", "pin", "fault", "why"),
    [
        (NURSE, WRONG, "does not fit", "pin"),
        (NURSE, "", "does not fit", "pin"),
        (NURSE, pin_of(COLLEAGUE), "does not fit", "pin"),
        (NURSE, "x" * 100_000, "does not fit", "pin"),
        (NURSE, "\udc80\x00", "does not fit", "pin"),
        ("RN-08", pin_of("RN-08"), "no longer active", "not active"),
        ("RN-99", pin_of(NURSE), "no member of staff", "unknown"),
        (WRONG, WRONG, "no member of staff", "unknown"),
        ("", "", "no member of staff", "unknown"),
    ],
)
def test_a_sign_in_that_is_refused_is_an_entry_without_what_was_typed(
    code: str, pin: str, fault: str, why: str, scene: Scene
) -> None:
    station = plain(scene)
    with pytest.raises((NotSignedIn, NotHere), match=fault) as told:
        station.sign_in(code, pin)
    assert WRONG not in str(told.value) and "pin of" not in str(told.value)
    ((kind, by, body),) = acts(scene)
    assert (kind, by, body["why"]) == ("not_signed_in", UNPROVEN, why)
    assert body["person"] == (code if code in scene.ward.staff else "")
    with pytest.raises((NotSignedIn, NotHere)):
        station.permit(code, Action.PREPARE)


def test_nobody_signs_in_where_there_are_no_pins(scene: Scene, tmp_path: Path) -> None:
    nobody = set_pins(tmp_path / "none.json", ())
    for keeper in (None, nobody):
        with pytest.raises(NotSignedIn, match="no PIN is set"):
            another(scene, credentials=keeper).sign_in(NURSE, pin_of(NURSE))


def test_a_pin_that_somebody_else_has_set_opens_nothing(scene: Scene, tmp_path: Path) -> None:
    keeper = set_pins(tmp_path / "given.json", (NURSE,))
    keeper.keep(NURSE, "for once only", given=True, between=lambda: None)
    with pytest.raises(NotSignedIn, match="set your own first"):
        another(scene, credentials=keeper).sign_in(NURSE, "for once only")
    assert acts(scene)[-1][2]["why"] == "given pin"


def test_a_unit_may_go_by_codes_alone_and_the_trail_says_so(scene: Scene) -> None:
    scene.change_unit(sign_in_with=SignIn.CODE)
    station = another(scene, credentials=None)
    station.sign_in(NURSE)
    assert acts(scene)[-1][2]["proof"] == "code"
    assert station.open("ORD-103", NURSE).entry.event.kind == "opened"


def test_printed_pins_are_told_apart_from_a_persons_own(scene: Scene) -> None:
    station = another(scene, credentials=PracticePins({NURSE: "270612", TRAINEE: ""}))
    station.sign_in(NURSE, "270612")
    assert acts(scene)[-1][2]["proof"] == "practice pin"
    for code, pin in ((NURSE, "270613"), (TRAINEE, ""), (COLLEAGUE, "")):
        with pytest.raises(NotSignedIn):
            station.sign_in(code, pin)


ACTS = {
    "attempt": lambda s, id_, by: s.attempt(id_, {}, by),
    "remedy": lambda s, id_, by: s.remedy(id_, Remedy.RECHECK, by),
    "proceed": lambda s, id_, by: s.proceed(id_, "looked_again", by),
    "resume": lambda s, id_, by: s.resume(id_, by),
    "end": lambda s, id_, by: s.end(id_, "order_changed", by),
    "note": lambda s, id_, by: s.note(id_, "x", by),
    "show": lambda s, id_, by: s.show_target(id_, by),
    "open": lambda s, id_, by: s.open("ORD-103", by),
}


@pytest.mark.parametrize("act", ACTS)
def test_nothing_is_done_in_the_name_of_somebody_who_is_not_here(act: str, scene: Scene) -> None:
    scene.open()
    head = scene.trail.head()
    for person in (NURSE, COLLEAGUE):
        with pytest.raises(NotSignedIn):
            ACTS[act](plain(scene), scene.id, person)
    assert scene.trail.head() == head


def test_a_break_is_taken_from_anybody(scene: Scene) -> None:
    scene.open()
    assert plain(scene).interrupt(scene.id, "alarm", COLLEAGUE).entry.event.kind == "interrupted"


# -- the second person ---------------------------------------------------------------------------


def test_a_second_person_signs_in_for_that_step_and_is_gone_with_it(scene: Scene) -> None:
    station = at_the_witness(scene)
    station.sign_in(COLLEAGUE, pin_of(COLLEAGUE))
    with pytest.raises(NotSignedIn, match="signs in for it afresh"):  # being here is not enough
        station.attempt(scene.id, right(scene), COLLEAGUE)
    station.sign_in(COLLEAGUE, pin_of(COLLEAGUE), second_for=scene.id)
    at = {"preparation": scene.id, "step": "witness_the_count"}
    assert acts(scene)[-1][2].items() >= at.items()
    assert station.attempt(scene.id, right(scene), COLLEAGUE).entry.event.kind == "passed"
    while scene.hands() != COLLEAGUE:
        station.attempt(scene.id, right(scene), NURSE)
    with pytest.raises(NotSignedIn, match="afresh"):
        station.attempt(scene.id, right(scene), COLLEAGUE)


def test_a_second_person_may_speak_at_a_stop_and_is_gone_when_the_work_goes_back(
    scene: Scene,
) -> None:
    station = at_the_witness(scene)
    station.sign_in(COLLEAGUE, pin_of(COLLEAGUE), second_for=scene.id)
    wrong = {**right(scene), "witness_count_after": Answer("3", Channel.TYPED)}
    assert station.attempt(scene.id, wrong, COLLEAGUE).entry.event.kind == "refused"
    assert station.note(scene.id, "looked twice", COLLEAGUE).entry.event.by == COLLEAGUE
    assert station.remedy(scene.id, Remedy.RECHECK, COLLEAGUE).screen.prep.place == (
        "count_the_stock"
    )
    with pytest.raises(NotSignedIn):
        station.note(scene.id, "still here", COLLEAGUE)


def test_a_second_person_may_read_again_at_the_same_step(scene: Scene) -> None:
    station = at_the_witness(scene)
    scene.to("second_person_works_it_out")
    station.sign_in(COLLEAGUE, pin_of(COLLEAGUE), second_for=scene.id)
    missing = {n: a for n, a in right(scene).items() if n != "checker_volume"}
    assert station.attempt(scene.id, missing, COLLEAGUE).entry.event.kind == "refused"
    station.remedy(scene.id, Remedy.RECHECK, COLLEAGUE)
    assert station.attempt(scene.id, right(scene), COLLEAGUE).entry.event.kind == "passed"


def test_where_another_is_fetched_the_first_signs_in_afresh_too(scene: Scene) -> None:
    station = at_the_witness(scene)
    scene.to("second_person_works_it_out")
    station.sign_in(COLLEAGUE, pin_of(COLLEAGUE), second_for=scene.id)
    missing = {n: a for n, a in right(scene).items() if n != "checker_volume"}
    station.attempt(scene.id, missing, COLLEAGUE)
    station.remedy(scene.id, Remedy.SECOND_PERSON, COLLEAGUE)
    with pytest.raises(NotSignedIn, match="afresh"):
        station.attempt(scene.id, right(scene), COLLEAGUE)


def test_a_break_asks_for_a_fresh_sign_in(scene: Scene) -> None:
    station = at_the_witness(scene)
    station.sign_in(COLLEAGUE, pin_of(COLLEAGUE), second_for=scene.id)
    station.interrupt(scene.id, "call", NURSE)
    with pytest.raises(NotSignedIn):
        station.note(scene.id, "x", COLLEAGUE)


def test_another_second_person_takes_the_place_of_the_first(scene: Scene) -> None:
    station = at_the_witness(scene)
    station.sign_in(COLLEAGUE, pin_of(COLLEAGUE), second_for=scene.id)
    station.sign_in("PH-2", pin_of("PH-2"), second_for=scene.id)
    with pytest.raises(NotSignedIn):
        station.attempt(scene.id, right(scene), COLLEAGUE)
    assert station.attempt(scene.id, right(scene), "PH-2").entry.event.by == "PH-2"


def test_the_preparer_with_their_own_pin_is_still_not_the_second_person(scene: Scene) -> None:
    station = at_the_witness(scene)
    station.sign_in(NURSE, pin_of(NURSE), second_for=scene.id)
    outcome = station.attempt(scene.id, right(scene), NURSE)
    assert outcome.entry.event.kind == "refused"
    assert "cd_witness_same_person" in {one.code for one in outcome.told}


def test_a_second_sign_in_counts_at_its_own_station_alone(scene: Scene) -> None:
    station = at_the_witness(scene)
    station.sign_in(COLLEAGUE, pin_of(COLLEAGUE), second_for=scene.id)
    with pytest.raises(NotSignedIn):
        another(scene).attempt(scene.id, right(scene), COLLEAGUE)


# -- locked --------------------------------------------------------------------------------------


def fail(station: Station, times: int, code: str = NURSE) -> None:
    for _ in range(times):
        with pytest.raises(NotSignedIn):
            station.sign_in(code, WRONG)


def by_hand(scene: Scene, kind: str, **body: str) -> None:
    """What an administrator does at the command line while others work."""
    act = Act(
        id=f"by-hand-{kind}", kind=kind, at=scene.now, by="AD-1", station="",
        channel=Channel.TYPED.value, body={"person": NURSE, **body},
    )  # fmt: skip
    scene.trail.record(act)


def test_pins_that_do_not_fit_shut_out_for_a_time_at_every_station(scene: Scene) -> None:
    station = plain(scene)
    fail(station, 4)
    with pytest.raises(NotSignedIn, match="locked until 14:15"):
        another(scene).sign_in(NURSE, WRONG)
    kind, by, body = acts(scene)[-1]
    assert (kind, by, body["person"], body["why"]) == ("locked", UNPROVEN, NURSE, "tries")
    scene.wait(minutes=14)
    for one in (station, another(scene)):
        with pytest.raises(NotSignedIn, match="locked until"):
            one.sign_in(NURSE, pin_of(NURSE))
        assert acts(scene)[-1][2]["why"] == "locked"
    assert station.sign_in(COLLEAGUE, pin_of(COLLEAGUE)).code == COLLEAGUE
    scene.wait(minutes=1)
    assert station.sign_in(NURSE, pin_of(NURSE)).code == NURSE


def test_a_pin_that_fits_clears_the_count_and_tries_while_locked_add_nothing(
    scene: Scene,
) -> None:
    station = plain(scene)
    fail(station, 4)
    station.sign_in(NURSE, pin_of(NURSE))
    fail(station, 4)
    station.sign_in(NURSE, pin_of(NURSE))
    fail(station, 5)
    fail(station, 20)
    scene.wait(minutes=15)
    fail(station, 4)
    assert station.sign_in(NURSE, pin_of(NURSE)).code == NURSE


def test_a_unit_may_tighten_both_the_tries_and_the_time(scene: Scene) -> None:
    scene.change_unit(pin_tries=2, pin_lock=Quantity.parse("2 h"))
    station = plain(scene)
    fail(station, 2)
    scene.wait(minutes=119)
    fail(station, 1)
    with pytest.raises(NotSignedIn, match="locked"):
        station.sign_in(NURSE, pin_of(NURSE))
    scene.wait(minutes=1)
    assert station.sign_in(NURSE, pin_of(NURSE)).code == NURSE


def test_wrong_pins_of_a_second_person_count_like_any(scene: Scene) -> None:
    station = at_the_witness(scene)
    for _ in range(5):
        with pytest.raises(NotSignedIn):
            station.sign_in(COLLEAGUE, WRONG, second_for=scene.id)
    assert acts(scene)[-1][0] == "locked"


def test_wrong_pins_typed_elsewhere_take_nobody_away_from_a_dose(scene: Scene) -> None:
    station = plain(scene)
    station.sign_in(NURSE, pin_of(NURSE))
    id_ = station.open("ORD-101", NURSE).screen.prep.id
    fail(another(scene), 9)
    assert acts(scene)[-1][2]["why"] == "locked"
    assert station.attempt(id_, {}, NURSE).entry.event.by == NURSE
    with pytest.raises(NotSignedIn, match="locked until"):
        another(scene).sign_in(NURSE, pin_of(NURSE))


def test_whoever_is_locked_by_hand_while_at_work_acts_no_more(scene: Scene) -> None:
    station = plain(scene)
    station.sign_in(NURSE, pin_of(NURSE))
    id_ = station.open("ORD-101", NURSE).screen.prep.id
    by_hand(scene, "locked", until=FOR_GOOD, why="by hand")
    head = scene.trail.head()
    with pytest.raises(NotSignedIn, match="locked"):
        station.attempt(id_, {}, NURSE)
    assert scene.trail.head() == head
    by_hand(scene, "unlocked")
    with pytest.raises(NotSignedIn, match="sign in first"):
        station.attempt(id_, {}, NURSE)


def test_a_person_who_leaves_the_unit_acts_no_more(scene: Scene) -> None:
    scene.open()
    gone = replace(scene.ward.staff[NURSE], active=False)
    scene._set(replace(scene.ward, staff={**scene.ward.staff, NURSE: gone}))
    with pytest.raises(NotSignedIn, match="no longer active"):
        scene.attempt()
