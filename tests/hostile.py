"""Hostile and odd input for the tests, and a bound on the time that anything may take over it."""

from __future__ import annotations

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager

LONGEST = 10
"""Seconds after which a test gives up: a bound against hanging, no measure of speed."""

FORMULAS = ("=1+1", "@SUM(A1)", "+1", "-1", "\t=1+1", "\r=1+1", "＝1+1", '=HYPERLINK("x")', "%0A=1")
TURNED = (
    "\u202emL 57.0",
    "\u2066x\u2069",
    "5\u200b0",
    "a\ufeffb",
    "\u200fabc",
    "x\u2028y",
    "x\u2029y",
)
LOOKALIKES = (
    "m\u043erphine",
    "\u212a",
    "\ufb01lter",
    "e\u0301",
    "\uff11\uff12",
    "\u0660.\u0665",
    "5\u00a0mL",
)
STEERING = ("\x1b[2J\x1b[H", "\x1b]0;t\x07", "\x9b31m", "\x08\x08", "\x07", "\x1b[?1049l", "\rok")
MARKUP = (
    "[bold red]STOP[/]",
    "[link=http://x]y[/link]",
    "{{7*7}}",
    "<img onerror=x>",
    "{0.__class__}",
    "%s%n",
    "$(id)",
    "`id`",
    ":warning:",
)
NUMBERS = (
    "1e999999999",
    "1E400",
    "9" * 5_000,
    "NaN",
    "Infinity",
    "-0",
    "0x10",
    "1_000",
    ".5",
    "5.",
    "0,5",
    "1,000",
    "1e3",
    "+5",
    "05",
    "5.0",
    "-1",
    "True",
)
WORDS = (
    "'; DROP TABLE entries; --",
    "../../../../x",
    "/dev/zero",
    "CON",
    "\x00",
    "a\x00b",
    "\ud800",
    "",
    " ",
    "-" * 300,
    "--",
    "A" * 100_000,
    "\n\n",
    "\x1d",
    "]C1" + "0" * 300,
    "(01)" * 200,
    "null",
)
ALL = FORMULAS + TURNED + LOOKALIKES + STEERING + MARKUP + NUMBERS + WORDS
HIDING = "".join(
    chr(code)
    for code in (
        *range(9),
        *range(11, 32),
        127,
        0x9B,
        0x202E,
        0x2066,
        0x2069,
        0x200B,
        0xFEFF,
        0x2028,
        0x2029,
    )
)
"""What must never reach a terminal as it is."""


class TooLong(BaseException):
    """It took longer than LONGEST; no handler of the program's own catches this."""


@contextmanager
def bounded(spent: list[float] | None = None) -> Iterator[None]:
    """Give up after LONGEST; how long it took is added to `spent`."""

    def stop(*_: object) -> None:
        raise TooLong

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, LONGEST)
    start = time.perf_counter()
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
        if spent is not None:
            spent.append(time.perf_counter() - start)


def inert(printed: str) -> bool:
    """Whether nothing in what was printed steers a terminal or turns text round."""
    return not any(char in HIDING for char in printed)
