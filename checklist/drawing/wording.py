"""Words and figures that several drawings share."""

from __future__ import annotations

from dataclasses import dataclass

from checklist.review.false_alarm import FalseAlarm
from checklist.review.small_cell import FLOOR


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """What is counted, in words: `events` ("stops") among `chances` ("preparations").

    Shares and rates are shown per `per` chances. `period` is what a point stands for ("week").
    `unit` is that of a measured value, such as "minutes"; it is "" where events are counted.
    """

    title: str
    events: str
    chances: str = "preparations"
    per: int = 100
    period: str = "week"
    unit: str = ""


def figure(value: float, digits: int = 1) -> str:
    """A figure with a point, no trailing zeros, three digits at least for small ones."""
    if value != 0 and abs(value) < 10**-digits:
        return f"{value:.2g}"
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def in_hundred(chance: float) -> str:
    """A chance as so many of a hundred."""
    return figure(100 * chance, 0 if chance >= 0.095 else 1)


def rehearsed(alarm: FalseAlarm, rules: str) -> str:
    """How often the rules alarm though nothing changed, for the margin of a chart."""
    span = (
        "" if alarm.low == alarm.high else f" ({in_hundred(alarm.low)} to {in_hundred(alarm.high)})"
    )
    return (
        f"Rules: {rules}. Of 100 stable series like this one, {in_hundred(alarm.chance)}{span}"
        f" show a signal by chance ({alarm.how})."
    )


def hidden_note(count: int, what: str) -> str:
    """That so many points are too small to show, and what to do."""
    rest = f"{what} rests" if count == 1 else f"{what}s rest"
    return (
        f"{count} {rest} on fewer than {FLOOR.people} people or {FLOOR.preparations} preparations"
        f" and cannot be shown: take longer stretches than a {what}."
    )
