"""What this preparation must come to: the ordered dose, its volume, and what is left over."""

from __future__ import annotations

from dataclasses import dataclass, replace

from checklist.dose.rounding import RoundingRule, rounded
from checklist.dose.volume import volume_for
from checklist.dose.weight import weight_dose
from checklist.dose.working import Working, after
from checklist.formulary import Product
from checklist.mixture import Mixture, content_of, mixture_of, strength_of
from checklist.observation import ProductRead
from checklist.preparation import FIRST, SECOND, Preparation, Surroundings
from checklist.quantity import Concentration, Quantity, Rounded
from checklist.syringe import on_line

# Containers that one dose does not use up: what is left stays in them, and nothing of it is waste.
STAYING = ("multi_dose_vial", "insulin_pen", "enteral_liquid")


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """The volume to set: exact, and on the scale of the chosen syringe when one is chosen.

    `step` is that scale's interval, or the product's own coarser one, None before a syringe is
    chosen. `working` has every line, from the order to the volume to set.
    """

    dose: Quantity
    exact: Quantity
    set: Quantity
    rounded: Rounded | None
    step: Quantity | None
    working: Working


def ordered_dose(prep: Preparation, around: Surroundings) -> Quantity | None:
    """The amount for this administration; None when the order or the weight it needs is missing."""
    found = dose_working(prep, around)
    return None if found is None else found.exact


def dose_working(prep: Preparation, around: Surroundings) -> Working | None:
    """As `ordered_dose`, with the lines of a dose that hangs on body weight."""
    order = prep.order
    if order.dose is not None:
        return Working(value=order.dose, exact=order.dose, lines=())
    weight = weight_in_kg(around)
    if order.dose_per_weight is None or weight is None:
        return None
    return weight_dose(order.dose_per_weight, weight)


def weight_in_kg(around: Surroundings) -> Quantity | None:
    """The patient's weight; None when none is on record, or one in pounds, which is no kg."""
    weight = around.patient.weight if around.patient else None
    return weight if weight is not None and weight.alike(Quantity.of(1, "kg")) else None


def product_of(prep: Preparation, around: Surroundings) -> Product | None:
    """The product that was accepted for this preparation, None before one was."""
    reading = prep.latest("product")
    if reading is None or not isinstance(reading.value, ProductRead):
        return None
    return around.formulary.products.get(reading.value.code)


def strength_in_force(prep: Preparation, around: Surroundings) -> Concentration | None:
    """The strength that this dose is reckoned with: the label's, or that of the powder once mixed.

    None before a product was accepted, and for a powder whose strength after mixing is not known.
    """
    product = product_of(prep, around)
    return None if product is None else strength_of(product, prep.order.route, _rule(around))


def content_in_force(prep: Preparation, around: Surroundings) -> Quantity | None:
    """The volume of one container of the product, once mixed where it is a powder; else None."""
    product = product_of(prep, around)
    return None if product is None else content_of(product, prep.order.route, _rule(around))


def mixture_in_force(prep: Preparation, around: Surroundings) -> Mixture | None:
    """What the item comes to once mixed for the ordered route; None when that is not known."""
    product = product_of(prep, around)
    return None if product is None else mixture_of(product, prep.order.route, _rule(around))


def _rule(around: Surroundings) -> str:
    """The unit's rule for which figure rules after mixing."""
    return around.unit.word("reconstitution_math")


def graduation_of(prep: Preparation) -> Quantity | None:
    """The scale interval of the chosen syringe, None before one was chosen."""
    reading = prep.latest("graduation")
    value = reading.value if reading else None
    return value if isinstance(value, Quantity) else None


def target(
    prep: Preparation, around: Surroundings, *, graduation: Quantity | None = None
) -> Target | None:
    """What to set in the syringe, or None when order or product do not give it.

    The dose of a powder is reckoned with its strength once mixed; see `checklist.mixture`.

    Raises DimensionMismatch when the order and the product do not measure the same kind of thing.
    """
    ordered, product = dose_working(prep, around), product_of(prep, around)
    strength = strength_in_force(prep, around)
    if ordered is None or product is None or strength is None:
        return None
    working = after(ordered, volume_for(ordered.exact, strength))
    mixed = mixture_in_force(prep, around)
    if mixed is not None:
        working = replace(working, lines=(*mixed.lines, *working.lines))
    line = graduation if graduation is not None else graduation_of(prep)
    line = line if line is not None else _own_scale(product, working.exact)
    if line is None:
        return Target(
            dose=ordered.exact, exact=working.exact, set=working.exact, rounded=None, step=None,
            working=working,
        )  # fmt: skip
    step = _step(product, line)
    found = working.exact.rounded(step, product.rounding)
    # How far rounding may go is for the checks to say; rounded to nothing, it has no lines.
    if found.value.magnitude > 0:
        rule = RoundingRule(step=step, how=product.rounding, refuse_above=None)
        working = rounded(working, rule)
    return Target(
        dose=ordered.exact, exact=working.exact, set=found.value, rounded=found, step=step,
        working=working,
    )  # fmt: skip


def _step(product: Product, line: Quantity) -> Quantity:
    """The product's own step where it is a whole number of the syringe's lines, else one line."""
    own = product.rounding_step
    return own if own is not None and own >= line and on_line(own, line) else line


def _own_scale(product: Product, volume: Quantity) -> Quantity | None:
    """The scale of a device that comes filled; None where all of it is the dose, or it has none."""
    step = product.scale_step
    if step is None or not step.alike(volume) or volume == product.content:
        return None
    return step


def containers_for(volume: Quantity, product: Product) -> int:
    """How many containers hold the volume by their labelled content."""
    return -(-volume.ratio(product.content) // 1)


def container_count(prep: Preparation, around: Surroundings) -> int | None:
    """How many containers this dose takes by their content, once mixed; None when not known."""
    aim, content = target(prep, around), content_in_force(prep, around)
    return None if aim is None or content is None else -(-aim.exact.ratio(content) // 1)


def whole_containers(prep: Preparation, around: Surroundings) -> bool:
    """Whether the dose is all that one or more whole containers hold."""
    aim, content = target(prep, around), content_in_force(prep, around)
    return aim is not None and content is not None and aim.exact.ratio(content).denominator == 1


def opened_volume(prep: Preparation, around: Surroundings) -> Quantity | None:
    """The labelled content of all containers that this dose opens, in mL.

    Of a container that stays in use it is what was drawn out of it; of a powder nothing before the
    diluent went in.
    """
    product, count = product_of(prep, around), container_count(prep, around)
    content = content_in_force(prep, around)
    if product is None or count is None or content is None:
        return None
    if product.container in STAYING:
        drawn = prep.latest("drawn_volume")
        taken = drawn.value if drawn is not None else None
        return taken if isinstance(taken, Quantity) else Quantity.of(0, "mL")
    if product.powder is not None and prep.latest("diluent_added") is None:
        return Quantity.of(0, "mL")
    return (content * count).to("mL")


def waste_volume(prep: Preparation, around: Surroundings) -> Quantity | None:
    """What is left of the labelled content after the dose that was drawn, in mL.

    The overfill that makers add is not in the label's figure and so not in this one.
    """
    opened, drawn = opened_volume(prep, around), drawn_of(prep)
    return None if opened is None or drawn is None else opened - drawn


def drawn_of(prep: Preparation) -> Quantity | None:
    """The volume of this drug in the syringe as it was read; None before it was.

    The second drug of a mixture is what the syringe then holds less the first.
    """
    reading = prep.latest("drawn_volume")
    read = reading.value if reading is not None else None
    if not isinstance(read, Quantity) or prep.item != SECOND:
        return read if isinstance(read, Quantity) else None
    first = prep.of(FIRST).latest("drawn_volume")
    before = first.value if first is not None else None
    return read - before if isinstance(before, Quantity) else None
