"""What an infusion comes to: its liquid, its final concentration, and the rate to set."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from checklist.formulary import Product
from checklist.order import Infusion, Order
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Concentration, DimensionMismatch, Quantity
from checklist.target import ordered_dose, product_of, target
from checklist.ucum import UnitFault

PUMP_STEP = Quantity.of("0.1", "mL/h")
"""The finest step of an infusion pump. Common practice, no source."""
WHOLE_DROP = Quantity.of(1, "{drop}/min")

COUNTED, LEFT_OUT, DRAWN_OUT = "counted in", "left out of the sum", "drawn out first"
OVERFILL = (COUNTED, LEFT_OUT, DRAWN_OUT)
"""What was decided about the fluid that a bag holds beyond its label."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """An infusion worked out exactly.

    `added` is the drug's own volume in mL, `volume` all of the liquid, `strength` the amount in
    that. `rate` is in mL/h, None where the order gives neither a time nor a rate; `rate_set` is the
    same on the pump's steps, a half going up.
    """

    added: Quantity
    volume: Quantity
    strength: Concentration
    rate: Quantity | None
    lines: tuple[str, ...]

    @property
    def rate_set(self) -> Quantity | None:
        """The rate on a pump."""
        return None if self.rate is None else self.rate.rounded(PUMP_STEP).value

    def drops(self, per_mL: Quantity) -> Quantity | None:
        """The whole drops in a minute of a set with so many drops in 1 mL, a half going up."""
        if self.rate is None:
            return None
        return (self.rate * per_mL).to("{drop}/min").rounded(WHOLE_DROP).value


def plan(prep: Preparation, around: Surroundings) -> Plan | None:
    """The infusion of this preparation; None when order, product or weight do not give it.

    For a bag that comes ready mixed, the product's own content and strength are the plan. Raises
    DimensionMismatch where order and product do not measure the same kind of thing.
    """
    run = prep.order.infusion
    if run is None:
        return None
    mixed = _ready(prep, around) if not run.into else _made(run, prep, around)
    if mixed is None:
        return None
    added, volume, strength, lines = mixed
    rate = rate_of(run, volume, strength, around)
    said = () if rate is None else (_rate_line(run, volume, strength, rate),)
    return Plan(added=added, volume=volume, strength=strength, rate=rate, lines=(*lines, *said))


_Mixed = tuple[Quantity, Quantity, Concentration, tuple[str, ...]]


def _ready(prep: Preparation, around: Surroundings) -> _Mixed | None:
    product = product_of(prep, around)
    if product is None:
        return None
    lines = (f"ready mixed: {product.content} with {product.strength}",)
    return Quantity.of(0, "mL"), product.content.to("mL"), product.strength, lines


def _made(run: Infusion, prep: Preparation, around: Surroundings) -> _Mixed | None:
    dose, aim = ordered_dose(prep, around), target(prep, around)
    if dose is None or aim is None or run.volume is None:
        return None
    added, labelled = aim.set.to("mL"), run.volume.to("mL")
    if run.into in ("burette", "pump syringe"):
        volume, how = labelled, f"made up to {labelled}"
    else:
        beyond = _overfill(prep, around)
        out = added if run.first_out else Quantity.of(0, "mL")
        volume = labelled + beyond - out + added
        how = f"{labelled} + {beyond} overfill − {out} out + {added} added = {volume}"
    if not volume.magnitude > 0:
        return None
    strength = Concentration(amount=dose, per=volume)
    lines = (f"liquid = {how}", f"final concentration = {dose} in {volume} = {strength.per_mL}")
    return added, volume, strength, lines


def _overfill(prep: Preparation, around: Surroundings) -> Quantity:
    """What the carrier holds beyond its label, where it was decided to count that in."""
    said, none = prep.latest("overfill"), Quantity.of(0, "mL")
    fluid = carrier_of(prep, around)
    if said is None or said.value != COUNTED or fluid is None or fluid.overfill is None:
        return none
    return fluid.overfill.to("mL")


def carrier_of(prep: Preparation, around: Surroundings) -> Product | None:
    """The carrier fluid that was accepted for this preparation, None before one was."""
    return product_of(prep.of("carrier"), around)


def in_hand(prep: Preparation, around: Surroundings) -> Quantity | None:
    """The volume that was drawn, or that of a bag which comes ready mixed; None before either."""
    drawn = prep.latest("drawn_volume")
    if drawn is not None:
        return drawn.value if isinstance(drawn.value, Quantity) else None
    run = prep.order.infusion
    product = product_of(prep, around)
    return product.content if run is not None and not run.into and product is not None else None


def rate_of(
    run: Infusion, volume: Quantity, strength: Concentration, around: Surroundings
) -> Quantity | None:
    """The rate in mL/h: as ordered, or from the amount in a time, or all of it in its time."""
    if run.rate is None:
        return None if run.duration is None else volume.per(run.duration.to("h"))
    if run.rate.alike(Quantity.of(1, "mL/h")):
        return run.rate.to("mL/h")
    amount = run.rate
    if not amount.alike(Quantity.of(1, f"{strength.amount.unit}/h")):
        weight = around.patient.weight if around.patient else None
        if weight is None:
            return None
        amount = amount * weight
    try:
        return amount.to(f"{strength.amount.unit}/h").over(strength.per_mL).to("mL/h")
    except (DimensionMismatch, UnitFault):
        return None


def _rate_line(run: Infusion, volume: Quantity, strength: Concentration, rate: Quantity) -> str:
    if run.rate is None:
        return f"rate = {volume} ÷ {run.duration} = {rate}"
    if run.rate.alike(rate):
        return f"rate = {rate}, as ordered"
    return f"rate = {run.rate} ÷ {strength.per_mL} = {rate}"


def gaps(order: Order) -> list[str]:
    """What the order leaves open about how the dose runs in."""
    run, unreadable = order.infusion, order.unreadable
    if run is None:
        return []
    open_ = {
        "the carrier fluid": bool(run.into) and not run.carrier,
        "the volume of the fluid": bool(run.into)
        and run.volume is None
        and "volume" not in unreadable,
        "the time or the rate": run.duration is None
        and run.rate is None
        and not {"duration", "rate"} & set(unreadable),
    }
    return [what for what, lacking in open_.items() if lacking]


def contradiction(order: Order, limit: Fraction) -> str:
    """What time and rate say about the speed when they do not agree; "" when all is well.

    The drug's own volume is not known before a product is in hand, so a share of `limit` passes.
    """
    run = order.infusion
    if run is None or run.rate is None or run.duration is None or run.volume is None:
        return ""
    if not run.rate.alike(Quantity.of(1, "mL/h")):
        return ""
    by_time = run.volume.to("mL").per(run.duration.to("h"))
    if abs(run.rate.ratio(by_time) - 1) <= limit:
        return ""
    return f"{run.volume} in {run.duration} is {by_time}, and it says {run.rate}"
