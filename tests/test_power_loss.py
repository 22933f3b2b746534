"""Power lost at any moment, and a disk that reports trouble at any call, under a trail at work.

The disk is one in memory (made_up_disk.py), in a process of its own. What may be found after a loss
follows Pillai and others, OSDI 2014: writes since the last sync may be there or not, in any order,
cut at sectors. That the same images of a log synced too seldom lose entries shows that they bite.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from tests.effort import FULL
from tests.faces import ROOT

IMAGES = 3_000 if FULL else 300


def cut(act: str, folder: Path) -> dict[str, int]:
    """What power_cutter.py counted."""
    words = [sys.executable, "-m", "tests.power_cutter", act, str(folder), str(IMAGES), "2026"]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    counts: dict[str, int] = json.loads(done.stdout)
    return counts


def test_no_loss_of_power_takes_an_acknowledged_entry(tmp_path: Path) -> None:
    counts = cut("loss", tmp_path)
    assert counts["images"] >= IMAGES * 0.9
    assert counts["lost"] == counts["broken"] == 0
    assert counts["extra"] == 1, "only the entry under way may be there without a word"


def test_entries_recorded_together_are_there_all_or_not_at_all(tmp_path: Path) -> None:
    counts = cut("together", tmp_path)
    assert counts["images"] >= IMAGES * 0.9
    assert counts["lost"] == counts["broken"] == counts["parts"] == 0
    assert counts["extra"] == 3, "only the block under way may be there without a word"


def test_a_writer_that_does_not_wait_for_the_disk_is_caught(tmp_path: Path) -> None:
    counts = cut("careless", tmp_path)
    assert counts["lost"] > IMAGES / 10


def test_trouble_at_any_call_to_the_disk_loses_nothing_and_is_told_as_it_is(
    tmp_path: Path,
) -> None:
    counts = cut("trouble", tmp_path)
    assert counts["told"] > 50
    assert counts["not_opened"] > 20
    assert counts["stored_all_the_same"] > 0, "a commit that reported trouble may have been stored"
    assert counts["unknown_after_one"] == 0, "once the disk is well again, it is looked up"
    assert counts["untrue"] == counts["lost"] == counts["broken"] == counts["stuck"] == 0
