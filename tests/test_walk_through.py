"""A pharmacist adds a container without Python: DEVELOPERS.md's walk-through, run as it stands."""

from __future__ import annotations

import doctest
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from checklist import library, proof
from checklist.intake.ward import load_ward
from checklist.requirement import RequiredFaults
from checklist.trail import Trail
from tests.test_cli import call
from tests.wards import copied, edit

ROOT = Path(__file__).resolve().parent.parent
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
# The shell knows the program and where its files lie, as after an installation.
PRELUDE = f'checklist() {{ "{sys.executable}" -m checklist.faces.cli "$@"; }}\n'


def commands() -> list[tuple[str, str]]:
    """Each command of the walk-through with what it prints."""
    part = TEXT.partition("### A walk-through")[2].partition("\n## ")[0]
    found = []
    for block in re.findall(r"```console\n(.*?)```", part, flags=re.DOTALL):
        for one in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, output = one.partition("\n")
            found.append((command, output))
    return found


def test_the_walk_through_runs_as_printed(tmp_path: Path) -> None:
    checker = doctest.OutputChecker()
    environment = {**os.environ, "NO_COLOR": "1", "COLUMNS": "80", "PYTHONPATH": str(ROOT)}
    environment["CHECKLIST"] = str(ROOT)
    assert len(commands()) >= 12
    for command, wanted in commands():
        done = subprocess.run(
            ["bash", "-c", PRELUDE + command],
            cwd=tmp_path,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=60,
            check=False,
        )
        assert checker.check_output(wanted, done.stdout, doctest.ELLIPSIS), (command, done.stdout)
    _the_new_container_is_prepared(tmp_path / "ward")


def _the_new_container_is_prepared(ward: Path) -> None:
    """The station takes the ward's own workflow for the order of that drug."""
    flows, required = library.of_ward(ward)
    assert "cold_ampoule" in flows and "cold_ampoule" in required.containers
    products = load_ward(ward).formulary.products.values()
    assert sum(p.container == "cold_ampoule" for p in products) >= 3


def test_a_ward_takes_nothing_away_from_what_is_required(tmp_path: Path) -> None:
    own = tmp_path / "workflows"
    own.mkdir()
    (own / "required.toml").write_text("", encoding="utf-8")
    with pytest.raises(RequiredFaults, match=r"take nothing away.*added_requirements\.toml"):
        library.of_ward(tmp_path)


def test_a_ward_does_not_say_otherwise_of_what_kind_a_shipped_container_is(tmp_path: Path) -> None:
    own = tmp_path / "workflows"
    own.mkdir()
    added = own / "added_requirements.toml"
    added.write_text('[containers]\nglass_ampoule = ["plastic"]\n', encoding="utf-8")
    with pytest.raises(RequiredFaults, match=r"glass_ampoule.*is there already"):
        library.of_ward(tmp_path)


def test_a_row_that_a_ward_adds_binds_the_shipped_workflows_too(tmp_path: Path) -> None:
    own = tmp_path / "workflows"
    own.mkdir()
    added = own / "added_requirements.toml"
    added.write_text(
        '[[required]]\nwhen = ["glass"]\nbefore = "ready"\nbarriers = ["pen_was_primed"]\n'
        'why = "Asked where it cannot be answered."\n',
        encoding="utf-8",
    )
    flows, required = library.of_ward(tmp_path)
    plain = library.required()
    assert not proof.prove(flows["glass_ampoule"], plain, frozenset()).faults
    assert proof.prove(flows["glass_ampoule"], required, frozenset()).faults
    assert not proof.prove(flows["plastic_ampoule"], required, frozenset()).faults


def test_a_weakened_copy_of_a_shipped_workflow_opens_no_preparation(tmp_path: Path) -> None:
    """A ward's own glass ampoule without the filter's check: refused, with the path round it."""
    ward = copied(tmp_path)
    shipped, own = library.folder("workflows"), ward / "workflows"
    shutil.copytree(shipped / "phases", own / "phases")
    shutil.copy(shipped / "glass_ampoule.toml", own)
    edit(own / "phases" / "withdraw.toml", 'checks = ["filter_is_fitted"]', "checks = []")
    code, _, err = call(
        "prepare", "ORD-103", "--ward", ward, "--as", "RN-12", "--lines", "--trail", ward / "t.db"
    )
    assert code != 0
    assert "filter_is_fitted" in err and "-->" in err
    assert not preparations_in(ward / "t.db")


def preparations_in(file: Path) -> int:
    """How many preparations stand in the trail; none without one."""
    if not file.exists():
        return 0
    with Trail.open(file) as trail:
        return len(trail.preparations())
