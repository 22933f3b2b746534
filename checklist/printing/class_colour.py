"""Background colours of anaesthesia labels by class of drug, after ISO 26825.

Colour is an aid and never takes the place of reading: it is printed only where the unit asks.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from checklist import library

FILE = "labels/class_colours.csv"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassColour:
    """The background of one class: its name in the standard, and the screen colour taken for it.

    ISO 26825:2020, Table 1, as restated, gives the names of colours. The figures `fill` (sRGB) are
    from memory of the ink numbers in use, and have to be approved by a site. `striped` is for drugs
    of opposite action: 1 mm white stripes at 45 degrees, none behind the name (clause 5).
    """

    drug_class: str
    colour: str
    fill: str
    striped: bool


@cache
def colours() -> Mapping[str, ClassColour]:
    """Each class of drug as a formulary names it, with its colour."""
    text = (library.folder("workflows") / FILE).read_text(encoding="utf-8")
    return {
        name: ClassColour(
            drug_class=row["class"],
            colour=row["colour"],
            fill=row["fill"],
            striped=row["striped"] == "yes",
        )
        for row in csv.DictReader(text.splitlines())
        for name in row["drug_classes"].split("|")
    }
