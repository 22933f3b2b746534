"""The README's session runs as printed, and what it promises about set-up holds."""

from __future__ import annotations

import doctest
import os
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def sessions() -> list[tuple[str, str]]:
    """Each command of the README's console blocks with the output printed under it."""
    blocks = re.findall(r"```console\n(.*?)```", README, flags=re.DOTALL)
    found: list[tuple[str, str]] = []
    for block in blocks:
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, output = part.partition("\n")
            found.append((command, output))
    return found


def run(command: str, folder: Path) -> str:
    """What a command prints, from the folder that it is run in."""
    words = shlex.split(command)
    assert words[0] == "checklist"
    words = [str(ROOT / w) if w.startswith("workflows/") else w for w in words[1:]]
    environment = {**os.environ, "NO_COLOR": "1", "COLUMNS": "80", "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-m", "checklist.faces.cli", *words],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    return done.stdout + done.stderr


def test_the_session_in_the_readme_runs_as_printed(tmp_path: Path) -> None:
    checker = doctest.OutputChecker()
    assert len(sessions()) >= 3
    for command, wanted in sessions():
        got = run(command, tmp_path)
        assert checker.check_output(wanted, got, doctest.ELLIPSIS), f"{command}\n{got}"


def test_the_readme_opens_with_the_job_and_shows_the_cautions() -> None:
    first = README.split("\n\n")[1]
    assert first.startswith("A ward nurse turns an order on the medication record into one")
    for words in ("Local policy", "licensed practice", "not a certified medical device"):
        assert words in README


def test_data_folders_ship_in_the_wheel_and_are_found_beside_the_package() -> None:
    from checklist import library

    with (ROOT / "pyproject.toml").open("rb") as file:
        shipped = tomllib.load(file)["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert shipped == {
        "workflows": "checklist/_data/workflows",
        "demo_db": "checklist/_data/demo_db",
    }
    assert library.folder("workflows").joinpath("glass_ampoule.toml").is_file()
    assert library.folder("demo_db").joinpath("orders.json").is_file()
