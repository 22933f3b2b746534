"""Days, moments and timings of FHIR R4, as an order line holds them."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime, time

from checklist.exchange.frequency import Often, of_code, often
from checklist.exchange.node import Node
from checklist.exchange.taken import amount, figures, fitting, local_moment, written_moment
from checklist.intake.amount import time_of
from checklist.intake.fault import NotAsWritten
from checklist.number import NumberFault, quoted
from checklist.quantity import UnitFault

_DAY = r"[0-9]{4}-[0-9]{2}-[0-9]{2}"
_MOMENT = rf"({_DAY}T[0-9]{{2}}:[0-9]{{2}}:[0-9]{{2}})(?:\.[0-9]+)?(Z|[+-][0-9]{{2}}:[0-9]{{2}})"
_READ = ("boundsPeriod", "count", "frequency", "period", "periodUnit")
_LENGTH = ("duration", "durationUnit")
FIRST, LAST = time(0, 0), time(23, 59, 59)


@dataclass(slots=True)
class Times:
    """When a dose is due, as orders.json writes it; what is empty was not said."""

    frequency: str = ""
    interval: str = ""
    due: str = ""
    starts: str = ""
    stops: str = ""
    duration: str = ""
    """For how long one dose runs in."""
    sure: bool = field(default=True)
    """False where something was said that is not taken; it is noted as a doubt."""


def day_in(node: Node) -> str:
    """A whole day, "" and a doubt for a part of one; of a moment the day as it was written."""
    text = node.word()
    if not text:
        return ""
    if re.fullmatch(rf"{_DAY}|{_MOMENT}", text):
        try:
            datetime.fromisoformat(text[:10])
            return text[:10]
        except ValueError:
            pass
    node.doubt(f"{quoted(text)} is no whole day. Have year, month and day sent.")
    return ""


def moment_in(node: Node, zone: str, *, of_day: time | None = None) -> str:
    """A moment in UTC, to the second; "" and a doubt for what is none.

    A day alone means its first or last second on the ward's clock, where `of_day` says so.
    """
    text = node.word()
    if not text:
        return ""
    try:
        if found := re.fullmatch(_MOMENT, text):
            return written_moment(datetime.fromisoformat(found[1] + found[2]).astimezone(UTC))
        if of_day is not None and re.fullmatch(_DAY, text):
            day = datetime.combine(datetime.fromisoformat(text), of_day)
            return written_moment(local_moment(day, zone))
    except NotAsWritten as fault:
        node.doubt(str(fault))
        return ""
    except (ValueError, OverflowError):
        pass
    node.doubt(f"{quoted(text)} is no moment. Have day, time and offset from UTC sent.")
    return ""


def times_of(dosage: Node, zone: str, *, runs: bool = False) -> Times:
    """When the dose of a dosage instruction is due, and how often.

    `runs` says that it runs in, so that its length of time is taken and no doubt.
    """
    timing, times = dosage.part("timing"), Times()
    events = [moment_in(one, zone) for one in timing.each("event")]
    if len(events) > 1:
        timing.at("event").doubt(
            "There are several times; an order line is due at one. Have one sent."
        )
        times.sure = False
    times.due = events[0] if events else ""
    found = _repeated(timing.part("repeat"), times, zone, runs=runs) or _coded(timing, times)
    if found is None and times.due:
        found = Often("once")
    needed = dosage.part("asNeededCodeableConcept")
    if reasons := list(dosage.each("asNeededFor")):
        needed = reasons[0]
    asked = dosage.true("asNeeded") or dosage.true("asNeededBoolean")
    if asked or needed.value is not None:
        why = needed.text("text") or next((c.text("display") for c in needed.each("coding")), "")
        found = (found or Often("")).as_needed(why)
    if found is not None:
        times.frequency, times.interval = found.words, found.interval
    return times


def _repeated(repeat: Node, times: Times, zone: str, *, runs: bool) -> Often | None:
    """How often, from figures; what else stands there is a doubt, since it changes when to give."""
    if runs and repeat.there("duration"):
        times.duration = _length(repeat)
    for key in repeat.names:
        if key not in _READ and not (runs and key in _LENGTH):
            repeat.at(key).doubt("This part of a timing is not taken. Have the order sent without.")
            times.sure = False
    bounds = repeat.part("boundsPeriod")
    times.starts = moment_in(bounds.at("start"), zone, of_day=FIRST)
    times.stops = moment_in(bounds.at("end"), zone, of_day=LAST)
    if repeat.there("count") and repeat.figures("count") != "1":
        repeat.at("count").doubt("A number of doses is not taken. Have the end sent instead.")
        times.sure = False
    if not repeat.there("period"):
        return Often("once") if repeat.there("count") and times.sure else None
    try:
        period = figures(repeat.figures("period"))
        count = figures(repeat.figures("frequency")) if repeat.there("frequency") else "1"
        return often(count, period, repeat.text("periodUnit"))
    except (NumberFault, NotAsWritten) as fault:
        repeat.at("period").doubt(str(fault))
        times.sure = False
        return None


def _length(repeat: Node) -> str:
    """For how long a dose runs in; "" and a doubt for what is no length of time.

    A unit of time is a UCUM code by the standard: FHIR R4, value set units-of-time.
    """
    place = repeat.at("duration")
    if not repeat.there("durationUnit"):
        place.doubt("It has no unit of time. Have durationUnit sent.")
        return ""
    try:
        text = amount(repeat.figures("duration"), repeat.text("durationUnit"))
    except (NumberFault, UnitFault) as fault:
        place.doubt(str(fault))
        return ""
    return fitting(place.path, repeat.findings, time_of, text)


def _coded(timing: Node, times: Times) -> Often | None:
    """How often, from the timing's code, where there are no figures."""
    code = timing.part("code")
    found = [one for one in code.each("coding") if one.text("code")]
    if not found:
        return Often(code.text("text")) if code.text("text") else None
    try:
        return of_code(found[0].text("code"))
    except NotAsWritten as fault:
        found[0].at("code").doubt(str(fault))
        times.sure = False
        return None
