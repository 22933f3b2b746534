"""A nurse at a pseudo-terminal for the tests: reads what is asked last, and types."""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Self

import pexpect

from checklist import library
from checklist.faces.scenario import read_scenario
from checklist.observation import Kind
from tests.faces import ROOT, STEERING, bodies, surroundings
from tests.scene import LABELS, Scene

LABEL = LABELS["ORD-103"]
RIGHT: Mapping[str, str] = {
    "first_identifier": "30012415",
    "second_identifier": "19 Dec 1987",
    "label_identifier": "30012415",
    "bedside_identifier": "]d28018952000000000003034",
    "product": LABEL,
    "product_again": LABEL,
    "emptied": LABEL,
    "syringe_kind": "2",
    "syringe_size": "3",
    "graduation": "0.1",
    "estimate": "3",
    "own_volume": "2",
    "filter_kind": "1",
    "pore": "5",
    "read_drug": "ondansetron",
    "read_strength": "4 mg in 2 mL",
    "bubble_free": "1",
    "drawn_volume": "2",
    "tip": "2",
    "gauge": "",
    "needle_length": "",
    "label_made": "1",
    "label_drug": "ondansetron",
    "label_dose": "4 mg",
    "label_volume": "2",
    "identified_by": "1",
    "bedside_drug": "ondansetron",
    "bedside_dose": "4 mg",
    "given_volume": "2",
    "time_given": "14:00",
    "site_given": "left arm",
    "custody": "1",
}
PROMPT = re.compile(r"> $")
PIN_ASKED = re.compile(r"PIN of (\S+) \(not shown\) > $")
PINS = read_scenario(ROOT / "demo_db").pins
CLEARED = re.compile(r"\x1b\[H\x1b\[2J|\x1b\[2J")


@cache
def answers() -> Mapping[str, str]:
    """The right answer by what a field is called on the screen; a line to look at is seen."""
    flow = library.workflows()["glass_ampoule"]
    every = [
        field
        for phase in (*flow.phases, *flow.asides)
        for step in phase.steps
        for field in step.fields
    ]
    known = {field.say: RIGHT[field.name] for field in every if field.name in RIGHT}
    return {**{field.say: "y" for field in every if field.kind is Kind.SEEN}, **known}


class Nurse:
    """A person at a terminal: reads the last prompt and types an answer."""

    def __init__(
        self,
        home: Path,
        *words: str,
        rows: int = 50,
        columns: int = 100,
        changes: Mapping[str, str] | None = None,
        command: str = "prepare",
    ) -> None:
        self.home = home
        self.all = ""
        self.pins = dict(PINS)
        """Typed by themselves where a PIN is asked for; taken away, the test types it."""
        self.child = pexpect.spawn(
            sys.executable,
            ["-m", "checklist.faces.cli", command, *words],
            env=surroundings(home, **(changes or {})),
            cwd=str(home),
            dimensions=(rows, columns),
            encoding="utf-8",
            timeout=30,
        )
        # Each answer follows a question that was read, so nothing has to be waited for.
        self.child.delaybeforesend = None
        self.child.delayafterclose = self.child.delayafterterminate = 0.02

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.child.close(force=True)

    def wait(self) -> str:
        """What came until something is asked, without the codes that steer the terminal."""
        self.child.expect(PROMPT)
        fresh = self.child.before + self.child.after
        self.all += fresh
        asked = PIN_ASKED.search(fresh)
        if asked and asked[1] in self.pins:
            self.child.sendline(self.pins[asked[1]])
            return self.wait()
        return STEERING.sub("", CLEARED.split(fresh)[-1]).replace("\r", "")

    def type(self, text: str) -> str:
        """Type a line; what came after it, until the next question."""
        self.child.sendline(text)
        return self.wait()

    def answer(self, screen: str) -> str:
        """The right answer to what a screen asks last."""
        asked = screen.rstrip().splitlines()
        last = asked[-1]
        if last.startswith("Enter: hand it in") or "press Enter" in last:
            return ""
        if re.match(r"1 to [0-9]+ >", last):
            last = next(line for line in reversed(asked[:-1]) if line.endswith(":"))
        # A long question is broken over two lines.
        for end in (last, f"{asked[-2]} {last}"):
            for say, right in answers().items():
                if end.startswith(say):
                    return right
        raise AssertionError(f"no answer to {last!r}")

    def to(self, words: str, screen: str) -> str:
        """Answer rightly until a screen says `words`; that screen."""
        for _ in range(150):
            if words in screen:
                return screen
            screen = self.type(self.answer(screen))
        raise AssertionError(f"never came to {words!r}")

    def end(self) -> tuple[int, str]:
        """The exit code and the last words, once the program has ended."""
        self.child.expect(pexpect.EOF)
        self.all += self.child.before
        self.child.close()
        return self.child.exitstatus, STEERING.sub("", self.child.before)


def kinds(path: Path) -> list[str]:
    return [kind for kind, _ in bodies(path)]


def counted(home: Path) -> tuple[str, ...]:
    """A preparation of ORD-101 that waits for its witness; the words to go on with it."""
    scene = Scene(home, "ORD-101")
    scene.open()
    scene.to("count_the_stock")
    scene.trail.close()
    trail = str(home / "trail.db")
    return ("ORD-101", "--as", "RN-12", "--practice", "--trail", trail)


def to_the_count(nurse: Nurse) -> str:
    """Come back behind the re-verification, and count."""
    nurse.wait()
    nurse.type("30011742")
    stop = nurse.type("1958-03-14")
    assert "interrupted_at_critical_step" in stop
    nurse.type("1")
    for figure in ("12", "1", "11"):
        nurse.type(figure)
    return nurse.type("")
