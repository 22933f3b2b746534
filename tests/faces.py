"""What the tests of the faces share: the command as a process, its surroundings, the canaries."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from checklist.faces.scenario import read_scenario
from checklist.trail import Trail
from tests.scene import START, demo_ward

ROOT = Path(__file__).resolve().parents[1]
COMMAND = [sys.executable, "-m", "checklist.faces.cli"]
STEERING = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]|\x1b[()][A-Z0-9]|\x1b[=>]|\x0f")
"""The codes that steer a terminal."""


def surroundings(home: Path, **changes: str) -> dict[str, str]:
    """An environment in which all data is kept under `home`."""
    kept = {name: os.environ[name] for name in ("PATH", "LANG") if name in os.environ}
    here = {"HOME": str(home), "XDG_DATA_HOME": str(home), "PYTHONPATH": str(ROOT)}
    return {**kept, **here, "TERM": "xterm", "PYTHONUTF8": "1", **changes}


def run(
    *words: str, home: Path, text: str = "", **changes: str
) -> subprocess.CompletedProcess[str]:
    """The command run to its end, with `text` on its standard input.

    Whoever looks back at work on the demonstration ward types the PIN first that is printed for it.
    """
    if words[0] in ("review", "report") and "--as" in words:
        text = f"{pins().get(words[words.index('--as') + 1], 'none')}\n{text}"
    return subprocess.run(
        [*COMMAND, *words],
        input=text,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=surroundings(home, **changes),
        cwd=home,
        timeout=60,
        check=False,
    )


@cache
def pins() -> Mapping[str, str]:
    """The PINs of the demonstration ward, which are printed for practice."""
    return read_scenario(ROOT / "demo_db").pins


@cache
def _empty() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "trail.db"
        Trail.create(path, trail_id="T-1", unit="W7E", at=START).close()
        return path.read_bytes()


def new_trail(path: Path) -> Path:
    """A trail without an entry, made once and copied, which is quicker than making it each time."""
    path.write_bytes(_empty())
    return path


def canaries() -> tuple[str, ...]:
    """What must never stand in the chain or be printed unasked: who patients and staff are."""
    ward = demo_ward()
    found = [person.name for person in ward.staff.values()]
    for patient in ward.patients.values():
        born = patient.birth_date
        found += [patient.name, patient.record_number, *patient.band_numbers]
        found += [born.isoformat(), f"{born.day} {born:%b %Y}", f"{born:%d/%m/%Y}"]
    return tuple(found)


def bodies(path: Path) -> list[tuple[str, str]]:
    """Kind and body text of every entry about a preparation, as stored."""
    import json

    with Trail.open(path, read_only=True) as trail:
        events = [one.event for one in trail.since(0)]
    return [(one.kind, json.dumps(dict(one.body))) for one in events if one.preparation]
