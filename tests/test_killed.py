"""Writers killed at any moment: nothing that a trail acknowledged is ever gone."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from checklist.trail import Trail
from tests.effort import FULL
from tests.faces import ROOT
from tests.ward_trail import filled


def killed(path: Path, rounds: int, by: str, *planted: str) -> dict[str, int]:
    """What the killer counted; it is a process of its own, since it forks."""
    words = [sys.executable, "-m", "tests.killer", str(path), str(rounds), by, "2026", *planted]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    counts: dict[str, int] = json.loads(done.stdout)
    return counts


@pytest.mark.parametrize(
    ("by", "rounds"), [("SIGKILL", 1_000 if FULL else 60), ("SIGTERM", 200 if FULL else 20)]
)
def test_nothing_acknowledged_is_lost_when_writers_are_killed(
    tmp_path: Path, by: str, rounds: int
) -> None:
    path = filled(tmp_path, 1)
    counts = killed(path, rounds, by)
    assert counts["rounds"] == rounds
    assert counts["lost"] == 0
    assert counts["acknowledged"] >= rounds, "each writer had at least its first entry taken"
    assert counts["most_of_these"] <= 1, "only the one entry under way may be unacknowledged"
    found = Trail.examine(path)
    assert found.whole
    assert found.entries == 1 + counts["acknowledged"] + counts["not_acknowledged"]


def test_an_acknowledgement_before_the_commit_is_caught(tmp_path: Path) -> None:
    counts = killed(filled(tmp_path, 1), 400, "SIGKILL", "early")
    assert counts["lost"] == 1
