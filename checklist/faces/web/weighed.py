"""PINs compared ahead of the act, so that the costly hash never holds up the one who writes."""

from __future__ import annotations

import hmac
from collections.abc import Iterator
from contextlib import contextmanager

from checklist.credential import Credentials


class Weighed:
    """The PINs of a ward; the answer about one is worked out before, in another thread.

    Everything but the comparison is asked of the ward's own keeper at the time of the act.
    """

    def __init__(self, keeper: Credentials) -> None:
        self._keeper = keeper
        self._answer: tuple[str, str, bool] | None = None

    @property
    def proof(self) -> str:
        """What the trail says that a person proved themselves with."""
        return self._keeper.proof

    def has(self, code: str) -> bool:
        """Whether a PIN is set for this person. Raises CredentialFault."""
        return self._keeper.has(code)

    def is_given(self, code: str) -> bool:
        """Whether the PIN was set by somebody else. Raises CredentialFault."""
        return self._keeper.is_given(code)

    def weigh(self, code: str, pin: str) -> bool:
        """Whether this is the person's PIN, from the keeper. Raises CredentialFault."""
        return self._keeper.fits(code, pin)

    def fits(self, code: str, pin: str) -> bool:
        """Whether this is the person's PIN: as it was weighed, else asked now."""
        if self._answer is not None:
            who, what, fits = self._answer
            if who == code and hmac.compare_digest(what.encode("utf-8", "replace"), _bytes(pin)):
                return fits
        return self._keeper.fits(code, pin)

    @contextmanager
    def holding(self, code: str, pin: str, fits: bool) -> Iterator[None]:
        """While this lasts the answer about one PIN stands. For the thread that writes, alone."""
        self._answer = (code, pin, fits)
        try:
            yield
        finally:
            self._answer = None


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "replace")
