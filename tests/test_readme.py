"""The README's commands run as printed, and what it promises about set-up holds."""

from __future__ import annotations

import doctest
import os
import re
import shlex
import subprocess
import sys
import zipfile
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
    ours = ("workflows/", "demo_db/")
    words = [str(ROOT / w) if w.startswith(ours) else w for w in words[1:]]
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


def test_data_folders_ship_in_the_wheel_and_are_found_beside_the_package(tmp_path: Path) -> None:
    from checklist import library

    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    (wheel,) = tmp_path.glob("*.whl")
    shipped = set(zipfile.ZipFile(wheel).namelist())
    for name in ("workflows", "demo_db"):
        files = [f for f in library.folder(name).rglob("*") if f.suffix in (".toml", ".json")]
        assert files
        for file in files:
            inside = file.relative_to(library.folder(name)).as_posix()
            assert f"checklist/_data/{name}/{inside}" in shipped
