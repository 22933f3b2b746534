"""Observations: what can be recorded, corrected and decided on, by whom, and where it is kept."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import product
from pathlib import Path

import pexpect
import pytest

from checklist import library
from checklist.educator.access import Act, NotForYou, allow
from checklist.educator.competence import (
    COMPETENT,
    NOT_YET,
    NotDecided,
    decided,
    decision_of,
    due,
    standing,
)
from checklist.educator.watch import (
    ANSWERS,
    NOT_OBSERVABLE,
    NOT_SO,
    OBSERVED,
    SEEN,
    NotObserved,
    Watch,
    answered,
    said,
    watch_of,
)
from checklist.people import Role, StaffMember
from checklist.trail import Trail
from tests.faces import COMMAND, pins, run, surroundings
from tests.team import Team, Watcher

WARD = str(library.folder("demo_db"))


@pytest.fixture(scope="module")
def team(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Team]:
    made = Team(tmp_path_factory.mktemp("team"))
    made.make("RN-12")
    made.make("RN-41")
    yield made
    made.trail.close()


@pytest.fixture
def watcher(team: Team, tmp_path: Path) -> Iterator[Watcher]:
    made = Watcher(team, tmp_path / "trail.reviews")
    yield made
    made.kept.close()


def first(team: Team) -> str:
    return team.trail.preparations()[0].id


# -- what an observation takes ---------------------------------------------------------------------


def test_an_observation_is_tied_to_the_entry_at_which_the_preparation_stood(
    team: Team, watcher: Watcher
) -> None:
    watch = watcher.begin(first(team), "ED-1")
    last = team.trail.of(first(team))[-1]
    assert (watch.seq, watch.digest) == (last.seq, last.digest.hex())
    assert (watch.about, watch.person, watch.observer) == (first(team), "RN-12", "ED-1")
    flow = team.station.rules_of(watch.workflow).workflow
    assert watch.items == flow.observe and len(watch.left) == len(flow.observe)


def test_a_correction_is_a_new_entry_with_a_reason_and_the_first_answer_stays(
    team: Team, watcher: Watcher
) -> None:
    watch = watcher.answer(watcher.begin(first(team), "ED-1"), {"neck_dries": SEEN})
    with pytest.raises(NotObserved, match="A correction is a new entry and takes a reason"):
        watcher.answer(watch, {"neck_dries": NOT_SO})
    with pytest.raises(NotObserved, match="takes a reason"):
        watcher.answer(watch, {"neck_dries": NOT_SO}, because="  ")
    after = watcher.answer(watch, {"neck_dries": NOT_SO}, because="two items mixed up")
    assert (after.answers["neck_dries"].word, after.answers["neck_dries"].corrected) == (NOT_SO, 1)
    entries = watcher.kept.of(watch.id)
    assert [e.event.body["answers"][0]["answer"] for e in entries[1:]] == [SEEN, NOT_SO]
    assert entries[2].event.body["corrects"] == ["neck_dries"]
    assert watcher.kept.verify().whole


def test_remarks_and_words_are_sealed_and_can_be_erased_without_breaking_the_chain(
    team: Team, watcher: Watcher
) -> None:
    secret = "Wren Alderby hurried"
    watch = watcher.begin(first(team), "ED-1")
    told = {one.name: (SEEN, secret) for one in watch.items}
    event, texts = answered(watch, told, watcher.stamp("ED-1"), watcher.new_id)
    watcher.kept.append(event, texts)
    event, texts = said(
        watcher.now(watch.id),
        {"learner_well": secret, "well": secret},
        watcher.stamp("ED-1"),
        watcher.new_id,
    )
    watcher.kept.append(event, texts)
    now = watcher.now(watch.id)
    bodies = [json.dumps(dict(e.event.body)) for e in watcher.kept.since(0)]
    assert not [one for one in bodies if "Wren" in one]
    remark = now.answers["neck_dries"].remark
    assert watcher.kept.unsealed(remark) == secret
    assert watcher.kept.unsealed(now.words["well"]) == secret


@pytest.mark.parametrize(
    ("answers", "sentence"),
    [
        ({"no_such_item": SEEN}, "is no item of this observation"),
        ({"neck_dries": "perhaps"}, "is no answer. There are: seen, not so, not observable"),
        ({}, "There is no answer to record"),
    ],
)
def test_what_an_observation_cannot_take_is_said(
    team: Team, watcher: Watcher, answers: dict[str, str], sentence: str
) -> None:
    watch = watcher.begin(first(team), "ED-1")
    with pytest.raises(NotObserved, match=sentence):
        watcher.answer(watch, answers)
    assert len(watcher.kept.of(watch.id)) == 1


def test_only_its_observer_goes_on_with_an_observation(team: Team, watcher: Watcher) -> None:
    watch = watcher.begin(first(team), "ED-1")
    with pytest.raises(NotObserved, match="This observation is ED-1's"):
        answered(watch, {"neck_dries": (SEEN, "")}, watcher.stamp("ED-2"), watcher.new_id)


def test_the_learner_speaks_before_the_observer(team: Team, watcher: Watcher) -> None:
    """In every order of entries: the observer's words never stand where the learner's do not."""
    watch = watcher.begin(first(team), "ED-1")
    own = {"well": "Clean hands.", "change": "Let it dry.", "next_step": "Three with a clock."}
    for name, text in own.items():
        with pytest.raises(NotObserved, match="The learner speaks first"):
            said(watch, {name: text, "learner_well": " "}, watcher.stamp("ED-1"), watcher.new_id)
    for heard in ("learner_well", "learner_change", "learner_skipped"):
        said(watch, {**own, heard: "words"}, watcher.stamp("ED-1"), watcher.new_id)
    event, texts = said(watch, {"learner_skipped": "called"}, watcher.stamp("ED-1"), watcher.new_id)
    watcher.kept.append(event, texts)
    assert watcher.now(watch.id).learner_heard
    said(watcher.now(watch.id), own, watcher.stamp("ED-1"), watcher.new_id)


@pytest.mark.parametrize(
    ("by", "words", "finish", "taken"),
    [
        ("RN-12", {"learner_well": "calm", "learner_change": "light"}, False, True),
        ("RN-12", {"learner_well": "calm"}, True, False),
        ("RN-12", {"learner_well": "calm", "well": "all of it"}, False, False),
        ("RN-12", {"learner_skipped": "no time"}, False, False),
        ("RN-12", {}, False, False),
        ("RN-41", {"learner_well": "calm"}, False, False),
    ],
)
def test_a_learner_adds_their_own_words_and_nothing_else(
    team: Team, watcher: Watcher, by: str, words: dict[str, str], finish: bool, taken: bool
) -> None:
    watch = watcher.whole(first(team), "ED-1")
    if taken:
        event, texts = said(watch, words, watcher.stamp(by), watcher.new_id, finish=finish)
        watcher.kept.append(event, texts)
        after = watcher.now(watch.id)
        assert after.words.keys() == words.keys() and after.finished
        assert after.observer == "ED-1"
    else:
        with pytest.raises(NotObserved, match="This observation is ED-1's"):
            said(watch, words, watcher.stamp(by), watcher.new_id, finish=finish)


def test_nothing_is_complete_while_an_item_is_open(team: Team, watcher: Watcher) -> None:
    watch = watcher.answer(watcher.begin(first(team), "ED-1"), {"neck_dries": SEEN})
    with pytest.raises(NotObserved, match="items have no answer yet"):
        said(watch, {}, watcher.stamp("ED-1"), watcher.new_id, finish=True)
    whole = watcher.whole(first(team), "ED-2", snaps_away=NOT_SO)
    assert whole.finished and whole.place == OBSERVED and whole.left == ()
    assert [one.name for one in whole.answered(NOT_SO, critical=True)] == ["snaps_away"]


def test_observing_never_moves_the_preparation_on(tmp_path: Path) -> None:
    """The nurse's turn stands though an observer records in the middle of the step."""
    team = Team(tmp_path)
    team._made = 7
    team.preparer = "RN-12"
    team.open()
    team.to("draw_up")
    before = team.station.find(team.id).turn
    watcher = Watcher(team, tmp_path / "trail.reviews")
    watch = watcher.begin(team.id, "ED-1")
    watcher.answer(watch, {"neck_dries": NOT_SO})
    assert team.station.find(team.id).turn == before
    assert team.attempt().entry.event.turn == before + 1
    assert "opened" not in {e.event.kind for e in team.trail.of(team.id)[1:]}
    team.trail.close()
    watcher.kept.close()


def test_a_thread_of_another_kind_is_no_observation(team: Team) -> None:
    assert watch_of(team.trail.of(first(team))) is None
    assert decision_of(team.trail.of(first(team))) is None


# -- who may what --------------------------------------------------------------------------------

ALLOWED = {
    (Role.EDUCATOR, Act.SEE), (Role.EDUCATOR, Act.OBSERVE), (Role.EDUCATOR, Act.DECIDE),
    (Role.EDUCATOR, Act.COMPARE), (Role.EDUCATOR, Act.EXPORT), (Role.QI_LEAD, Act.EXPORT),
    (Role.PHARMACIST, Act.EXPORT),
}  # fmt: skip


@pytest.mark.parametrize(("role", "act"), list(product(Role, Act)))
def test_each_role_may_do_just_what_is_listed_with_others_work(role: Role, act: Act) -> None:
    by = StaffMember(code="X-1", name="", roles=(role,))
    if (role, act) in ALLOWED:
        allow(by, act, "RN-12")
    else:
        with pytest.raises(NotForYou):
            allow(by, act, "RN-12")
    with pytest.raises(NotForYou, match="no longer works on this unit"):
        allow(replace(by, active=False), act, "RN-12")


@pytest.mark.parametrize("role", list(Role))
def test_people_see_their_own_work_and_never_observe_or_decide_on_themselves(role: Role) -> None:
    by = StaffMember(code="X-1", name="", roles=(role,))
    allow(by, Act.SEE, "X-1")
    for act in (Act.OBSERVE, Act.DECIDE):
        with pytest.raises(NotForYou, match="of their own"):
            allow(by, act, "X-1")


# -- decisions -----------------------------------------------------------------------------------

DAY = date(2027, 11, 25)


def decide(watcher: Watcher, outcome: str, *watches: Watch, until: date | None = DAY) -> None:
    event = decided(
        watcher.new_id(),
        "RN-12",
        "glass_ampoule",
        outcome,
        watches,
        watcher.stamp("ED-1"),
        until=until,
    )
    watcher.kept.append(event)


def test_competence_rests_on_observations_with_no_critical_item_missed(
    team: Team, watcher: Watcher
) -> None:
    with pytest.raises(NotDecided, match="No observation is named"):
        decide(watcher, COMPETENT)
    missed = watcher.whole(first(team), "ED-1", snaps_away=NOT_SO)
    with pytest.raises(NotDecided, match="a critical item that was not so: Wraps the neck"):
        decide(watcher, COMPETENT, missed)
    decide(watcher, NOT_YET, missed)
    unseen = watcher.whole(first(team), "ED-2", snaps_away=NOT_OBSERVABLE)
    with pytest.raises(NotDecided, match="Nobody has seen this critical item yet"):
        decide(watcher, COMPETENT, unseen)
    small = watcher.whole(first(team), "ED-1", neck_dries=NOT_SO)
    decide(watcher, COMPETENT, unseen, small)
    with pytest.raises(NotDecided, match="holds until a day to come"):
        decide(watcher, COMPETENT, small, until=date(2020, 1, 1))
    other = watcher.whole(team.trail.preparations()[1].id, "ED-1")
    with pytest.raises(NotDecided, match="is about RN-41"):
        decide(watcher, COMPETENT, other)
    unfinished = watcher.begin(first(team), "ED-1")
    with pytest.raises(NotDecided, match="is not complete"):
        decide(watcher, COMPETENT, unfinished)
    threads = [watcher.kept.of(one.id) for one in watcher.kept.preparations()]
    found = [one for one in map(decision_of, threads) if one]
    assert [one.outcome for one in found] == [NOT_YET, COMPETENT]
    assert standing(found)["RN-12", "glass_ampoule"].outcome == COMPETENT


def test_what_is_due_is_listed_by_its_day_and_without_those_who_left() -> None:
    today = date(2026, 11, 25)
    staff = {
        "A-1": StaffMember(code="A-1", name="", roles=(Role.PREPARER,),
                           competent={"IV": date(2026, 12, 1), "IM": date(2026, 11, 1)}),
        "A-2": StaffMember(code="A-2", name="", roles=(Role.PREPARER,), active=False,
                           competent={"IV": date(2026, 11, 30)}),
    }  # fmt: skip
    rows = due([], staff, today)
    assert [(r.person, r.what, r.days) for r in rows] == [("A-1", "IM", -24), ("A-1", "IV", 6)]


# -- at the terminal and by lines ------------------------------------------------------------------


def shared(team: Team, folder: Path) -> str:
    """The team's trail, copied so that each test has its own observations beside it."""
    import sqlite3

    copy = folder / "trail.db"
    with sqlite3.connect(team.folder / "trail.db") as source, sqlite3.connect(copy) as into:
        source.backup(into)
    source.close()
    into.close()
    return str(copy)


def test_an_observation_by_lines_is_recorded_act_by_act(team: Team, tmp_path: Path) -> None:
    trail = shared(team, tmp_path)
    where = ("--trail", trail, "--ward", WARD, "--as", "ED-1")
    offered = run("review", "observe", first(team), *where, "--lines", home=tmp_path)
    assert offered.returncode == 1
    items = [one["name"] for one in json.loads(offered.stdout)["items"]]
    acts = [
        {"answers": {items[0]: "seen"}},
        {"answers": {items[0]: "not so"}},
        {"answers": {items[0]: {"answer": "not so", "remark": "hurried"}}, "because": "mixed up"},
        {"answers": dict.fromkeys(items[1:], "seen")},
        {"words": {"next_step": "Three with a clock."}, "due": "2026-13-09"},
        {"words": {"next_step": "Three with a clock."}, "due": "2026-12-09", "finish": True},
        {"words": {"learner_well": "The light."}},
        {"words": {"next_step": "Three with a clock."}, "due": "2026-12-09", "finish": True},
    ]
    text = "".join(json.dumps(act) + "\n" for act in acts) + "nonsense\n[1]\n"
    done = run("review", "observe", first(team), *where, "--lines", home=tmp_path, text=text)
    assert done.returncode == 0, done.stderr
    out = [json.loads(line) for line in done.stdout.splitlines()]
    assert out[0]["observation"] == json.loads(offered.stdout)["observation"]
    assert [one["outcome"] for one in out[1:]] == [
        "recorded", "not_understood", "recorded", "recorded", "not_understood", "not_understood",
        "recorded", "recorded", "not_understood", "not_understood",
    ]  # fmt: skip
    with Trail.open(tmp_path / "trail.reviews", read_only=True) as kept:
        watch = watch_of(kept.of(kept.preparations()[0].id))
        assert watch is not None and watch.finished and watch.due == date(2026, 12, 9)
        assert watch.answers[items[0]].corrected == 1
    whole = run("trail", "verify", "--trail", str(tmp_path / "trail.reviews"), home=tmp_path)
    assert whole.returncode == 0 and "whole" in whole.stdout
    assert "signatures: 5 hold" in whole.stdout
    _without_a_signature_it_is_told(tmp_path)
    sheet = run("review", "feedback", first(team), *where, home=tmp_path)
    assert "Three with a clock. By 9 Dec 2026." in sheet.stdout


def _without_a_signature_it_is_told(folder: Path) -> None:
    """An act of review that nobody signed stands out, though the chain holds."""
    with Trail.open(folder / "trail.reviews") as kept:
        one = next(e.event for e in reversed(list(kept.since(0))) if e.event.kind == "noted")
        kept.append(replace(one, id="forged", turn=one.turn + 1, place=one.lands))
    bare = run("trail", "verify", "--trail", str(folder / "trail.reviews"), home=folder)
    assert bare.returncode == 1 and "whole" in bare.stdout


def test_an_observation_at_a_terminal_goes_on_where_it_was_left(team: Team, tmp_path: Path) -> None:
    trail = shared(team, tmp_path)
    words = ["review", "observe", first(team), "--trail", trail, "--ward", WARD, "--as", "ED-1"]
    flow = team.station.rules_of(team.trail.of(first(team))[0].event.body["workflow"]).workflow

    def sitting() -> pexpect.spawn[str]:
        child = pexpect.spawn(
            COMMAND[0], [*COMMAND[1:], *words], env={**surroundings(tmp_path), "COLUMNS": "100"},
            encoding="utf-8", timeout=20, dimensions=(40, 100),
        )  # fmt: skip
        child.expect("PIN of ED-1")
        child.sendline(pins()["ED-1"])
        return child

    child = sitting()
    child.expect(r"\[s/n/o\] >")
    child.sendline("x")
    child.expect("Type s, n or o")
    child.expect(r"\[s/n/o\] >")
    child.sendline("n looked at a note")
    child.expect(r"\[s/n/o\] >")
    child.sendline(":q")
    child.expect(f"{len(flow.observe) - 1} items are left; the same command goes on")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 1

    child = sitting()
    for _ in range(len(flow.observe) - 1):
        child.expect(r"\[s/n/o\] >")
        child.sendline("s")
    for _ in range(2):
        child.expect("learner's words >")
        child.sendline("")
    child.expect("Why the learner says nothing >")
    child.sendline("called back to the ward")
    for _ in range(2):
        child.expect("What went well >|What to change >")
        child.sendline("")
    child.expect("next step that was agreed >")
    child.sendline("Read the order itself")
    child.expect("By which day")
    child.sendline("tomorrow")
    child.expect("A day is written like")
    child.expect("By which day")
    child.sendline("2026-12-09")
    child.expect("Critical items not so: 0")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0


@pytest.mark.parametrize(
    ("who", "sentence"),
    [
        ("RN-27", "To observe a preparation takes the role educator"),
        ("RN-12", "RN-12 cannot observe a preparation of their own"),
        ("ZZ-9", "no member of staff has this code or badge"),
        ("RN-08", "no longer active on this unit"),
    ],
)
def test_who_may_not_observe_is_told_and_nothing_is_made(
    team: Team, who: str, sentence: str, tmp_path: Path
) -> None:
    trail = shared(team, tmp_path)
    done = run("review", "observe", first(team), "--trail", trail, "--ward", WARD, "--as", who,
               "--lines", home=tmp_path)  # fmt: skip
    assert done.returncode in (1, 2) and sentence in done.stderr and done.stdout == ""
    assert not (tmp_path / "trail.reviews").exists()


def test_a_decision_at_the_command_line_comes_up_when_it_is_due(team: Team, tmp_path: Path) -> None:
    trail = shared(team, tmp_path)
    team.now = datetime(2026, 11, 25, 18, 0, tzinfo=UTC)
    watcher = Watcher(team, tmp_path / "trail.reviews")
    watch = watcher.whole(first(team), "ED-1")
    watcher.kept.close()
    where = ("--trail", trail, "--ward", WARD, "--as", "ED-1")
    words = ("review", "decide", "RN-12", "glass_ampoule", "competent", "--until", "2099-01-31")
    bare = run(*words, *where, home=tmp_path)
    assert bare.returncode == 1 and "No observation is named" in bare.stderr
    done = run(*words, "--on", watch.id, *where, home=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "in date until 31 Jan 2099" in done.stdout
    listed = json.loads(run("review", "due", "RN-12", *where, "--json", home=tmp_path).stdout)
    assert listed[-1] == {"person": "RN-12", "what": "glass_ampoule", "until": "2099-01-31",
                          "days": listed[-1]["days"], "by": "ED-1"}  # fmt: skip
    fixed = run("review", "correct", watch.id, "snaps_away", "not so", "--because", "looked again",
                *where, home=tmp_path)  # fmt: skip
    assert fixed.returncode == 0, fixed.stderr
    assert "stays in its own entry" in fixed.stdout
    shown = run("list", "--trail", str(tmp_path / "trail.reviews"), home=tmp_path)
    assert shown.returncode == 2 and "holds observations, no preparations" in shown.stderr


def test_the_answers_are_three() -> None:
    assert ANSWERS == ("seen", "not so", "not observable")


def test_two_observers_are_compared_at_the_command_line_and_never_named(
    team: Team, tmp_path: Path
) -> None:
    trail = shared(team, tmp_path)
    watcher = Watcher(team, tmp_path / "trail.reviews")
    for one in team.trail.preparations():
        watcher.whole(one.id, "ED-1")
        watcher.whole(one.id, "ED-2", neck_dries=NOT_SO, snaps_away=NOT_OBSERVABLE)
    watcher.kept.close()
    where = ("--trail", trail, "--ward", WARD)
    done = run("review", "agreement", *where, "--as", "ED-1", home=tmp_path)
    assert done.returncode == 0, done.stderr
    (neck,) = (line.split() for line in done.stdout.splitlines() if line.startswith("neck_dries"))
    assert neck[:4] == ["neck_dries", "Cohen", "rewrite?", "2"] and "0/2" in neck
    assert "ED-2" not in done.stdout
    rows = json.loads(
        run("review", "agreement", *where, "--as", "ED-1", "--json", home=tmp_path).stdout
    )
    snaps = next(one for one in rows if one["item"] == "snaps_away")
    assert (snaps["preparations"], snaps["unseen"], snaps["kappa"]) == (0, 2, None)
    nurse = run("review", "agreement", *where, "--as", "RN-12", home=tmp_path)
    assert nurse.returncode == 1 and "takes the role educator" in nurse.stderr
