"""What an infusion comes to: its liquid, its final concentration, and the rate to set."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from checklist.dose.bag import NONE, bag_strength
from checklist.dose.rate import drops_at, pump_rate, rate
from checklist.dose.working import DoseFault, Working
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
        return drops_at(self.rate, per_mL).value.to("{drop}/min").rounded(WHOLE_DROP).value


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
    runs = _running(run, volume, strength, around)
    return Plan(
        added=added,
        volume=volume,
        strength=strength,
        rate=None if runs is None else runs.value.to("mL/h"),
        lines=(*lines, *(() if runs is None else runs.lines)),
    )


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
        strength = Concentration(amount=dose, per=labelled)
        return added, labelled, strength, (f"{dose} made up to {labelled} = {strength.per_mL}",)
    out, beyond = added if run.first_out else NONE, _overfill(prep, around)
    try:
        sum_ = bag_strength(dose, labelled, added=added, removed=out, overfill=beyond)
    except DoseFault:
        return None
    volume = labelled + beyond - out + added
    return added, volume, Concentration(amount=dose, per=volume), sum_.lines


def _overfill(prep: Preparation, around: Surroundings) -> Quantity:
    """What the carrier holds beyond its label, where it was decided to count that in."""
    said, fluid = prep.latest("overfill"), carrier_of(prep, around)
    if said is None or said.value != COUNTED or fluid is None or fluid.overfill is None:
        return NONE
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


def _running(
    run: Infusion, volume: Quantity, strength: Concentration, around: Surroundings
) -> Working | None:
    """The rate: as ordered in mL, or from the amount in a time, or all of it in its time."""
    if run.rate is None:
        return None if run.duration is None else rate(volume, run.duration)
    if run.rate.alike(Quantity.of(1, "mL/h")):
        return Working(value=run.rate, exact=run.rate, lines=(f"rate = {run.rate}, as ordered",))
    by_weight = not run.rate.alike(Quantity.of(1, f"{strength.amount.unit}/h"))
    weight = around.patient.weight if around.patient else None
    if by_weight and weight is None:
        return None
    try:
        return pump_rate(run.rate, strength, weight if by_weight else None)
    except (DimensionMismatch, DoseFault, UnitFault):
        return None


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
