"""A preparation replayed: what happened when, what was too fast, beside whom it may be shown."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from checklist import library
from checklist.educator.story import EARLIER, Story, compared, story_of
from checklist.facts.row import Facts
from checklist.review.small_cell import FLOOR
from checklist.trail import Trail
from tests.faces import canaries, run
from tests.scene import Scene
from tests.team import Team, called_away, facts_in, hurried_neck, touched_rim, wrong_volume

WARD = str(library.folder("demo_db"))


@pytest.fixture(scope="module")
def team(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Team]:
    made = Team(tmp_path_factory.mktemp("team"))
    made.make("RN-12")
    made.make("RN-12", called_away, touched_rim, wrong_volume, pace=25)
    made.make("RN-12", hurried_neck)
    yield made
    made.trail.close()


def story(team: Scene, id_: str) -> Story:
    entries = team.trail.of(id_)
    flow = team.station.rules_of(entries[0].event.body["workflow"]).workflow
    return story_of(entries, flow, facts_in(team.trail, id_))


def ids(team: Team) -> list[str]:
    return [one.id for one in team.trail.preparations()]


def test_every_entry_is_told_in_its_order_with_its_time(team: Team) -> None:
    for id_ in ids(team):
        entries, found = team.trail.of(id_), story(team, id_)
        assert [m.seq for m in found.moments] == [e.seq for e in entries]
        assert [m.by for m in found.moments] == [e.event.by for e in entries]
        assert sum(m.took for m in found.moments) == found.moments[-1].since
        span = entries[-1].event.at - entries[0].event.at
        assert found.moments[-1].since == span.total_seconds()


def test_stops_remedies_and_breaks_are_told_with_their_codes(team: Team) -> None:
    found = story(team, ids(team)[1])
    told = {(m.what, m.how) for m in found.moments}
    assert ("interrupted", "call") in told and ("resumed", "") in told
    stopped = [m for m in found.moments if m.what == "refused"]
    assert [m.codes for m in stopped] == [("key_part_touched",), ("volume_over_target",)]
    assert [m.step for m in stopped] == ["draw_up", "set_the_dose"]
    ways = [m for m in found.moments if m.what == "remedied"]
    assert [m.codes for m in ways] == [("key_part_touched",), ("volume_over_target",)]
    assert [(b.step, b.cause, b.away) for b in found.breaks] == [
        ("make_the_neck_ready", "call", 90.0)
    ]


def test_time_at_a_step_is_that_of_its_tries_without_breaks(team: Team) -> None:
    stays = {s.step: s for s in story(team, ids(team)[1]).stays}
    assert (stays["make_the_neck_ready"].seconds, stays["make_the_neck_ready"].tries) == (25, 1)
    twice = stays["set_the_dose"]
    assert (twice.seconds, twice.tries, twice.stops, twice.passes) == (50, 2, 1, 1)
    assert stays["take_the_product"].seconds == 25


def test_a_phase_faster_than_hands_is_asked_about_with_the_source_of_the_least_time(
    team: Team,
) -> None:
    (fast,) = story(team, ids(team)[2]).too_fast
    assert (fast.steps, fast.seconds, fast.needed) == (("make_the_neck_ready",), 2.0, 10)
    assert fast.sources == ("common practice, no source",)
    assert story(team, ids(team)[0]).too_fast == ()


def test_a_phase_that_is_done_and_then_entered_is_judged_as_a_whole(team: Team) -> None:
    """A neck wiped while nothing was entered, then two entries at once: nothing to ask."""
    facts = facts_in(team.trail, ids(team)[2])
    steps = tuple(
        replace(one, seconds=9.0) if one.step == "snap_the_neck" else one for one in facts.steps
    )
    entries = team.trail.of(ids(team)[2])
    flow = team.station.rules_of(entries[0].event.body["workflow"]).workflow
    assert story_of(entries, flow, replace(facts, steps=steps)).too_fast == ()


def others(model: Facts, people: int, each: int) -> list[Facts]:
    """Copies of a preparation by other people, step times one second apart."""
    return [
        replace(
            model,
            preparation=replace(
                model.preparation,
                preparation=f"o-{person}-{n}",
                preparer=f"RN-9{person}",
                first_seq=1_000 + n,
            ),
            steps=tuple(replace(one, seconds=float(10 + n)) for one in model.steps),
        )
        for person in range(people)
        for n in range(each)
    ]


@pytest.mark.parametrize(
    ("people", "each", "shown"), [(5, 4, True), (4, 10, False), (5, 3, False), (19, 1, False)]
)
def test_the_units_time_is_shown_only_from_enough_people_and_preparations_on(
    team: Team, people: int, each: int, shown: bool
) -> None:
    assert (FLOOR.people, FLOOR.preparations) == (5, 20)
    model = facts_in(team.trail, ids(team)[0])
    found = compared(story(team, ids(team)[0]), others(model, people, each))
    assert {one.unit is not None for one in found} == {shown}
    if shown:
        pace = found[0].unit
        assert pace is not None
        # 10, 11, 12 and 13 seconds by each of five: middle 11.5, middle half 10.5 to 12.5.
        assert (pace.middle, pace.low, pace.high) == (11.5, 10.5, 12.5)
        assert (pace.preparations, pace.people) == (20, 5)


def test_the_units_time_never_rests_on_the_person_or_another_container(team: Team) -> None:
    model = facts_in(team.trail, ids(team)[0])
    own = [
        replace(one, preparation=replace(one.preparation, preparer="RN-12"))
        for one in others(model, 5, 4)
    ]
    vials = [
        replace(one, preparation=replace(one.preparation, container="powder_vial"))
        for one in others(model, 5, 4)
    ]
    found = compared(story(team, ids(team)[0]), [*own, *vials])
    assert all(one.unit is None for one in found)


@pytest.mark.parametrize("count", [EARLIER - 1, EARLIER])
def test_own_earlier_times_are_shown_from_five_on_and_later_ones_never_count(
    team: Team, count: int
) -> None:
    model = facts_in(team.trail, ids(team)[0])
    later = story(team, ids(team)[2])
    earlier = [
        replace(
            model,
            preparation=replace(model.preparation, preparation=f"e-{n}", first_seq=n + 1),
        )
        for n in range(count)
    ]
    after = [
        replace(one, preparation=replace(one.preparation, preparation="later", first_seq=10_000))
        for one in earlier
    ]
    found = compared(later, [*earlier, *after])
    assert {one.own is not None for one in found} == {count >= EARLIER}
    assert all(one.own is None or one.own.preparations == count for one in found)


def test_second_persons_are_told_in_pairs(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id="ORD-101")
    scene.open()
    scene.finish()
    pairs = story(scene, scene.id).pairs
    assert {one.step for one in pairs} >= {"witness_the_count", "second_person_works_it_out"}
    assert all(one.second == "RN-27" and one.preparer == "RN-12" for one in pairs)
    assert all(one.agreed and one.apart == 20.0 for one in pairs if one.role == "checker")
    scene.trail.close()


# -- the command ---------------------------------------------------------------------------------


def test_the_replay_shows_times_questions_and_the_state_of_the_trail(
    team: Team, tmp_path: Path
) -> None:
    file = str(team.folder / "trail.db")
    words = ("review", ids(team)[2], "--trail", file, "--ward", WARD, "--as", "ED-1")
    done = run(*words, home=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Trail whole" in done.stdout
    assert "hands need at least 10 s (common practice, no" in done.stdout
    assert "too few to show (fewer than 5 people or 20 preparations)" in done.stdout
    assert not [one for one in canaries() if one in done.stdout]
    data = json.loads(run(*words, "--json", home=tmp_path).stdout)
    assert data["preparation"] == ids(team)[2] and data["too_fast"][0]["needed"] == 10
    assert all(one["unit"] is None for one in data["times"])


REFUSED = [
    ("RN-27", ("review", "last")),
    ("QI-1", ("review", "feedback", "last")),
    ("PH-2", ("review", "progress", "RN-12")),
    ("CA-5", ("review", "feedback", "RN-12")),
    ("QI-1", ("review", "due", "RN-12")),
]


@pytest.mark.parametrize(("who", "words"), REFUSED)
def test_a_persons_work_is_refused_plainly_to_everybody_else(
    team: Team, who: str, words: tuple[str, ...], tmp_path: Path
) -> None:
    file = str(team.folder / "trail.db")
    done = run(*words, "--trail", file, "--ward", WARD, "--as", who, home=tmp_path)
    assert done.returncode == 1 and done.stdout == ""
    assert "shown to RN-12 and to the unit's educator only" in done.stderr
    assert "Nothing was shown." in done.stderr


def test_people_see_their_own_work(team: Team, tmp_path: Path) -> None:
    file = str(team.folder / "trail.db")
    done = run("review", "last", "--trail", file, "--ward", WARD, "--as", "RN-12", home=tmp_path)
    assert done.returncode == 0 and "By RN-12" in done.stdout


def test_a_trail_that_was_changed_is_no_evidence(team: Team, tmp_path: Path) -> None:
    import sqlite3

    copy = tmp_path / "trail.db"
    with sqlite3.connect(copy) as into:
        source = sqlite3.connect(team.folder / "trail.db")
        source.backup(into)
        source.close()
        into.execute("DROP TRIGGER entries_no_update")
        into.execute("UPDATE entries SET at = '2026-11-25T14:00:01.000000Z' WHERE seq = 5")
    into.close()
    done = run("review", "last", "--trail", str(copy), "--ward", WARD, "--as", "ED-1",
               home=tmp_path)  # fmt: skip
    assert done.returncode == 3 and done.stdout == ""
    assert "no evidence about anybody" in done.stderr


def test_who_asked_to_see_whose_work_and_was_refused_is_in_the_trail(tmp_path: Path) -> None:
    """A nurse who asks for another's work sees nothing of it, and the ask is an entry."""
    made = Team(tmp_path)
    made.make("RN-12")
    id_ = next(iter(made.trail.preparations())).id
    made.trail.close()
    trail = ("--trail", str(tmp_path / "trail.db"), "--ward", WARD)
    for words in (("replay", id_), ("progress", "RN-12"), ("events", str(tmp_path / "out"))):
        found = run("review", *words, *trail, "--as", "RN-31", home=tmp_path)
        assert found.returncode == 1 and "Nothing was" in found.stderr, found
        assert id_ not in found.stdout
    assert run("review", "replay", id_, *trail, "--as", "RN-12", home=tmp_path).returncode == 0
    with Trail.open(tmp_path / "trail.db", read_only=True) as kept:
        newest_first = [entry.event for entry in kept.acts(["not_allowed"])]
        assert kept.verify().whole
    asked = newest_first[::-1]
    assert [(one.by, one.body["action"], one.body["of"]) for one in asked] == [
        ("RN-31", "review_person", "RN-12"),
        ("RN-31", "review_person", "RN-12"),
        ("RN-31", "review_person", ""),
    ]
    assert asked[0].body["preparation"] == id_
