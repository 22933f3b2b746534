"""A FHIR Medication of a drug in a fluid, and its rate, as the infusion of an order line.

Only one plain form is taken: two ingredients, of which the ward's table knows one as a fluid; a
form that the table knows as a bag or another vessel; the dose as an amount of drug that is the
numerator of the drug's strength; a rate or a length of time. Nothing is worked out, so every figure
is one of the file. FHIR itself has no element for a bag.
"""

from __future__ import annotations

from dataclasses import dataclass

from checklist.exchange.fhir_coded import (
    amount_in,
    drug_of,
    form_of,
    meaning,
    named_and_meant,
    strength_in,
)
from checklist.exchange.node import Node
from checklist.exchange.taken import Line, Taken, amount, fitting
from checklist.intake.amount import time_of, volume_of
from checklist.intake.exchange import Exchange
from checklist.intake.infusion import carrier_of, rate_of
from checklist.number import NumberFault
from checklist.quantity import Quantity, UnitFault, same

ON_TOP = ("bag", "bottle")
"""Vessels with a labelled volume, to which the drug's own volume is added."""
TABLE = "See fluids and vessels in exchange.toml, or leave the order out by its id and enter it."


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """A drug in a fluid: each text as orders.json writes it, "" where there is a doubt.

    `dose` is the amount of drug in `volume` of it. `place` is the path of the Medication.
    """

    drug: str
    dose: str
    into: str
    carrier: str
    carrier_strength: str
    volume: str
    place: str


def mixture_of(medication: Node, words: Exchange) -> Mixture | None:
    """The drug and the fluid; None, with doubts, where it is not in the plain form."""
    ingredients = list(medication.each("ingredient"))
    fluids = [one for one in ingredients if _fluid(one, words)]
    if len(ingredients) != 2 or len(fluids) != 1:
        medication.at("ingredient").doubt(
            f"It is a mixture of {len(ingredients)}, and {len(fluids)} of them are fluids that the"
            f" ward knows. One drug in one fluid is taken. {TABLE}"
        )
        return None
    (fluid,) = fluids
    (drug,) = (one for one in ingredients if one is not fluid)
    _active(drug, fluid)
    form = form_of(medication)
    vessels = meaning(form).looked_up(words.vessels)
    if len(vessels) != 1:
        form.doubt(f"It does not say what the mixture is made up in. {TABLE}")
    name = drug_of(named_and_meant(drug, "item")[0], words)
    whole = meaning(medication.part("code")).looked_up(words.drugs)
    if whole and whole != (name,):
        medication.at("code").doubt("It means another drug than the ingredient. Have it mended.")
    dose, volume = _parts(drug, words)
    amount_, per = _parts(fluid, words)
    strength = f"{amount_} in {per}" if amount_ and per else ""
    return Mixture(
        drug=name,
        dose=dose,
        into=vessels[0] if len(vessels) == 1 else "",
        carrier=_fluid(fluid, words),
        carrier_strength=fitting(strength_in(fluid).path, fluid.findings, carrier_of, strength),
        volume=volume,
        place=medication.path,
    )


def infusion_of(mixture: Mixture, row: Node, dose: str, length: str, words: Exchange) -> Line:
    """How the mixture runs in, as orders.json writes it.

    `row` is the one doseAndRate, `dose` its amount, `length` the time of one dose, "" for none.
    """
    if dose and mixture.dose and not same(Quantity.parse(dose), Quantity.parse(mixture.dose)):
        row.at("doseQuantity").doubt(
            f"The dose is {dose}, and the mixture holds {mixture.dose} in {mixture.volume}. Have"
            " the mixture of one dose sent."
        )
    rate, over = _rate(row, mixture, words)
    if over and length:
        row.doubt("Its length of time is there twice. Have it sent once.")
    if not (rate or over or length) and not any(key.startswith("rate") for key in row.names):
        row.doubt("It says neither a rate nor a length of time. Have one sent.")
    line = {
        "into": mixture.into,
        "carrier": mixture.carrier,
        "carrier_strength": mixture.carrier_strength,
        "volume": mixture.volume,
        "duration": over or length,
        "rate": rate,
    }
    return {key: value for key, value in line.items() if value}


def remark_on(mixture: Mixture, taken: Taken) -> None:
    """Say what the file leaves open and the ward has to know."""
    if mixture.into in ON_TOP:
        taken.remark(
            mixture.place,
            f"{mixture.volume} is taken as what the {mixture.into} is labelled with; the drug's own"
            " volume comes on top. Where it is drawn out first, write first_out in orders.json.",
        )


def _fluid(ingredient: Node, words: Exchange) -> str:
    found = meaning(named_and_meant(ingredient, "item")[0]).looked_up(words.fluids)
    return found[0] if len(found) == 1 else ""


def _active(drug: Node, fluid: Node) -> None:
    """Doubts where the file has drug and fluid the other way round than the ward's table."""
    if drug.there("isActive") and not drug.true("isActive"):
        drug.at("isActive").doubt("The drug is told as inactive. Have it mended.")
    if fluid.true("isActive"):
        fluid.at("isActive").doubt("The fluid is told as the active drug. Have it mended.")


def _parts(ingredient: Node, words: Exchange) -> tuple[str, str]:
    """An ingredient's amount, and the volume that it is in; a doubt where one is missing."""
    ratio = strength_in(ingredient)
    above, below = ratio.part("numerator"), ratio.part("denominator")
    amount_, volume = amount_in(above, words), amount_in(below, words)
    if above.value is None or below.value is None:
        ratio.doubt("It does not say how much in how much. Have the strength sent.")
    return amount_, fitting(below.path, below.findings, volume_of, volume)


def _rate(row: Node, mixture: Mixture, words: Exchange) -> tuple[str, str]:
    """The rate, or the time in which all of the mixture runs in; a doubt for another form."""
    if row.there("rateQuantity"):
        node = row.part("rateQuantity")
        return fitting(f"{node.path}.value", node.findings, rate_of, amount_in(node, words)), ""
    ratio = row.part("rateRatio")
    if ratio.value is None:
        return "", ""
    above, below = (amount_in(ratio.part(key), words) for key in ("numerator", "denominator"))
    if not above or not below:
        return "", ""
    if same(Quantity.parse(above), Quantity.parse(mixture.volume or "1 mL")) and mixture.volume:
        return "", fitting(f"{ratio.path}.denominator", ratio.findings, time_of, below)
    figures, code = above.partition(" ")[0], Quantity.parse(above).unit
    try:
        time = Quantity.parse(below)
        if time.magnitude != 1:
            raise UnitFault(f"{above} in {below} is no rate. Have it sent for one hour or minute.")
        text = amount(figures, f"{code}/{time.unit}")
    except (NumberFault, UnitFault) as fault:
        ratio.doubt(str(fault))
        return "", ""
    return fitting(ratio.path, ratio.findings, rate_of, text), ""
