"""Which sitting has a preparation in hand, and which second person stands at it there.

A sitting is one sign-in at one tablet. Only the server's memory knows this, on purpose: what nobody
here has in hand was left in the middle, and is come back to behind its re-verification.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class _Second:
    sitting: str
    code: str
    place: str


class Hands:
    """What each sitting holds. Used from the server's one event loop alone."""

    def __init__(self) -> None:
        self._held: dict[str, str] = {}
        self._second: dict[str, _Second] = {}
        self._sent: dict[str, str] = {}

    def take(self, preparation: str, sitting: str) -> None:
        """The preparation is in this sitting's hands from now on, and in no other's."""
        self._held[preparation] = sitting
        self._second.pop(preparation, None)

    def holds(self, preparation: str, sitting: str) -> bool:
        """Whether this sitting has the preparation in hand."""
        return self._held.get(preparation) == sitting

    def held(self, preparation: str) -> bool:
        """Whether anybody has it in hand."""
        return preparation in self._held

    def let_go(self, preparation: str) -> None:
        """Nobody has it in hand any more."""
        self._held.pop(preparation, None)
        self._second.pop(preparation, None)

    def stand(self, preparation: str, sitting: str, code: str, place: str) -> None:
        """A second person has signed in at this sitting for the step at `place`."""
        self._second[preparation] = _Second(sitting, code, place)

    def second(self, preparation: str, sitting: str, place: str) -> str:
        """The code of the second person who stands at the step at `place` here; "" for none."""
        found = self._second.get(preparation)
        return found.code if found and (found.sitting, found.place) == (sitting, place) else ""

    def step_back(self, preparation: str) -> None:
        """The second person has done their part."""
        self._second.pop(preparation, None)

    def sent(self, preparation: str, digest: str) -> None:
        """This form was taken; it is remembered until the next one is."""
        self._sent[preparation] = digest

    def was_sent(self, preparation: str, digest: str) -> bool:
        """Whether this very form was the last that was taken: a key or finger pressed twice."""
        return self._sent.get(preparation) == digest
