"""The demonstration: its stops, its trail, and that it stops loudly when it leaves its script."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from checklist import library
from checklist.faces.demo import OffScript, Player
from checklist.faces.leaving import CannotGoOn
from checklist.faces.scenario import Move, Scenario, read_scenario
from checklist.faces.stops import Stops
from checklist.faces.terminal import Terminal
from checklist.trail import Trail
from tests.faces import bodies, canaries, run
from tests.scene import demo_ward

SCENARIO = read_scenario(library.folder("demo_db"))


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> subprocess.CompletedProcess[str]:
    home = tmp_path_factory.mktemp("demo")
    return run("demo", "--trail", str(home / "demo.db"), home=home)


def trail_of(played: subprocess.CompletedProcess[str]) -> Path:
    return Path(played.args[-1])


def test_the_demonstration_ends_with_the_dose_given(
    played: subprocess.CompletedProcess[str],
) -> None:
    assert played.returncode == 0, played.stderr
    assert played.stderr == ""
    assert "Preparation demo-0002: given" in played.stdout
    assert "not a certified medical device" in " ".join(played.stdout.split())


def test_its_stops_come_in_order_and_each_is_put_right(
    played: subprocess.CompletedProcess[str],
) -> None:
    shown = [line.strip() for line in played.stdout.splitlines()]
    codes = [line.strip("()") for line in shown if line.startswith("(") and "_" in line]
    assert codes == [
        "filter_missing",
        "volume_over_target",
        "cd_waste_recoverable",
        "patient_id_mismatch",
    ]
    assert shown.count("STOP") == 3
    assert shown.count("CAUTION") == 1
    assert sum(line.startswith("Way on: ") for line in shown) == 4
    assert "Stops 3, cautions 1, all put right." in shown


def test_the_trail_holds_what_was_shown_and_is_whole(
    played: subprocess.CompletedProcess[str],
) -> None:
    with Trail.open(trail_of(played), read_only=True) as trail:
        found = trail.verify()
    assert found.whole and found.head is not None
    assert f"Trail: {found.entries} entries, whole" in played.stdout
    assert found.head.digest.hex() in played.stdout
    # Opening, the preparer in and out, and a second person afresh for each of their acts.
    second = sum(move.by != SCENARIO.preparer for move in SCENARIO.moves)
    assert found.entries == len(SCENARIO.moves) + 3 + second
    kinds = [kind for kind, _ in bodies(trail_of(played))]
    assert kinds.count("refused") == 3 and kinds.count("remedied") == 4


def test_every_step_is_told_with_its_number_and_the_person(
    played: subprocess.CompletedProcess[str],
) -> None:
    seen = [line.split()[1:3] for line in played.stdout.splitlines() if line[2:3] == ":"]
    total = seen[-1][0].partition("/")[2]
    numbers = {int(number.partition("/")[0]) for number, _ in seen}
    assert numbers == set(range(1, int(total) + 1))
    assert {person for _, person in seen} == {"RN-12", "RN-27"}


def test_the_label_is_told_without_the_patient(played: subprocess.CompletedProcess[str]) -> None:
    label = played.stdout.partition("\nLabel\n")[2]
    for line in ("medicine name: morphine", "total volume: 0.75 mL", "concentration: 10 mg/mL"):
        assert f"  {line}\n" in label


def test_nobody_is_named_in_what_is_shown_or_chained(
    played: subprocess.CompletedProcess[str],
) -> None:
    chained = "\n".join(text for _, text in bodies(trail_of(played)))
    for canary in canaries():
        assert canary not in played.stdout
        assert canary not in chained


def test_every_demonstration_comes_to_the_same_head(
    played: subprocess.CompletedProcess[str], tmp_path: Path
) -> None:
    again = run("demo", "--fast", "--trail", str(tmp_path / "again.db"), home=tmp_path)
    heads = [
        next(line for line in text.splitlines() if line.startswith("Head:"))
        for text in (played.stdout, again.stdout)
    ]
    assert heads[0] == heads[1]


def test_a_file_that_is_there_is_left_as_it_is(tmp_path: Path) -> None:
    there = tmp_path / "mine.txt"
    there.write_text("mine")
    told = run("demo", "--trail", str(there), home=tmp_path)
    assert told.returncode == 2
    assert "There is already a file" in told.stderr
    assert there.read_text() == "mine"


# -- the player ----------------------------------------------------------------------------------


def first(**changes: object) -> Scenario:
    """The scenario with its first move changed and nothing after it."""
    move: Move = replace(SCENARIO.moves[0], **changes)  # type: ignore[arg-type]
    return replace(SCENARIO, moves=(move,))


LEFT = [
    ({"seen": {}}, "came to refused entry_missing"),
    ({"expect": "refused"}, "expects refused ; it came to passed"),
    ({"codes": ("filter_missing",)}, "expects passed filter_missing"),
    ({"step": "draw_up"}, "The script is at draw_up; the preparation stands at read_the_order"),
    ({"seen": {"drawn_volume": "1"}}, "answers drawn_volume, which read_the_order does not ask"),
]


@pytest.mark.parametrize(("changes", "sentence"), LEFT)
def test_the_player_stops_where_the_script_is_left(
    changes: dict[str, object], sentence: str, tmp_path: Path
) -> None:
    path, script = tmp_path / "demo.db", first(**changes)
    with Trail.create(path, trail_id="demo", unit="W7E", at=script.start) as trail:
        playing = Player(Terminal(Stops()), demo_ward(), script, trail)
        with pytest.raises(OffScript, match=sentence):
            playing.play(fast=True)


GOOD = 'start = "2026-11-25T14:00:00Z"\nstation = "S"\npreparer = "RN-12"\norder = "O"\n'
MOVE = '[[move]]\nstep = "a"\nexpect = "passed"\n'
FAULTS = [
    ("start = 1", "start is 1. Write it as text in quotes"),
    (GOOD.replace("14:00:00Z", "14:00:00"), "Write it like 2026-11-25T14:00:00Z"),
    (GOOD.replace('station = "S"\n', ""), "station is missing"),
    (GOOD + MOVE, "move 1 has 0 acts"),
    (GOOD + MOVE + 'remedy = "recheck"\nreason = "other"', "move 1 has 2 acts"),
    (GOOD + MOVE + 'remdy = "recheck"', "move 1: remdy is not known here"),
    (GOOD + MOVE + 'seen = { a = "@label.none" }', "@label.none names no code of this file"),
    (GOOD + MOVE + "seen = { a = 1 }", "a is 1. Write it as text in quotes"),
    (GOOD + MOVE + "seen = {}\nafter = 1.5", "after is a whole number of seconds"),
    (GOOD + MOVE.replace("passed", "fine") + "seen = {}", "it can be passed, caution"),
    (GOOD + "move = 3", "move"),
    ("start = ", "cannot be read"),
]


@pytest.mark.parametrize(("text", "sentence"), FAULTS)
def test_a_fault_of_a_scenario_is_told_with_its_place(
    text: str, sentence: str, tmp_path: Path
) -> None:
    (tmp_path / "scenario.toml").write_text(text)
    with pytest.raises(CannotGoOn, match=r"scenario\.toml") as told:
        read_scenario(tmp_path)
    assert sentence in str(told.value)


def test_a_ward_without_a_scenario_cannot_be_practised_on(tmp_path: Path) -> None:
    with pytest.raises(CannotGoOn, match="no hour at which practice begins"):
        read_scenario(tmp_path)
