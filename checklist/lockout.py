"""Whether a person is shut out, as the trail's own acts have it: no counter beside them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from itertools import chain

from checklist import codec
from checklist.preparation import Entry

KINDS = ("signed_in", "not_signed_in", "locked", "unlocked", "secret_changed")
"""The kinds of acts that decide it."""
WRONG_PIN = "pin"
"""Why a sign-in was refused, where the PIN did not fit."""
FOR_GOOD = "for good"
"""Stands in place of a time where a person is shut out until somebody lets them in again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lockout:
    """How it stands with one person: the wrong PINs on end, and until when they are shut out.

    `until` is None for a person who may sign in, and as of `at` in the past counts for nothing;
    `for_good` was set by hand and waits for somebody who unlocks.

    A lock of a time keeps out whoever comes to sign in. It does not stop the person who had signed
    in before: anybody can type wrong PINs for a code that they know, and would so take a nurse away
    from a dose in the middle. A lock by hand stops them at once.
    """

    wrong: int = 0
    until: datetime | None = None
    for_good: bool = False

    def holds(self, at: datetime) -> bool:
        """Whether the person is shut out at this moment."""
        return self.for_good or (self.until is not None and at < self.until)


def lockout(newest_first: Iterable[Entry], code: str) -> Lockout:
    """How it stands with the person `code` by the acts of KINDS, read from the newest back."""
    wrong, counts = 0, True
    for entry in newest_first:
        event, body = entry.event, entry.event.body
        if body.get("person") != code:
            continue
        match event.kind:
            case "signed_in" | "unlocked":
                return Lockout(wrong=wrong)
            case "secret_changed":  # a fresh PIN has fresh tries; it opens no lock
                counts = False
            case "locked":
                until = body["until"]
                if until == FOR_GOOD:
                    return Lockout(wrong=wrong, for_good=True)
                return Lockout(wrong=wrong, until=codec.time_in(until))
            case "not_signed_in" if counts and body.get("why") == WRONG_PIN:
                wrong += 1
            case _:
                continue
    return Lockout(wrong=wrong)


class Remembered:
    """How it stands with people, worked out anew only when another act has been recorded.

    What is remembered holds for the very act that was the newest, told by its digest.
    """

    def __init__(self) -> None:
        self._known: dict[str, tuple[bytes, Lockout]] = {}

    def of(self, newest_first: Iterable[Entry], code: str) -> Lockout:
        """The same as `lockout`."""
        acts = iter(newest_first)
        newest = next(acts, None)
        if newest is None:
            return Lockout()
        known = self._known.get(code)
        if known is None or known[0] != newest.digest:
            known = self._known[code] = newest.digest, lockout(chain((newest,), acts), code)
        return known[1]
