"""A disk without room, or read only, and a station without handles: told, and nothing lost."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from checklist.trail import Trail, TrailUnwritable
from tests.faces import ROOT
from tests.test_trouble import acknowledged, stored, worker
from tests.ward_trail import event, filled

Mounted = Callable[[str], None]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[tuple[Path, Mounted]]:
    """A disk in memory of its own, and a way to mount it anew with other options."""
    place = tmp_path / "disk"
    place.mkdir()

    def mounted(options: str) -> subprocess.CompletedProcess[str]:
        words = ["mount", "-t", "tmpfs", "-o", options, "none", str(place)]
        return subprocess.run(words, capture_output=True, text=True, check=False)

    def anew(options: str) -> None:
        done = mounted(f"remount,{options}")
        assert done.returncode == 0, done.stderr

    try:
        first = mounted("size=400k")
    except FileNotFoundError:
        pytest.skip("there is no mount command here")
    if first.returncode != 0:
        pytest.skip(f"no disk may be mounted here: {first.stderr.strip()}")
    yield place, anew
    subprocess.run(["umount", "--lazy", str(place)], check=True)


def test_a_full_disk_is_told_and_work_goes_on_once_it_has_room(
    small_disk: tuple[Path, Mounted], tmp_path: Path
) -> None:
    place, anew = small_disk
    path, told = filled(place, 3), tmp_path / "told"
    with told.open("w") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.trail_worker", "full", str(path), "N", "4"],
            stdin=subprocess.PIPE,
            stdout=out,
            stderr=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
    assert process.stderr is not None
    number, recorded, sentence = process.stderr.readline().split(" ", 2)
    assert recorded == "False"
    assert "The disk that holds the trail ward.trail is full." in sentence
    assert "everything recorded before is safe" in sentence and "call IT" in sentence
    with Trail.open(path, read_only=True) as reader:
        assert reader.head().seq == 3 + int(number)
    anew("size=4m")
    _, more = process.communicate("there is room\n")
    assert (process.returncode, more) == (0, "")
    assert acknowledged(told).items() <= stored(path).items()
    assert len(stored(path)) == 3 + int(number) + 4


def test_a_trail_on_a_disk_made_read_only_refuses_and_can_be_read(
    small_disk: tuple[Path, Mounted],
) -> None:
    place, anew = small_disk
    path = filled(place, 3)
    anew("ro")
    with pytest.raises(
        TrailUnwritable, match=r"cannot be opened here\. Nothing that is recorded was.*call IT"
    ):
        Trail.open(path)
    with Trail.open(path, read_only=True) as trail:
        assert len(list(trail.since(0))) == 3
        with pytest.raises(TrailUnwritable, match="opened for reading only") as caught:
            trail.append(event(4, turn=3))
        assert caught.value.recorded is False
    assert Trail.examine(path).whole
    anew("rw")
    with Trail.open(path) as trail:
        assert trail.append(event(4, turn=3)).seq == 4


def test_an_open_trail_goes_on_without_handles_and_a_new_one_is_refused(tmp_path: Path) -> None:
    path, told = filled(tmp_path, 3), tmp_path / "told"
    process = worker("starved", path, "H", 20, told)
    _, said = process.communicate()
    assert process.returncode == 0, said
    opening, making = said.splitlines()
    for line in (opening, making):
        assert "call IT" in line
    assert "Nothing that is recorded was changed" in opening
    assert "Nothing was made" in making
    assert acknowledged(told).items() <= stored(path).items()
    assert len(stored(path)) == 3 + 21
    assert not (tmp_path / "new").exists()
