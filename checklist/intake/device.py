"""What a formulary file says of a device that comes filled, and of a suspension.

[[product]]                        # besides the keys that every product has
scale_step = "0.1 mL"              # a line of its own scale; of a pen "1 unit"; or left out
keeps_air = true                   # its bubble is kept for the whole dose
holder = "K-2"                     # the holder that a cartridge is made for
needle = "kit"                     # only the needle from its box will do
prime = "2 units"                  # pushed out before each dose
hold = "10 s"                      # held in the skin
suspension = true
resuspend_how = "rolled and turned over"
resuspend_for = "20 turns"         # or a time: "30 s"
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any, Protocol

from checklist.device import PENS, RESUSPENDED
from checklist.intake.amount import dose_of, time_of
from checklist.intake.fault import Findings, NotAsWritten
from checklist.number import number, quoted
from checklist.quantity import Concentration, Quantity

Place = Callable[[Sequence[str | int]], str]


class DeviceRecord(Protocol):
    """The keys of a product's record that are read here."""

    container: str
    suspension: bool
    scale_step: str | None
    keeps_air: bool
    holder: str | None
    needle: str | None
    prime: str | None
    hold: str | None
    life_in_use: str | None
    resuspend_how: str | None
    resuspend_for: str | None


def device_of(
    one: DeviceRecord,
    strength: Concentration | None,
    content: Quantity | None,
    findings: Findings,
    place: Place,
) -> dict[str, Any]:
    """The device's part of a product in the engine's own types; faults are noted at `place`."""
    kept = {
        "scale_step": findings.read(place(["scale_step"]), dose_of, one.scale_step or ""),
        "prime": findings.read(place(["prime"]), dose_of, one.prime or ""),
        "hold": findings.read(place(["hold"]), time_of, one.hold or ""),
        "resuspend_for": findings.read(place(["resuspend_for"]), _moved, one.resuspend_for or ""),
    }
    pen = one.container in PENS
    counted = (strength.amount if strength else None) if pen else content
    for key, like in (("scale_step", counted), ("prime", strength.amount if strength else None)):
        value = kept[key]
        if value is not None and like is not None and not value.alike(like):
            sentence = f"{value} is another kind of amount than {like}. Write it as that one is."
            findings.add(place([key]), sentence)
            kept[key] = None
    if pen:
        for key in ("scale_step", "life_in_use"):
            if not getattr(one, key):
                findings.add(place([key]), "It is not there, and a pen has one. Add it.")
    if one.container == "cartridge_in_holder" and not one.holder:
        findings.add(place(["holder"]), "It is not there. Name the holder the cartridge is for.")
    known = not one.needle or findings.listed(place(["needle"]), one.needle, ("kit",))
    if one.needle and known and one.container != "depot_suspension":
        sentence = "Only the steps of a depot_suspension ask for it. Take it out here."
        findings.add(place(["needle"]), sentence)
    _resuspended(one, findings, place)
    return {
        **kept,
        "keeps_air": one.keeps_air,
        "holder": one.holder or "",
        "needle": one.needle or "",
        "resuspend_how": one.resuspend_how or "",
    }


def _resuspended(one: DeviceRecord, findings: Findings, place: Place) -> None:
    """Faults of the way a suspension is made even: how and for how long go together."""
    if one.resuspend_how:
        findings.listed(place(["resuspend_how"]), one.resuspend_how, RESUSPENDED)
    if bool(one.resuspend_how) != bool(one.resuspend_for):
        sentence = "resuspend_how and resuspend_for go together. Write both, or leave both out."
        findings.add(place(["resuspend_how"]), sentence)
    if one.resuspend_how and not one.suspension:
        sentence = "Only a suspension is made even. Write suspension = true, or take this out."
        findings.add(place(["resuspend_how"]), sentence)


def _moved(text: str) -> Quantity:
    """A number of turns, or a length of time."""
    if form := re.fullmatch(r"([0-9]+) turns?", text):
        turns = number(form[1])
        if turns > 0:
            return Quantity.of(turns, "1")
        raise NotAsWritten(f"{quoted(text)} is no movement. Write it like 20 turns.")
    try:
        return time_of(text)
    except ValueError:
        raise NotAsWritten(
            f"{quoted(text)} is neither turns nor a time. Write it like 20 turns, or like 30 s."
        ) from None
