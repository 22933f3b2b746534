"""What was understood of a file of orders, in the form of orders.json, before it goes anywhere."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from checklist import ucum
from checklist.intake.fault import Findings, NotAsWritten
from checklist.number import NumberFault, number, quoted
from checklist.quantity import DimensionMismatch, Quantity, UnitFault

Line = dict[str, Any]
OVER = ("cancelled", "completed", "stopped", "replaced")
"""An order in one of these states is over: nothing of it matters but that."""


@dataclass(slots=True)
class Taken:
    """The patients and order lines of a file, as orders.json writes them, and what was left.

    A patient has no `code` yet, and an order names its patient by the record number: codes are
    this ward's own. `remarks` are sentences, with their place, on what was not taken or was read
    in another form, none of which keeps the file from being taken. `left_out` are the ids of the
    orders that were left out because somebody asked for it.
    """

    patients: list[Line] = field(default_factory=list)
    orders: list[Line] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)

    def remark(self, place: str, sentence: str) -> None:
        """Note something for the person who looks over what was taken."""
        self.remarks.append(f"{place}: {sentence}")


def figures(text: str) -> str:
    """The figures of a number as people write them; raises NumberFault for what is no plain one.

    Zeros at the end of the decimals fall away, since they change nothing; all other figures stay
    as they are. So no decimal goes through a float.
    """
    found = re.fullmatch(r"([0-9]+)\.([0-9]*?)0+", text)
    plain = text if found is None else f"{found[1]}.{found[2]}" if found[2] else found[1]
    number(plain)
    return plain


def amount(text: str, code: str) -> str:
    """An amount as a nurse reads it, from its figures and its UCUM code: "7.5 mg".

    Raises NumberFault, UnitFault. The text means the very same amount again when it is read.
    """
    plain = figures(text)
    value = Quantity.of(plain, code)
    written = f"{plain} {ucum.shown(code, value.magnitude != 1)}".strip()
    if Quantity.parse(written).code != value.code:
        raise UnitFault(f"The unit {quoted(code)} has no words here. Use another.")
    return written


def fitting(place: str, findings: Findings, reader: Callable[[str], object], text: str) -> str:
    """The text when `reader` understands it; "" and a doubt at `place` otherwise."""
    if not text:
        return ""
    try:
        reader(text)
    except (NumberFault, UnitFault, DimensionMismatch, NotAsWritten) as fault:
        findings.add(place, str(fault))
        return ""
    return text


def local_moment(naive: datetime, zone: str) -> datetime:
    """A time on a ward's clock as UTC.

    Raises NotAsWritten for one that the clock shows twice or never, when it is put back or forward.
    """
    here = naive.replace(tzinfo=ZoneInfo(zone))
    if here.utcoffset() != here.replace(fold=1).utcoffset():
        raise NotAsWritten(
            f"{naive:%Y-%m-%d %H:%M} is shown twice, or never, by the clocks of {zone}. Have the"
            " offset from UTC sent with it."
        )
    return here.astimezone(UTC)


def written_moment(at: datetime) -> str:
    """A moment as orders.json writes it, to the second."""
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%S}Z"
