"""Signals that ask a preparation to stop, raised only where nothing can be torn apart."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Self

SHUT_DOWN = "the station was shut down"
CLOSED = "the terminal was closed"
AT_KEYBOARD = "stopped at the keyboard"
_CAUSES = {
    "SIGINT": AT_KEYBOARD,
    "SIGQUIT": AT_KEYBOARD,
    "SIGTSTP": AT_KEYBOARD,
    "SIGTERM": SHUT_DOWN,
    "SIGHUP": CLOSED,
}


class Stopped(Exception):
    """The person or the system asks to stop. `cause` is what the trail keeps of it."""

    def __init__(self, cause: str) -> None:
        super().__init__(cause)
        self.cause = cause


class Stops:
    """Takes the signals over while it is entered; they take effect only while input is awaited.

    So what was handed in is recorded first, then the stop is.
    """

    def __init__(self) -> None:
        self._asked = ""
        self._waiting = False
        self._before: list[tuple[signal.Signals, object]] = []

    def __enter__(self) -> Self:
        for name in _CAUSES:
            if number := getattr(signal, name, None):
                self._before.append((number, signal.signal(number, self._on)))
        return self

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before:
            signal.signal(number, handler)  # type: ignore[arg-type]

    def _on(self, number: int, frame: FrameType | None) -> None:
        self._asked = self._asked or _CAUSES[signal.Signals(number).name]
        if self._waiting:
            self._waiting = False
            raise Stopped(self._asked)

    @contextmanager
    def waiting(self) -> Iterator[None]:
        """While this lasts a stop is raised at once; one asked for before is raised now."""
        self._waiting = True
        try:
            if self._asked:
                raise Stopped(self._asked)
            yield
        finally:
            self._waiting = False
