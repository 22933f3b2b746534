"""Timings as ratios against a baseline run beside them: python -m tests.benchmarks.

Nothing here passes or fails. Each line prints the median of both, their ratio and the goal.
"""

from __future__ import annotations

import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from checklist.answer import Answer
from checklist.fold import replay
from checklist.verdict import Remedy
from tests.benchmarks import dose_working, trail_heads
from tests.scene import NURSE, Scene


def median(act: Callable[[], object], times: int) -> float:
    """The median time of an act in milliseconds."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        act()
        taken.append((time.perf_counter() - start) * 1000)
    return statistics.median(taken)


def said(what: str, ours: float, beside: str, base: float, goal: str) -> None:
    print(f"{what}: {ours:.3f} ms; {beside}: {base:.3f} ms; ratio {ours / base:.2f} (goal {goal})")


def attempt_against_commit(folder: Path) -> None:
    """One attempt end to end, against one durable row of the same size in the same file."""
    scene = Scene(folder)
    scene.open()
    scene.to("set_the_dose")
    answers = {"drawn_volume": Answer("2.1")}
    taken = []
    for _ in range(200):
        start = time.perf_counter()
        outcome = scene.station.attempt(scene.id, answers, NURSE)
        taken.append((time.perf_counter() - start) * 1000)
        scene.station.remedy(scene.id, Remedy.ADJUST, NURSE)
    size = len(str(dict(outcome.entry.event.body)))
    scene.trail.close()
    db = sqlite3.connect(folder / "trail.db", isolation_level=None)
    db.execute("PRAGMA synchronous = FULL")
    db.execute("CREATE TABLE bare (text TEXT)")

    def commit() -> None:
        db.execute("BEGIN IMMEDIATE")
        db.execute("INSERT INTO bare VALUES (?)", ("x" * size,))
        db.execute("COMMIT")

    base = median(commit, 200)
    db.close()
    said("attempt", statistics.median(taken), "bare commit", base, "at most 1.5")


def help_against_typer() -> None:
    """The first words at the terminal, against importing the library that prints them."""

    def run(*args: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, *args], check=True, capture_output=True)

    ours = median(run("-m", "checklist.faces.cli", "--help"), 9)
    base = median(run("-c", "import typer"), 9)
    said("checklist --help", ours, "import typer", base, "at most 1.5")


def replay_of_sixty(folder: Path) -> None:
    """The fold of a preparation of 60 entries, entries in memory and from the file."""
    scene = Scene(folder)
    scene.open()
    scene.to("set_the_dose")
    while len(scene.trail.of(scene.id)) < 60:
        scene.attempt({"drawn_volume": "2.1"})
        scene.station.remedy(scene.id, Remedy.ADJUST, NURSE)
    entries = scene.trail.of(scene.id)[:60]
    rules = scene.station.rules_of(scene.station.find(scene.id).workflow)
    fold = median(lambda: replay(entries, rules), 100)
    read = median(lambda: scene.trail.of(scene.id), 100)
    print(f"replay of 60 entries: {fold:.3f} ms; reading them: {read:.3f} ms (goal: under 2 ms)")
    scene.trail.close()


if __name__ == "__main__":
    for benchmark in (attempt_against_commit, replay_of_sixty):
        with tempfile.TemporaryDirectory() as name:
            benchmark(Path(name))
    help_against_typer()
    dose_working.main()
    trail_heads.main()
