"""A dose called for in an emergency, begun at a real pseudo-terminal."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from checklist.trail import Trail
from checklist.way_in import EMERGENCY
from tests import way_answers  # noqa: F401  (the call of the tests)
from tests.faces import ROOT, new_trail, run
from tests.nurse import Nurse, kinds
from tests.scene import CALLS

pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")

CALL = CALLS["CALL-1"]
VIAL = """
[[product]]
code = "09520007304198"
drug = "atropine"
container = "single_dose_vial"
strength = "600 microgram in 1 mL"
content = "1 mL"
routes = ["IV", "IM"]
"""
"""The drug of the call in a second kind of container."""


def numbered(screen: str, words: str) -> str:
    """The number beside a line of a list."""
    found = re.search(rf"(?m)^ +(\d+) +{re.escape(words)}\s*$", screen)
    assert found, (words, screen)
    return found[1]


def to_the_leader(nurse: Nurse, drug: str = CALL.drug, dose: str = "600 microgram") -> str:
    """Answer each line of a call but the last."""
    screen = nurse.wait()
    screen = nurse.type(numbered(screen, CALL.patient))
    nurse.type(numbered(screen, drug))
    assert "micrograms" in nurse.type(dose)
    screen = nurse.type("")
    return nurse.type(numbered(screen, "intravenous"))


@pytest.fixture
def words(tmp_path: Path) -> tuple[str, ...]:
    return ("--practice", "--as", "RN-12", "--trail", str(new_trail(tmp_path / "trail.db")))


def test_a_call_is_asked_line_by_line_said_back_and_gone_on_with_after_a_break(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    path = tmp_path / "trail.db"
    with Nurse(tmp_path, *words, command="called") as nurse:
        screen = to_the_leader(nurse)
        assert "Your unit's own emergency rules come first." in nurse.all
        assert "six hundred micrograms" in nurse.all
        for wrong, told in (
            ("", "No answer yet."),
            ("RN-12", "somebody else has to lead"),
            ("CA-5", "may not lead an emergency here"),
            ("XX-1", "XX-1"),
        ):
            screen = nurse.type(wrong)
            assert told in screen
        assert "opened" not in kinds(path)
        screen = nurse.type(CALL.leader)
        assert "Say the leader's words back" in screen and "step 1 of" in screen
        nurse.type(CALL.leader)
        nurse.child.sendintr()
        code, last = nurse.end()
    assert code == 1
    with Trail.open(path, read_only=True) as trail:
        (one,) = trail.preparations()
        opening = trail.of(one.id)[0].event
    order = opening.body["order"]
    assert opening.body["container"] == EMERGENCY
    assert (order["patient"], order["drug"], order["called"]) == (CALL.patient, CALL.drug, True)
    assert kinds(path).count("interrupted") == 1
    assert f"checklist prepare {order['id']} --trail" in last
    with Nurse(tmp_path, order["id"], *words) as nurse:
        screen = nurse.wait()
        assert "This order was begun by RN-12" in nurse.all
        assert "nothing in the order" in nurse.all
    assert kinds(path).count("opened") == 1


@pytest.mark.parametrize("leaving", [":e", ":i"])
def test_a_call_that_is_let_go_begins_nothing(
    leaving: str, tmp_path: Path, words: tuple[str, ...]
) -> None:
    with Nurse(tmp_path, *words, command="called") as nurse:
        to_the_leader(nurse)
        nurse.child.sendline(leaving)
        code, last = nurse.end()
    assert code == 1 and "Nothing was begun." in last
    assert "opened" not in kinds(tmp_path / "trail.db")


def test_a_drug_in_several_containers_asks_which_is_in_the_hand(tmp_path: Path) -> None:
    ward = tmp_path / "ward"
    shutil.copytree(ROOT / "demo_db", ward, ignore=shutil.ignore_patterns("year"))
    with (ward / "formulary.toml").open("a", encoding="utf-8") as file:
        file.write(VIAL)
    words = ("--practice", "--as", "RN-12", "--ward", str(ward))
    with Nurse(tmp_path, *words, command="called") as nurse:
        to_the_leader(nurse)
        screen = nurse.type(CALL.leader)
        assert "Which container is in your hand?" in screen
        assert "step 1 of" in nurse.type(numbered(screen, "single dose vial"))
    (path,) = (ward / "practice").glob("*.db")
    with Trail.open(path, read_only=True) as trail:
        (one,) = trail.preparations()
        assert "single_dose_vial" in str(trail.of(one.id)[0].event.body)


def test_a_pipe_and_a_call_that_nobody_began_begin_nothing(tmp_path: Path) -> None:
    told = run("called", "--practice", home=tmp_path)
    assert told.returncode == 2 and "needs a terminal" in told.stderr
    told = run("prepare", "CALL-1", "--as", "RN-12", "--practice", "--lines", home=tmp_path)
    assert told.returncode == 2 and "no order 'CALL-1'" in told.stderr
