"""A person's curve and page on paper: for that person and their educator, and nobody else."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from typer.testing import CliRunner, Result

from checklist import library
from checklist.faces.cli import app
from tests.faces import pins
from tests.team import Team


@pytest.fixture(scope="module")
def team(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Team]:
    made = Team(tmp_path_factory.mktemp("team"))
    made.make("RN-12")
    made.make("RN-12")
    yield made
    made.trail.close()


def run(team: Team, by: str, *words: str | Path) -> Result:
    where = ("--trail", team.folder / "trail.db", "--ward", library.folder("demo_db"), "--as", by)
    return CliRunner().invoke(app, ["report", *map(str, (*words, *where))], input=f"{pins()[by]}\n")


@pytest.mark.parametrize("by", ["RN-12", "ED-1"])
def test_the_person_and_the_educator_get_both_pages(team: Team, by: str, tmp_path: Path) -> None:
    curve, page = tmp_path / "curve.pdf", tmp_path / "page.pdf"
    for command, file in (("progress", curve), ("feedback", page)):
        done = run(team, by, command, "RN-12", "--out", file)
        assert done.exit_code == 0, done.output
    text = " ".join(" ".join(p.extract_text() for p in pypdf.PdfReader(curve).pages).split())
    assert "RN-12, glass ampoule: preparations without a stop" in text
    assert "Acceptable: 10% not right; not acceptable: 20%." in text
    assert "entries, whole, verified" in text
    for one in team.trail.preparations():
        assert one.id in text
    assert len(pypdf.PdfReader(page).pages) == 1


@pytest.mark.parametrize("by", ["RN-27", "QI-1", "PH-2"])
@pytest.mark.parametrize("command", ["progress", "feedback"])
def test_everybody_else_gets_none(team: Team, by: str, command: str, tmp_path: Path) -> None:
    file = tmp_path / "x.pdf"
    done = run(team, by, command, "RN-12", "--out", file)
    assert done.exit_code == 1
    assert "shown to RN-12 and to the unit's educator only" in done.stderr
    assert not file.exists()
