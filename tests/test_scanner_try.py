"""The try-out of a scanner at a pseudo-terminal, and that preparations go by it afterwards."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pexpect
import pytest

from checklist.intake.scanner_file import FILE, ScannerFile
from checklist.interop.scanner import GS, Ending, Letters, Prefix
from checklist.interop.try_out import PAGE, Printed
from checklist.trail import Trail
from tests.faces import STEERING, new_trail, pins, run, surroundings

# A pseudo-terminal is made by forking; where the test runner has threads, Python warns of that.
pytestmark = pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")


def sent(one: Printed, *, prefix: bool = True, gap: str = GS) -> str:
    return (one.prefix if prefix else "") + gap.join(one.parts)


class Station:
    """A person with a scanner at a terminal."""

    def __init__(self, home: Path, *words: str) -> None:
        self.child = pexpect.spawn(
            sys.executable,
            ["-m", "checklist.faces.cli", "scanner", "try", *words],
            env=surroundings(home),
            cwd=str(home),
            dimensions=(50, 100),
            encoding="utf-8",
            timeout=60,
        )
        self.child.delaybeforesend = None

    def wait(self, words: str) -> str:
        self.child.expect(words)
        return str(self.child.before)

    def scan_all(self, *, prefix: bool = True, gap: str = GS, turned: bool = False) -> None:
        for one in PAGE:
            text = sent(one, prefix=prefix, gap=gap)
            self.wait(f"Scan symbol {one.number} > ")
            self.child.sendline(text.swapcase() if turned else text)
            if one.number == 1:
                self.wait("y/n > ")
                self.child.sendline("y")

    def end(self) -> tuple[int, str]:
        self.child.expect(pexpect.EOF)
        said = " ".join(STEERING.sub("", str(self.child.before)).split())
        self.child.close()
        return int(self.child.exitstatus or 0), said


@contextmanager
def station(home: Path, *words: str) -> Iterator[Station]:
    one = Station(home, *words)
    try:
        yield one
    finally:
        one.child.close(force=True)


def folder(home: Path) -> Path:
    """Where the demonstration keeps its trail and its scanners."""
    made = home / "checklist"
    made.mkdir(exist_ok=True)
    return made


def recorded(path: Path) -> list[tuple[str, dict[str, object]]]:
    """Kind and body of every entry of a trail."""
    with Trail.open(path, read_only=True) as trail:
        return [(one.event.kind, dict(one.event.body)) for one in trail.since(0)]


def test_a_sound_scanner_is_tried_kept_and_recorded(tmp_path: Path) -> None:
    trail = new_trail(folder(tmp_path) / "trail.db")
    with station(tmp_path, "--as", "RN-12") as one:
        one.wait(re.escape("PIN of RN-12 (not shown): "))
        one.child.sendline(pins()["RN-12"])
        one.scan_all()
        code, said = one.end()
    assert code == 0 and "Lots are taken from codes here." in said
    assert "prefix sent; separator sent; letters as printed; line end enter" in said
    kept = ScannerFile(folder(tmp_path) / FILE).of("W7E-1")
    assert (kept.separator, kept.prefix, kept.by) == (GS, Prefix.SENT, "RN-12")
    acts = [one for one in recorded(trail) if one[0] == "scanner_tried"]
    assert acts == [
        (
            "scanner_tried",
            {
                "station": "W7E-1",
                "prefix": "sent",
                "separator": "U+001D",
                "letters": "as printed",
                "ending": "enter",
                "unread": "",
            },
        )
    ]
    shown = run("scanner", "show", home=tmp_path).stdout
    assert "W7E-1: tried" in shown and "separator sent" in shown
    assert run("trail", "verify", "--trail", str(trail), home=tmp_path).returncode == 0


@pytest.mark.parametrize(
    ("how", "words", "letters", "separator", "code"),
    [
        ({"gap": "|", "prefix": False}, "separator sent as |", Letters.AS_PRINTED, "|", 0),
        ({"gap": ""}, "The separator is lost", Letters.AS_PRINTED, "", 1),
        ({"turned": True}, "Press Caps Lock once", Letters.TURNED, GS, 1),
    ],
)
def test_what_is_wrong_is_said_and_kept(
    how: dict[str, object],
    words: str,
    letters: Letters,
    separator: str,
    code: int,
    tmp_path: Path,
) -> None:
    folder(tmp_path)
    with station(tmp_path, "--as", "RN-12", "--station", "W7E-2") as one:
        one.scan_all(**how)  # type: ignore[arg-type]
        ended, said = one.end()
    assert ended == code and words in said and "There is no trail yet" in said
    kept = ScannerFile(folder(tmp_path) / FILE).of("W7E-2")
    assert (kept.letters, kept.separator) == (letters, separator)


def test_line_ends_wrong_symbols_and_leaving_are_taken_care_of(tmp_path: Path) -> None:
    folder(tmp_path)
    with station(tmp_path, "--as", "RN-12") as one:
        one.wait("Scan symbol 1 > ")
        one.child.sendline("hello")
        assert "That is not symbol 1" in " ".join(one.wait("Scan symbol 1 > ").split())
        one.child.sendline("")
        one.wait("Scan symbol 1 > ")
        # A carriage return and a line feed: two line ends, so that nothing has to be asked.
        one.child.send(f"{sent(PAGE[0])}\r\n")
        one.wait("Scan symbol 2 > ")
        for number in (2, 3, 4):
            one.child.sendline(":n")
            one.wait(f"Scan symbol {number + 1} > ")
        one.child.sendline(":n")
        code, said = one.end()
    assert code == 0 and "Not read: symbol 2, 3, 4, 5" in said and "two line ends" in said
    kept = ScannerFile(folder(tmp_path) / FILE)
    assert kept.of("W7E-1").ending is Ending.TWICE
    before = kept.path.read_bytes()
    for stop in (":e\n", "\x03", "\x04"):
        with station(tmp_path, "--as", "RN-12") as one:
            one.wait("Scan symbol 1 > ")
            one.child.send(stop)
            code, said = one.end()
        assert code == 1 and "Nothing was kept" in said
    with station(tmp_path, "--as", "RN-12") as one:
        for number in range(1, 6):
            one.wait(f"Scan symbol {number} > ")
            one.child.sendline(":n")
        code, said = one.end()
    assert code == 1 and "No symbol was read" in said and kept.path.read_bytes() == before


def test_who_may_not_try_a_scanner_is_refused_and_that_is_recorded(tmp_path: Path) -> None:
    trail = new_trail(folder(tmp_path) / "trail.db")
    with station(tmp_path, "--as", "ED-1") as one:
        one.wait(re.escape("PIN of ED-1 (not shown): "))
        one.child.sendline(pins()["ED-1"])
        code, said = one.end()
    assert code == 2 and "Nothing was done" in said
    assert recorded(trail)[-1][0] == "not_allowed"
    assert not (folder(tmp_path) / FILE).exists()


def test_a_try_out_needs_a_person_at_a_terminal(tmp_path: Path) -> None:
    told = run("scanner", "try", "--as", "RN-12", home=tmp_path)
    assert told.returncode == 2 and "needs a terminal" in told.stderr
