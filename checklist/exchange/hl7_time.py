"""Days, moments and timings of HL7 v2, as an order line holds them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from checklist.exchange.frequency import Often, of_code
from checklist.exchange.hl7_message import Segment
from checklist.exchange.taken import local_moment, written_moment
from checklist.intake.fault import NotAsWritten
from checklist.number import quoted

_DAY = r"([0-9]{4})([0-9]{2})([0-9]{2})"
_TIME = r"([0-9]{2})([0-9]{2})(?:([0-9]{2})(?:\.[0-9]{1,4})?)?([+-][0-9]{4})?"
_NOT_TAKEN = {
    4: "A time of day is not taken, since it names no day.",
    5: "A time relative to something is not taken.",
    6: "How long the order holds is not taken without its end.",
    12: "An order that hangs on another is not taken.",
    13: "How long a dose runs in is not taken.",
}


@dataclass(frozen=True, slots=True)
class Times:
    """When a dose is due, as orders.json writes it; what is empty was not said."""

    frequency: str = ""
    interval: str = ""
    due: str = ""
    stops: str = ""


def day_of(text: str) -> str:
    """A day, of a moment too, as orders.json writes it. Raises NotAsWritten."""
    if found := re.fullmatch(rf"{_DAY}(?:{_TIME})?", text):
        try:
            return date.fromisoformat("-".join(found.groups()[:3])).isoformat()
        except ValueError:
            pass
    raise NotAsWritten(f"{quoted(text)} is no day. Have it sent as 8 figures, like 20261125.")


def moment_of(text: str, zone: str) -> str:
    """A moment in UTC; without an offset it is meant on the ward's clock. Raises NotAsWritten."""
    if found := re.fullmatch(_DAY + _TIME, text):
        year, month, day, hour, minute, second, offset = found.groups()
        plain = f"{year}-{month}-{day}T{hour}:{minute}:{second or '00'}"
        try:
            if offset:
                aware = datetime.fromisoformat(f"{plain}{offset[:3]}:{offset[3:]}")
                return written_moment(aware.astimezone(UTC))
            return written_moment(local_moment(datetime.fromisoformat(plain), zone))
        except (ValueError, OverflowError) as fault:
            if isinstance(fault, NotAsWritten):
                raise
    raise NotAsWritten(f"{quoted(text)} is no moment. Have it sent like 202611251420+0000.")


def times_of(group: Sequence[Segment], order: Segment, zone: str) -> Times:
    """When the dose of an order is due: by its TQ1, or by the older fields of ORC and RXE.

    The start is taken as the time at which the next dose is due.
    """
    timings = [one for one in group if one.name == "TQ1"]
    if len(timings) > 1:
        timings[1].doubt(1, "An order line is due at one time. Have one timing sent.")
        return Times()
    if timings:
        return _of_tq1(timings[0], zone)
    older = [(order, 1)] if order.name == "RXE" and order.there(1) else [(group[0], 7)]
    return _of_quantity_timing(*older[0], zone)


def _of_tq1(one: Segment, zone: str) -> Times:
    for field, sentence in _NOT_TAKEN.items():
        if one.there(field):
            one.doubt(field, f"{sentence} Leave the order out by its id, and enter it by hand.")
    if one.there(14) and one.text(14) != "1":
        one.doubt(14, "A number of doses is not taken. Have the end sent instead.")
    if len(one.repeats(3)) > 1:
        one.doubt(3, "Several patterns are not taken. Have one sent.")
        return Times()
    return _joined(one, one.text(3), one.text(7), one.text(8), one.text(10), (3, 7, 8, 10), zone)


def _of_quantity_timing(one: Segment, field: int, zone: str) -> Times:
    if one.text(field, 3):
        one.doubt(field, "How long the order holds is not taken without its end.", 3)
    parts = [one.text(field, number) for number in (2, 4, 5, 7)]
    code, start, end, why = parts
    return _joined(one, code, start, end, why, (field,) * 4, zone)


def _joined(
    one: Segment, code: str, start: str, end: str, why: str, fields: Sequence[int], zone: str
) -> Times:
    often: Often | None = None
    try:
        often = of_code(code) if code else None
        if often is not None and why:
            often = Often("").as_needed(why) if code.upper() == "PRN" else often.as_needed(why)
    except NotAsWritten as fault:
        one.doubt(fields[0], str(fault))
    if why and not code:
        one.doubt(fields[3], "A condition without a pattern is not taken. Have PRN sent with it.")
    moments = []
    for text, field in ((start, fields[1]), (end, fields[2])):
        try:
            moments.append(moment_of(text, zone) if text else "")
        except NotAsWritten as fault:
            one.doubt(field, str(fault))
            moments.append("")
    words, interval = (often.words, often.interval) if often else ("", "")
    return Times(words, interval, moments[0], moments[1])
