"""A guided preparation stopped at any moment: no screen showed what is not in the trail."""

from __future__ import annotations

import random
import re
import signal
import time
from pathlib import Path

import pexpect
import pytest

from checklist.definition import from_text
from checklist.fold import evolve
from checklist.gate import Rules
from checklist.screen import screen_of
from checklist.trail import Trail
from tests.effort import FULL
from tests.faces import STEERING, new_trail
from tests.nurse import Nurse

# A pseudo-terminal is made by forking; where the test runner has threads, Python warns of that.
pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")

RUNS = 40 if FULL else 3
SHOWN = re.compile(r"step ([0-9]+) of")


def steps_in(path: Path) -> list[int]:
    """The number of the step that was open after each entry of the one preparation."""
    numbers: list[int] = []
    with Trail.open(path) as trail:
        assert trail.verify().whole
        for one in trail.preparations():
            prep, rules = None, None
            for entry in trail.of(one.id):
                rules = rules or Rules.of(from_text(trail.definition(entry.event.body["workflow"])))
                prep = evolve(prep, entry, rules)
                numbers.append(screen_of(prep, rules).number)
    return numbers


def is_within(shown: list[int], recorded: list[int]) -> bool:
    """Whether all that was shown was recorded, in that order; a screen may be drawn again."""
    rest = iter(recorded)
    at = next(rest, None)
    for number in shown:
        while at is not None and at != number:
            at = next(rest, None)
        if at is None:
            return False
    return True


@pytest.mark.parametrize("run", range(RUNS))
@pytest.mark.parametrize("by", [signal.SIGKILL, signal.SIGTERM])
def test_every_step_that_was_shown_is_in_the_trail_whenever_it_stops(
    tmp_path: Path, by: signal.Signals, run: int
) -> None:
    draw = random.Random(f"{by}-{run}")
    path = new_trail(tmp_path / "trail.db")
    words = ("ORD-103", "--as", "RN-12", "--practice", "--trail", str(path))
    with Nurse(tmp_path, *words) as nurse:
        screen = nurse.wait()
        for _ in range(draw.randint(1, 14)):
            screen = nurse.type(nurse.answer(screen))
        nurse.child.sendline(nurse.answer(screen))
        time.sleep(draw.uniform(0, 0.06))
        nurse.child.kill(by)
        nurse.child.expect(pexpect.EOF)
        shown = [int(n) for n in SHOWN.findall(STEERING.sub("", nurse.all + nurse.child.before))]
        nurse.child.close(force=True)
    recorded = steps_in(path)
    assert shown
    assert is_within(shown, recorded), (shown, recorded)
    with Trail.open(path) as trail:
        last = list(trail.since(0))[-1].event
        if by is signal.SIGTERM:
            assert last.kind == "interrupted" or not last.preparation
        (open_one,) = trail.open_preparations()
        assert open_one.turn == len(recorded) - 1


def test_a_step_that_is_not_in_the_trail_would_be_seen() -> None:
    assert is_within([1, 1, 2, 3, 3], [1, 1, 2, 3])
    assert not is_within([1, 2, 3, 4], [1, 2, 3])
    assert not is_within([1, 3, 2], [1, 2, 3])
