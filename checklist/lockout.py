"""Whether a person is shut out, as the trail's own acts have it: no counter beside them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

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
    `for_good` waits for somebody who unlocks.
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
