"""How often a dose is due, in words and as an interval, from the codes and figures of a standard.

Codes: HL7 table 0335 (repeat pattern) and HL7 v3 GTSAbbreviation, from which FHIR's timing codes
come. Codes that hang on a ward's own hours (at bedtime, with a meal) are not read here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from checklist.intake.fault import NotAsWritten
from checklist.number import quoted

_TIMES = {"BID": 2, "TID": 3, "QID": 4}
_EVERY = {"H": "hour", "D": "day", "W": "week", "M": "minute", "L": "month"}
# The letters of the repeat pattern: L stands for a month, since M is taken by minutes.
_UNITS = {
    "s": "second", "min": "minute", "h": "hour", "d": "day", "wk": "week", "mo": "month",
    "a": "year",
}  # fmt: skip
_CALENDAR = ("month", "year")


@dataclass(frozen=True, slots=True)
class Often:
    """How often: in words for the nurse, and the time between two doses where there is just one."""

    words: str
    interval: str = ""

    def as_needed(self, why: str = "") -> Often:
        """The same, for a dose that is given only when it is needed."""
        when = f"as needed for {why}" if why else "as needed"
        return Often(f"{self.words}, {when}" if self.words else when, self.interval)


def often(count: str, period: str, unit: str) -> Often:
    """So many doses in a period: figures, figures and a FHIR unit of time. Raises NotAsWritten."""
    if unit not in _UNITS:
        raise NotAsWritten(f"{quoted(unit)} is not a unit of time. Use s, min, h, d, wk, mo or a.")
    every = f"{period} {_UNITS[unit]}{'' if period == '1' else 's'}"
    if count == "1":
        return Often(f"every {every}", "" if _UNITS[unit] in _CALENDAR else every)
    if not re.fullmatch(r"[1-9][0-9]?", count):
        raise NotAsWritten(f"{quoted(count)} times is not read here. Use a whole number.")
    return Often(f"{count} times in {every}")


def of_code(code: str) -> Often:
    """What a repeat pattern says: Q6H, BID, ONCE. Raises NotAsWritten for others."""
    plain = code.strip().upper()
    if plain == "ONCE":
        return Often("once")
    if plain == "PRN":
        return Often("").as_needed()
    if plain in _TIMES:
        return Often(f"{_TIMES[plain]} times in 1 day")
    if found := re.fullmatch(r"Q([1-9][0-9]?)([HDWML])", plain):
        period = f"{found[1]} {_EVERY[found[2]]}{'' if found[1] == '1' else 's'}"
        return Often(f"every {period}", "" if found[2] == "L" else period)
    raise NotAsWritten(
        f"How often {quoted(code)} means is not known here. Have it sent as a number of hours, like"
        " Q6H."
    )
