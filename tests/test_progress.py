"""A person's way to competence, the agreement of observers, and the page of feedback."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from checklist import library
from checklist.educator.agreeing import agreed
from checklist.educator.counsel import of_person, of_preparation
from checklist.educator.progress import (
    ALL,
    COMPARED,
    USUAL,
    Progress,
    chances,
    progress_of,
    stops,
)
from checklist.educator.story import story_of
from checklist.educator.watch import NOT_OBSERVABLE, NOT_SO, SEEN, Answer, Watch
from checklist.facts.row import Facts
from checklist.review.cusum import Plan, Standing
from checklist.review.feedback import MOST, WIDEST, Sheet, markdown, plain
from checklist.workflow import Technique
from tests.faces import run
from tests.team import Team, Watcher, called_away, facts_in, touched_rim, wrong_volume

WARD = str(library.folder("demo_db"))


@pytest.fixture(scope="module")
def team(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Team]:
    made = Team(tmp_path_factory.mktemp("team"))
    made.make("RN-12")
    made.make("RN-12", called_away, touched_rim, wrong_volume)
    yield made
    made.trail.close()


def played(team: Team, rights: str) -> list[Facts]:
    """As many preparations by RN-12: `r` right, `x` with a stop in the person's own work."""
    right, wrong = team.facts()
    made = {"r": right, "x": wrong}
    return [
        replace(
            made[one],
            preparation=replace(
                made[one].preparation,
                preparation=f"p-{n}",
                opened_at=f"2026-11-25T{n:06d}",
            ),
        )
        for n, one in enumerate(rights)
    ]


def way(team: Team, rights: str, plan: Plan = USUAL) -> Progress:
    return progress_of(played(team, rights), "RN-12", "glass_ampoule", plan)


# -- what counts -----------------------------------------------------------------------------------


def test_what_people_report_of_themselves_never_counts_against_them(team: Team) -> None:
    _, facts = team.facts()
    assert {f.reason for f in facts.findings} == {"key_part_touched", "volume_over_target"}
    assert [f.reason for f in stops(facts)] == ["volume_over_target"]
    assert {f.reason for f in stops(facts, every=True)} == {f.reason for f in facts.findings}
    only = [f for f in facts.findings if f.reason == "key_part_touched"]
    told = [replace(facts, findings=tuple(only))]
    assert progress_of(told, "RN-12", ALL).right == (True,)
    assert progress_of(told, "RN-12", ALL, every=True).right == (False,)
    assert "key_part_touched" not in COMPARED and "product_mismatch" in COMPARED


def test_what_is_found_about_the_order_or_by_a_second_person_does_not_count(team: Team) -> None:
    _, facts = team.facts()
    (stop,) = stops(facts)
    for other in (
        replace(stop, phase="order"),
        replace(stop, phase="patient"),
        replace(stop, person="RN-27"),
        replace(stop, who="checker"),
        replace(stop, tier="soft"),
        replace(stop, step="take_the_product"),
    ):
        assert stops(replace(facts, findings=(other,)), "set_the_dose") == ()


def test_nobody_elses_preparations_and_no_other_container_are_looked_at(team: Team) -> None:
    own = played(team, "rrr")
    others = [replace(one, preparation=replace(one.preparation, preparer="RN-41")) for one in own]
    vials = [
        replace(one, preparation=replace(one.preparation, container="powder_vial")) for one in own
    ]
    under_way = [replace(one, preparation=replace(one.preparation, ending="")) for one in own]
    found = progress_of([*others, *own, *vials, *under_way], "RN-12", "glass_ampoule")
    assert found.ids == ("p-0", "p-1", "p-2")


def test_all_containers_can_be_taken_together(team: Team) -> None:
    ampoules = played(team, "rx")
    vials = [
        replace(one, preparation=replace(one.preparation, container="powder_vial"))
        for one in played(team, "rr")
    ]
    assert len(progress_of([*ampoules, *vials], "RN-12", ALL).right) == 4


def test_one_step_alone_can_be_judged(team: Team) -> None:
    facts = played(team, "rxr")
    at_dose = progress_of(facts, "RN-12", "glass_ampoule", step="set_the_dose")
    at_neck = progress_of(facts, "RN-12", "glass_ampoule", step="make_the_neck_ready")
    assert at_dose.right == (True, False, True) and at_neck.right == (True, True, True)
    assert progress_of(facts, "RN-12", "glass_ampoule", step="no_such").right == ()


# -- the curve -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("p0", "p1", "risk", "flawless"),
    [
        (0.02, 0.05, 0.10, 71),
        (0.05, 0.10, 0.10, 41),
        (0.05, 0.15, 0.10, 20),
        (0.10, 0.20, 0.10, 19),
        (0.10, 0.20, 0.05, 25),
        (0.15, 0.30, 0.10, 12),
    ],
)
def test_flawless_attempts_reach_competence_when_the_plan_says(
    team: Team, p0: float, p1: float, risk: float, flawless: int
) -> None:
    """The fewest attempts follow from Wald's limits, worked out here anew (Kestin 1995).

    Of the published uses, 25 at 10 and 20 % is Sivaprakasam and Purva, Clin Teach 2010;7:257-261.
    """
    plan = Plan(acceptable=p0, unacceptable=p1, alpha=risk, beta=risk)
    p, q = math.log(p1 / p0), math.log((1 - p0) / (1 - p1))
    assert math.ceil(math.log((1 - risk) / risk) / q) == flawless
    assert plan.competent / plan.step == pytest.approx(math.log((1 - risk) / risk) / q)
    assert plan.step == pytest.approx(q / (p + q))
    found = way(team, "r" * flawless, plan)
    assert found.standing is Standing.COMPETENT and found.curve[-1].reached is Standing.COMPETENT
    assert way(team, "r" * (flawless - 1), plan).standing is Standing.OPEN
    assert way(team, "r" * (flawless - 1), plan).still == 1


def test_the_sum_of_seventeen_right_and_one_not_is_the_one_worked_by_hand(team: Team) -> None:
    """s = 0.145 and 2.71 at 10 and 20 % with risks of 10 %: -17 x 0.145 + 0.855 = -1.61."""
    found = way(team, "r" * 9 + "x" + "r" * 8)
    assert found.curve[-1].sum == pytest.approx(-1.61, abs=0.01)
    assert found.still == 8


def test_a_relapse_after_competence_is_seen(team: Team) -> None:
    found = way(team, "r" * 19 + "xxxx")
    assert found.standing is Standing.STOP and found.relapsed
    assert not way(team, "xxxx" + "r" * 40).relapsed


def test_the_learning_curve_has_rows_of_five_with_limits(team: Team) -> None:
    found = way(team, "xxrrr" + "rrrrr" + "rr")
    assert [(b.first, b.last, b.right.count) for b in found.blocks] == [
        (1, 5, 3), (6, 10, 5), (11, 12, 2)
    ]  # fmt: skip
    assert [r.step for r in found.repeated] == ["set_the_dose"]
    assert (found.repeated[0].share.count, found.repeated[0].share.base) == (2, 12)


def test_the_chances_of_each_verdict_add_up_and_keep_what_the_plan_promises() -> None:
    for who, competent, stop, still in chances(USUAL, 200):
        assert competent + stop + still == pytest.approx(1)
        assert (competent > 0.85) if who == "acceptable" else (stop > 0.85)


# -- agreement -------------------------------------------------------------------------------------

ITEMS = (
    Technique(name="neck_dries", say="Waits", step="make_the_neck_ready"),
    Technique(name="snaps_away", say="Snaps", step="snap_the_neck", critical=True),
)


def watches(told: Sequence[Sequence[str]], team: Team) -> list[Watch]:
    """One preparation for each row: what each observer said of `neck_dries`."""
    now = team.now
    return [
        Watch(
            id=f"w-{prep}-{observer}", turn=1, place="observed", about=f"p-{prep}",
            person="RN-12", observer=f"ED-{observer}", container="glass_ampoule", workflow="",
            when="after", seq=1, digest="", begun=now, last=now, items=ITEMS,
            answers={"neck_dries": Answer(word=word, remark="", at=now),
                     "snaps_away": Answer(word=SEEN, remark="", at=now)},
        )
        for prep, row in enumerate(told)
        for observer, word in enumerate(row)
    ]  # fmt: skip


def test_two_observers_are_compared_by_cohen_as_statsmodels_has_it(team: Team) -> None:
    inter_rater = pytest.importorskip("statsmodels.stats.inter_rater")
    told = [(SEEN, SEEN)] * 20 + [(NOT_SO, NOT_SO)] * 15 + [(SEEN, NOT_SO)] * 5
    told += [(NOT_SO, SEEN)] * 10
    neck, snap = agreed(watches(told, team))
    wanted = inter_rater.cohens_kappa([[20, 5], [10, 15]])
    assert neck.method == "Cohen" and neck.kappa is not None and neck.same is not None
    assert neck.kappa.kappa == pytest.approx(wanted.kappa) == pytest.approx(0.4)
    assert neck.kappa.low == pytest.approx(wanted.kappa_low)
    assert (neck.same.count, neck.subjects) == (35, 50)
    # All said the same: no kappa, but the share is shown.
    assert snap.kappa is None and "one word only" in snap.why
    assert snap.same is not None and snap.same.count == 50


def test_more_or_changing_observers_are_compared_by_fleiss(team: Team) -> None:
    inter_rater = pytest.importorskip("statsmodels.stats.inter_rater")
    told = [(SEEN,) * 3] * 6 + [(SEEN, SEEN, NOT_SO)] * 5 + [(NOT_SO,) * 3] * 4
    neck, _ = agreed(watches(told, team))
    counts = [[row.count(SEEN), row.count(NOT_SO)] for row in told]
    assert neck.method == "Fleiss" and neck.raters == 3 and neck.kappa is not None
    assert neck.kappa.kappa == pytest.approx(inter_rater.fleiss_kappa(counts))
    pairs = [
        replace(one, observer=f"{one.observer}-{one.about}")
        for one in watches([(SEEN, SEEN)] * 6 + [(NOT_SO, SEEN)] * 4, team)
    ]
    changing, _ = agreed(pairs)
    assert changing.method == "Fleiss" and changing.rewrite


def test_what_one_could_not_see_is_counted_and_left_out(team: Team) -> None:
    told = [(SEEN, SEEN), (NOT_SO, NOT_SO), (SEEN, NOT_OBSERVABLE), (SEEN,)]
    neck, _ = agreed(watches(told, team))
    assert (neck.subjects, neck.unseen) == (2, 1)
    unfinished = [replace(one, place="observing") for one in watches(told, team)]
    assert agreed(unfinished) == ()


# -- feedback --------------------------------------------------------------------------------------


def sheet(team: Team, watch: Watch | None = None, **words: str) -> Sheet:
    entries = team.trail.of(team.trail.preparations()[1].id)
    flow = team.station.rules_of(entries[0].event.body["workflow"]).workflow
    story = story_of(entries, flow, facts_in(team.trail, entries[0].event.preparation))
    return of_preparation(
        story, watch, words.get, unit="Ward 7 East", made=date(2026, 11, 25), trail="Trail whole.",
        titles={step.name: step.ask for step in flow.steps},
    )  # fmt: skip


def test_the_page_says_what_went_well_what_to_change_and_the_next_step(
    team: Team, tmp_path: Path
) -> None:
    watcher = Watcher(team, tmp_path / "trail.reviews")
    watch = watcher.whole(
        team.trail.preparations()[1].id,
        "ED-1",
        {"learner_well": "I was calm.", "well": "Clean hands.", "change": "Let it dry.",
         "next_step": "Three with a clock."},
        neck_dries=NOT_SO, snaps_away=NOT_SO,
    )  # fmt: skip
    words = {ref: watcher.kept.unsealed(ref) or "" for ref in watch.words.values()}
    watcher.kept.close()
    made = sheet(team, watch, **words)
    assert made.learner == ("I was calm.",) and made.went_well[0] == "Clean hands."
    # What is critical comes first among what was not so.
    assert made.to_change[1].startswith("Critical. Was not so: wraps the neck")
    assert made.next_step == "Three with a clock." and made.due == date(2026, 12, 9)
    text = plain(made)
    assert (
        text.index("In your own words")
        < text.index("What went well")
        < text.index("What to change")
        < text.index("Next step")
        < text.index("What the trail says")
    )
    assert "2 stops, 0 cautions, 1 break of 1 min 30 s together" in " ".join(text.split())
    assert "not a ranking and holds no score" in text and "Trail whole." in text
    assert max(map(len, text.splitlines())) <= WIDEST
    assert len(text.splitlines()) <= 60


WORDS = {"learner_skipped": "called away", "well": "Clean hands."}


def test_words_that_were_erased_leave_the_page_whole(team: Team, tmp_path: Path) -> None:
    watcher = Watcher(team, tmp_path / "trail.reviews")
    watch = watcher.whole(team.trail.preparations()[1].id, "ED-1", WORDS)
    watcher.kept.close()
    made = sheet(team, watch)
    assert "Clean hands." not in plain(made) and made.went_well


def test_a_page_without_an_observation_says_so(team: Team) -> None:
    made = sheet(team)
    text = plain(made)
    assert "nobody; from the trail alone" in text and "Nothing is written down yet." in text
    assert any("Put right at the first try" in one for one in made.went_well)


def test_what_people_write_becomes_no_markup(team: Team) -> None:
    made = replace(
        sheet(team), went_well=("# big", "- item", "1. first", "<b>x</b> [a](b) `c`", "a | b")
    )
    lines = markdown(made).splitlines()
    for wanted in ("- \\# big", "- \\- item", "- 1\\. first", "- a \\| b",
                   "- \\<b\\>x\\</b\\> \\[a\\](b) \\`c\\`"):  # fmt: skip
        assert wanted in lines


def test_a_persons_page_names_the_plan_and_few_points(team: Team) -> None:
    found = way(team, "rxrxr")
    made = of_person(
        found, None, lambda ref: None, unit="Ward 7 East", made=date(2026, 11, 25),
        trail="Trail whole.", titles={}, name="Invented Name",
    )  # fmt: skip
    text = " ".join(plain(made).split())
    assert made.title == "Feedback for RN-12 Invented Name"
    assert "stopped in 2 of 5 preparations" in text
    for figure in ("10 % of attempts not right (p0)", "20 % (p1)", "(alpha)", "(beta)", "0.145"):
        assert figure in text
    assert len(made.to_change) <= MOST


# -- the commands ----------------------------------------------------------------------------------


def test_progress_is_told_with_everything_that_is_assumed(team: Team, tmp_path: Path) -> None:
    where = ("--trail", str(team.folder / "trail.db"), "--ward", WARD, "--as", "RN-12")
    done = run("review", "progress", "RN-12", "--ids", *where, home=tmp_path)
    assert done.returncode == 0, done.stderr
    text = " ".join(done.stdout.split())
    for wanted in (
        "(p0)", "(p1)", "(alpha)", "(beta)", "competent at -2.71", "a stop",
        team.trail.preparations()[1].id, "Standing: not decided yet.",
        "stopped at set the dose: 1 of 2", "Of 100 people who are truly acceptable",
    ):  # fmt: skip
        assert wanted in text
    data = json.loads(
        run("review", "progress", "RN-12", "--json", "--acceptable", "0.05", "--unacceptable",
            "0.15", *where, home=tmp_path).stdout
    )  # fmt: skip
    assert data["plan"]["p0"] == 0.05 and data["plan"]["p1"] == 0.15
    assert [one["right"] for one in data["attempts"]] == [True, False]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("RN-12", "--acceptable", "0.3"), "Put the smaller first"),
        (("RN-12", "--alpha", "0"), "A share between 0 and 1 is expected"),
        (("RN-12", "--container", "jug"), "no preparation with 'jug'; there are glass_ampoule"),
        (("RN-12", "--step", "dance"), "No attempt of RN-12 came to a step 'dance'"),
        (("RN-27",), "RN-27 has ended no preparation in this trail yet"),
    ],
)
def test_progress_that_cannot_be_told_is_explained(
    team: Team, words: tuple[str, ...], sentence: str, tmp_path: Path
) -> None:
    where = ("--trail", str(team.folder / "trail.db"), "--ward", WARD, "--as", "ED-1")
    done = run("review", "progress", *words, *where, home=tmp_path)
    assert done.returncode == 2 and sentence in done.stderr and done.stdout == ""


def test_the_page_is_written_once_and_only_as_text(team: Team, tmp_path: Path) -> None:
    where = ("--trail", str(team.folder / "trail.db"), "--ward", WARD, "--as", "RN-12")
    page = tmp_path / "page.md"
    done = run("review", "feedback", "last", "--out", str(page), *where, home=tmp_path)
    assert done.returncode == 0, done.stderr
    assert page.read_text().startswith("# Feedback for RN-12\n")
    again = run("review", "feedback", "last", "--out", str(page), *where, home=tmp_path)
    assert again.returncode == 2 and "nothing is overwritten" in again.stderr
    named = run("review", "feedback", "RN-12", "--names", *where, home=tmp_path)
    assert "Feedback for RN-12 Wren Alderby" in named.stdout
