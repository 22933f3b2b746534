"""Sheets of strengths, salts, powders, dilutions and bags: what is in each mL."""

from fractions import Fraction
from typing import Any

from checklist.dose import bag, dilution, electrolyte, reconstitution
from checklist.dose.sheets.reading import (
    AMOUNTS,
    VOLUME,
    any_strength,
    quantity,
    strength,
    volume_or_percent,
    whole,
)
from checklist.dose.sheets.sheet import Blank, Given, Outcome, Reader, Sheet, Shelf
from checklist.dose.strength import in_each_mL, millilitres_for_one_gram, percent
from checklist.dose.volume import volume_for
from checklist.dose.working import DoseFault, Working, after
from checklist.number import shown
from checklist.quantity import Quantity
from checklist.verdict import Source

RATIO = Source(title="FDA, Single Entity Injectable Drug Products: ratio strengths removed (2017)")
DISPLACEMENT = Source(
    title="Pharmaceutical aspects of injectable administration, section 12.1, displacement values"
)
LABEL = Source(
    title="That the label's strength wins: cefazolin for injection, US prescribing information, "
    "reconstitution tables"
)
CHEMISTRY = Source(title="General chemistry: amount = mass ÷ molar mass", status="common practice")


def _blank(
    name: str, what: str, example: str, read: Reader | None = None, *, needed: bool = True
) -> Blank:
    """A blank; without a reader of its own, of a volume."""
    reader = read or quantity(*VOLUME, like=example)
    return Blank(name=name, what=what, read=reader, example=example, needed=needed)


_amount = quantity(*AMOUNTS, like="600 mg")
_molar = quantity("mg/mmol", like="74.55 g/mol")
_MOLAR = _blank("molar", "the molar mass on the label or in the tables", "74.55 g/mol", _molar)
_VALENCE = _blank("valence", "the valence of the ion that is counted", "2", whole(1))
_ANY = _blank("strength", "the strength as the label writes it", "0.9 %", any_strength)
_STOCK = _blank("stock", "the strength of the stock", "100 mg/mL", strength)


def _meq(given: Given, shelf: Shelf) -> Working:
    amount: Quantity = given["value"]
    if amount.alike(Quantity.of(1, "mmol")):
        if "molar" in given:
            raise DoseFault("Millimoles need no molar mass. Leave it out, or give the mass.")
        return electrolyte.equivalents_of(amount, given["valence"])
    if "molar" not in given:
        raise DoseFault("A mass needs the molar mass too, as the label or the tables have it.")
    return electrolyte.milliequivalents(amount, given["molar"], given["valence"])


def _reconstitute(given: Given, shelf: Shelf) -> Outcome:
    made = reconstitution.made_up(
        given["amount"], diluent=given.get("diluent"), displacement=given.get("displacement"),
        total=given.get("total"), label=given.get("label"),
    )  # fmt: skip
    working = made.working
    cautions: tuple[str, ...] = ()
    if made.difference:
        way = "less" if made.difference < 0 else "more"
        apart = f"{shown(abs(made.difference) * 100)} % {way}"
        cautions = (f"The label's strength is {apart} than by the volumes. The label wins.",)
    if "dose" in given:
        working = after(working, volume_for(given["dose"], made.strength))
    return Outcome(said=str(working.value), lines=working.lines, working=working, cautions=cautions)


def _dilute(given: Given, shelf: Shelf) -> Outcome:
    stock = dilution.stock_volume(given["stock"], given["wanted"], given["final"])
    both = dilution.diluent_volume(given["stock"], given["wanted"], given["final"])
    return Outcome(
        said=f"{stock.value} of stock and {both.value} of diluent",
        lines=both.lines,
        working=Working(value=stock.value, exact=stock.exact, lines=both.lines),
    )


def _bag(given: Given, shelf: Shelf) -> Working:
    volumes: dict[str, Any] = {
        name: given[name] for name in ("added", "removed", "overfill") if name in given
    }
    size: Quantity = given["bag"]
    if isinstance(volumes.get("overfill"), Fraction):
        volumes["overfill"] = size * volumes["overfill"]
    amount: Quantity = given["amount"]
    per = "L" if amount.unit in ("mmol", "meq") else "mL"
    return bag.bag_strength(amount, size, per=per, **volumes)


SHEETS = (
    Sheet(
        name="strength",
        formula="strength = amount on the label ÷ volume on the label; a percentage is grams in"
        " 100 mL, and a ratio is 1 g in so many mL",
        blanks=(_ANY,),
        work=lambda given, shelf: in_each_mL(given["strength"]),
        example="strength 0.9 %",
        source=RATIO,
    ),
    Sheet(
        name="percent",
        formula="grams in 100 mL = amount in g ÷ volume in mL × 100 mL",
        blanks=(_ANY,),
        work=lambda given, shelf: percent(given["strength"]),
        example="strength 50 mg/mL",
    ),
    Sheet(
        name="ratio",
        formula="volume for 1 g = volume in mL ÷ amount in g",
        blanks=(_ANY,),
        work=lambda given, shelf: millilitres_for_one_gram(given["strength"]),
        example="strength 0.9 %",
    ),
    Sheet(
        name="mmol",
        formula="amount = mass ÷ molar mass",
        blanks=(
            _blank("value", "the mass of the salt, alone or in each mL", "1.5 g",
                   quantity("mg", "mg/mL", like="1.5 g")),
            _MOLAR,
        ),
        work=lambda given, shelf: electrolyte.millimoles(given["value"], given["molar"]),
        example="value 1.5 g molar 74.55 g/mol",
        source=CHEMISTRY,
        shows="salts",
    ),
    Sheet(
        name="meq",
        formula="amount = mass ÷ molar mass × valence, or mmol × valence",
        blanks=(
            _blank("value", "the mass of the salt, or its mmol", "4 g",
                   quantity("mg", "mmol", like="4 g or 20 mmol")),
            _blank("molar", "the molar mass, for a mass", "246.47 g/mol", _molar, needed=False),
            _VALENCE,
        ),
        work=_meq,
        example="value 4 g molar 246.47 g/mol valence 2",
        source=CHEMISTRY,
        shows="salts",
    ),
    Sheet(
        name="mass",
        formula="mass = mmol × molar mass, or mEq ÷ valence × molar mass",
        blanks=(
            _blank("value", "the mmol or mEq", "20 mmol",
                   quantity("mmol", "meq", like="20 mmol or 20 mEq")),
            _MOLAR,
            _blank("valence", "the valence, for mEq", "1", whole(1), needed=False),
        ),
        work=lambda given, shelf: electrolyte.mass_of(
            given["value"], given["molar"], given.get("valence")
        ),
        example="value 20 mmol molar 74.55 g/mol",
        source=CHEMISTRY,
        shows="salts",
    ),
    Sheet(
        name="reconstitute",
        formula="strength = amount ÷ (diluent plus displacement), or amount ÷ total volume; the"
        " strength that the label states wins",
        blanks=(
            _blank("amount", "the drug in the vial", "600 mg", _amount),
            _blank("diluent", "the volume added", "5.6 mL", needed=False),
            _blank("displacement", "the room that the powder takes up", "0.4 mL", needed=False),
            _blank("total", "the total volume once made up", "6 mL", needed=False),
            _blank("label", "the strength that the label states", "100 mg/mL", strength,
                   needed=False),
            _blank("dose", "the dose, for its volume", "150 mg", _amount, needed=False),
        ),
        work=_reconstitute,
        example="amount 500 mg diluent 2 mL displacement 0.2 mL label 225 mg/mL dose 350 mg"
        " step 0.01 mL",
        source=LABEL,
    ),
    Sheet(
        name="diluent",
        formula="diluent = amount ÷ wanted strength − displacement",
        blanks=(
            _blank("amount", "the drug in the vial", "250 mg", _amount),
            _blank("wanted", "the wanted strength", "50 mg/mL", strength),
            _blank("displacement", "the room that the powder takes up", "0.2 mL"),
        ),
        work=lambda given, shelf: reconstitution.diluent_for(
            given["amount"], given["wanted"], given["displacement"]
        ),
        example="amount 250 mg wanted 50 mg/mL displacement 0.2 mL",
        source=DISPLACEMENT,
    ),
    Sheet(
        name="displacement",
        formula="displacement = total volume − diluent",
        blanks=(
            _blank("total", "the total volume once made up", "10 mL"),
            _blank("diluent", "the volume added", "9.5 mL"),
        ),
        work=lambda given, shelf: reconstitution.displacement_of(given["total"], given["diluent"]),
        example="total 10 mL diluent 9.5 mL",
        source=DISPLACEMENT,
    ),
    Sheet(
        name="dilute",
        formula="stock = wanted strength × final volume ÷ stock strength; diluent = final volume −"
        " stock",
        blanks=(
            _STOCK,
            _blank("wanted", "the wanted strength", "20 mg/mL", strength),
            _blank("final", "the final volume", "50 mL"),
        ),
        work=_dilute,
        example="stock 100 mg/mL wanted 20 mg/mL final 50 mL",
        rounds=False,
    ),
    Sheet(
        name="diluted",
        formula="strength = stock strength × stock ÷ final volume",
        blanks=(
            _STOCK,
            _blank("taken", "the volume of stock", "10 mL"),
            _blank("final", "the final volume", "50 mL"),
        ),
        work=lambda given, shelf: dilution.diluted(given["stock"], given["taken"], given["final"]),
        example="stock 100 mg/mL taken 10 mL final 50 mL",
    ),
    Sheet(
        name="bag",
        formula="strength = amount ÷ (bag plus overfill − removed plus added)",
        blanks=(
            _blank("amount", "the drug added", "20 mmol", _amount),
            _blank("bag", "the labelled volume of the bag", "500 mL"),
            _blank("added", "the volume the drug came in", "10 mL", needed=False),
            _blank("removed", "the volume taken out first", "10 mL", needed=False),
            _blank("overfill", "the overfill, where it is counted: a volume or a percentage",
                   "10 %", volume_or_percent, needed=False),
        ),
        work=_bag,
        example="amount 20 mmol bag 500 mL added 10 mL removed 10 mL",
    ),
)  # fmt: skip
