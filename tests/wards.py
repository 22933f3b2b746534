"""The demonstration ward, copied for a test to spoil."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from checklist.intake.fault import Fault, Faults
from checklist.intake.ward import Ward, load_ward
from checklist.verdict import Tier

DEMO = Path(__file__).parents[1] / "demo_db"
FILES = ("unit.toml", "staff.toml", "formulary.toml", "orders.json")
UNIT, STAFF, FORMULARY, ORDERS = FILES
TRADE = {
    "patency_unconfirmed": Tier.SOFT,
    "dose_outside_range": Tier.SOFT,
    "filter_missing": Tier.HARD,
    "lasa_alert": Tier.INFORMATION,
}


def copied(folder: Path) -> Path:
    """The folder with the ward's files in it."""
    for name in FILES:
        shutil.copy(DEMO / name, folder / name)
    return folder


def edit(path: Path, old: str, new: str) -> None:
    """Change the first `old` of a file, which must be there."""
    text = path.read_text(encoding="utf-8")
    assert old in text, f"{old!r} is not in {path.name}"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def load(folder: Path) -> Ward:
    """The ward of a folder, under a few tiers of our own."""
    return load_ward(folder, trade=TRADE)


def faults_of(folder: Path) -> tuple[Fault, ...]:
    """The faults of a folder, which must have some."""
    with pytest.raises(Faults) as told:
        load(folder)
    return told.value.faults
