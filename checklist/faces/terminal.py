"""The terminal that a person sits at: lines out, raw lines in, a screen that is really cleared."""

from __future__ import annotations

import contextlib
import os
import re
import select
import shutil
import sys
from collections.abc import Iterator, Sequence

from rich.console import Console
from rich.text import Text

from checklist.faces.leaving import CannotGoOn
from checklist.faces.saying import WIDEST, harmless, lines
from checklist.faces.stops import CLOSED, Stopped, Stops

BOLD, LOUD = "bold", "bold reverse"


class Terminal:
    """Reads raw lines, so that a scanner's separator (Ctrl+]) comes through, and writes plain text.

    Between `open` and `close` it works on the terminal's second screen, which leaves nothing to
    scroll back to. `clears` says whether the terminal can be cleared at all.
    """

    def __init__(self, stops: Stops) -> None:
        self._stops = stops
        self._console = Console(markup=False, emoji=False, highlight=False, soft_wrap=True)
        self._second = (_ability("smcup"), _ability("rmcup"))
        self._clear = _ability("clear")
        self._open = False
        for stream in (sys.stdin, sys.stdout):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="backslashreplace")

    @property
    def clears(self) -> bool:
        """Whether what stands on the screen can really be taken away."""
        return bool(self._clear)

    @property
    def width(self) -> int:
        """How many characters a line may have."""
        return min(shutil.get_terminal_size().columns, WIDEST)

    def open(self) -> None:
        """Go over to the second screen, where there is one."""
        self._open = True
        self._raw(self._second[0])

    def close(self) -> None:
        """Come back to the first screen; nothing of the second stays."""
        if self._open:
            self._open = False
            self.clear()
            self._raw(self._second[1])

    def clear(self) -> None:
        """Take everything off the screen, and out of what can be scrolled back to."""
        if not self.clears:
            self.say("-" * self.width)
            return
        # With a second screen there is nothing to scroll back to; without one it is emptied too.
        self._raw(self._clear if all(self._second) else f"{self._clear}\x1b[3J")

    def say(self, text: str = "", style: str = "", *, first: str = "") -> None:
        """One paragraph, broken into lines. `first` stands before it, the rest below is set in."""
        for line in lines(text, self.width, first=first):
            self._line(line, style)

    def command(self, text: str, *, first: str = "next: ") -> None:
        """A command to type next, never broken, so that it can be copied."""
        self._line(f"{first}{harmless(text)}", "")

    def pages(self, paragraphs: Sequence[tuple[str, str]]) -> None:
        """Paragraphs, each with what stands before it, never running off the top of the screen."""
        room = max(shutil.get_terminal_size().lines - 3, 5)
        shown = 0
        for line in (
            one for mark, text in paragraphs for one in lines(text, self.width, first=mark)
        ):
            if self.clears and shown == room:
                self.read("Enter: more >")
                shown = 0
            self._line(line, "")
            shown += 1

    def labelled(self, label: str, text: str, *, column: int, style: str = "") -> None:
        """A word, and beside it a paragraph set in to `column`."""
        head = f"{harmless(label):<{column}}"
        for i, line in enumerate(lines(text, self.width, first=head)):
            if i == 0 and style:
                self._console.print(Text(line[: len(label)], style=style), end="")
                self._line(line[len(label) :], "")
            else:
                self._line(line, "")

    def read(self, prompt: str) -> str:
        """What the person types or scans, as it came, without its line end. Raises Stopped."""
        *above, last = lines(prompt, self.width)
        for line in above:
            self._line(line, "")
        self._console.print(Text(f"{last} "), end="")
        with self._stops.waiting():
            line = sys.stdin.readline()
        if not line:
            raise Stopped(CLOSED)
        return line.rstrip("\r\n")

    def read_hidden(self, prompt: str) -> str:
        """What the person types, shown nowhere; what was typed ahead is dropped. Raises Stopped."""
        with _unseen():
            typed = self.read(f"{prompt} (not shown) >")
        self._line("", "")
        return typed

    def drop_blank(self, seconds: float = 0.3) -> bool:
        """Drop an empty line that a scanner sends behind a code; whether there was one."""
        try:
            waiting, _, _ = select.select([sys.stdin], [], [], seconds)
        except (OSError, ValueError):  # no terminal that can be waited for
            return False
        if not waiting:
            return False
        with self._stops.waiting():
            line = sys.stdin.readline()
        if line.strip():
            self.say("Two codes came in one after the other. The second one was dropped.")
        return True

    def forget_typed(self) -> None:
        """Drop what was typed or scanned ahead, so that a stray scan never answers a stop."""
        with contextlib.suppress(ImportError, OSError):
            import termios

            with contextlib.suppress(termios.error):
                termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)

    def _line(self, text: str, style: str) -> None:
        self._console.print(Text(text, style=style))

    def _raw(self, code: str) -> None:
        if code:
            sys.stdout.write(code)
            sys.stdout.flush()


@contextlib.contextmanager
def _unseen() -> Iterator[None]:
    """While this lasts the terminal shows nothing of what is typed."""
    try:
        import termios
    except ImportError as fault:
        raise CannotGoOn(
            "What is typed cannot be hidden on this system, so no PIN is asked for. Work from"
            " another program with --lines."
        ) from fault
    number = sys.stdin.fileno()
    before = termios.tcgetattr(number)
    hidden = before.copy()
    hidden[3] &= ~(termios.ECHO | termios.ECHONL)
    try:
        termios.tcsetattr(number, termios.TCSAFLUSH, hidden)
        yield
    finally:
        with contextlib.suppress(termios.error):  # the terminal may be gone
            termios.tcsetattr(number, termios.TCSADRAIN, before)


def _ability(name: str) -> str:
    """The terminal's own code for something, by the system's terminal list; "" when it has none."""
    try:
        import curses
    except ImportError:
        return ""
    try:
        curses.setupterm(os.environ.get("TERM") or "dumb", sys.stdout.fileno())
        code = curses.tigetstr(name) or b""
    except (curses.error, OSError, ValueError):
        return ""
    return re.sub(r"\$<[0-9./*]+>", "", code.decode("latin-1"))
