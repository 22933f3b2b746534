"""The part of a product that says how its powder is mixed, for which routes.

In formulary.toml a powder has `powder`, the amount in one container, instead of strength and
content, and a [[product.mixing]] table for each way it is mixed:

    [[product.mixing]]
    routes = ["IV"]
    diluents = ["water for injections"]    # by the names that those products have
    volume = "4.6 mL"                      # of one of them, into each container
    displacement = "0.4 mL"                # what the powder adds to it; or left out
    strength = "120 mg/mL"                 # after mixing, as its label states it; or left out
    methods = ["swirled"]                  # swirled, rolled, turned over, shaken, left to stand
    least = "30 s"                         # it is not dissolved sooner
    most = "10 min"                        # and is discarded when it is not by then
    life = "2 h"                           # from mixing to giving
    vacuum = false                         # whether it draws the diluent in by itself
    kept = false                           # whether the rest may be kept for that life
    filtered = false                       # whether it is drawn through a filter
    source = "leaflet of 2026-03"

In formulary.csv these are the columns mixing_routes, mixing_diluents and so on; a product that is
mixed in two ways has two rows, which are alike in all other columns.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated, Any

from pydantic import Field

from checklist.formulary import Mixing
from checklist.intake.amount import dose_of, strength_of, time_of, volume_of
from checklist.intake.fault import Findings, NotAsWritten, Record
from checklist.intake.route import ROUTES
from checklist.mixture import METHODS
from checklist.number import quoted
from checklist.quantity import Concentration, Quantity

POWDERS = ("powder_vial", "powder_ampoule")
"""The containers that hold a powder."""

Line = Annotated[str, Field(min_length=1, max_length=80)]
Place = Callable[[Sequence[str | int]], str]


class MixingRecord(Record):
    """One way of mixing, as the file writes it."""

    routes: list[Line] = Field(default_factory=list)
    diluents: list[Line] = Field(default_factory=list)
    volume: Line | None = None
    displacement: Line | None = None
    strength: Line | None = None
    methods: list[Line] = Field(default_factory=list)
    least: Line | None = None
    most: Line | None = None
    life: Line | None = None
    vacuum: bool = False
    kept: bool = False
    filtered: bool = False
    source: Line | None = None


def powder_of(
    text: str | None, container: str, findings: Findings, place: Place
) -> Quantity | None:
    """The amount of drug in one container of a powder; None for anything else."""
    if container in POWDERS and not text:
        findings.add(place(["powder"]), "A powder has the amount in one container here. Add it.")
    if container not in POWDERS and text:
        sentence = "Only a powder has this. Take it out, or correct the container."
        findings.add(place(["powder"]), sentence)
    return findings.read(place(["powder"]), dose_of, text or "")


def mixing_of(
    given: Sequence[Any],
    powder: Quantity | None,
    routes: Sequence[str],
    findings: Findings,
    place: Place,
) -> tuple[Mixing, ...]:
    """The ways in which a powder is mixed; what is amiss is noted."""
    if given and powder is None:
        findings.add(place(["mixing"]), "Only a powder is mixed. Take it out, or add the powder.")
        return ()
    made: list[Mixing] = []
    for number, raw in enumerate(given):

        def at(keys: Sequence[str | int], number: int = number) -> str:
            return place(["mixing", number, *keys])

        one = findings.check(MixingRecord, raw, at)
        if one is None or powder is None:
            continue
        for route in one.routes:
            if findings.listed(at(["routes"]), route, ROUTES) and route not in routes:
                findings.add(at(["routes"]), f"The product is not for {route}. Look at both.")
            if any(route in other.routes for other in made):
                findings.add(at(["routes"]), f"{route} has two ways of mixing. Keep one.")
        made.append(_mixing(one, powder, findings, at))
    return tuple(made)


def _mixing(one: MixingRecord, powder: Quantity, findings: Findings, at: Place) -> Mixing:
    for key, words in (("routes", "a route, like IV"), ("diluents", "a fluid it is mixed with")):
        if not getattr(one, key):
            findings.add(at([key]), f"There is none. Write {words}.")
    for method in one.methods:
        findings.listed(at(["methods"]), method, METHODS)
    if not one.source:
        findings.add(at(["source"]), "It is not there. Name the leaflet and its date.")
    volume = findings.read(at(["volume"]), volume_of, one.volume or "")
    strength = findings.read(at(["strength"]), strength_of, one.strength or "")
    least = findings.read(at(["least"]), time_of, one.least or "")
    most = findings.read(at(["most"]), time_of, one.most or "")
    if least is not None and most is not None and not least <= most:
        findings.add(at(["most"]), "It is shorter than least. Look at both again.")
    if strength is not None and not _belongs(strength, powder, volume, findings, at):
        strength = None
    return Mixing(
        routes=tuple(one.routes),
        diluents=tuple(one.diluents),
        volume=volume,
        displacement=findings.read(at(["displacement"]), _addition, one.displacement or ""),
        strength=strength,
        methods=tuple(one.methods),
        least=least,
        most=most,
        life=findings.read(at(["life"]), time_of, one.life or ""),
        vacuum=one.vacuum,
        kept=one.kept,
        filtered=one.filtered,
        source=one.source or "",
    )


def _belongs(
    strength: Concentration,
    powder: Quantity,
    volume: Quantity | None,
    findings: Findings,
    at: Place,
) -> bool:
    """Whether this much powder in this much diluent can have the strength; a fault if not."""
    if not strength.amount.alike(powder):
        findings.add(at(["strength"]), "It is another kind of amount than powder. Use one kind.")
        return False
    if volume is None:
        return True
    # A label rounds its figure, and a powder adds to the volume, but it never halves or doubles it.
    whole = strength.volume_for(powder).ratio(volume)
    if whole * 10 >= 9 and whole <= 2:
        return True
    findings.add(
        at(["strength"]),
        f"{powder} at this strength fill {strength.volume_for(powder)}, and {volume} go in."
        " Look at the three again.",
    )
    return False


def _addition(text: str) -> Quantity:
    """A volume that may be nil: some powders add nothing that their label counts."""
    read = Quantity.parse(text)
    if not read.alike(Quantity.of(1, "mL")) or not read.magnitude >= 0:
        raise NotAsWritten(f"{quoted(text)} is not a volume. Write it like 0.4 mL, or 0 mL.")
    return read
