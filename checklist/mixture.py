"""What a powder comes to once it is mixed: its strength in force and the volume it then fills."""

from __future__ import annotations

from dataclasses import dataclass

from checklist.dose.reconstitution import MadeUp, made_up
from checklist.dose.working import DoseFault
from checklist.formulary import Mixing, Product
from checklist.quantity import Concentration, DimensionMismatch, Quantity

METHODS = ("swirled", "rolled", "turned over", "shaken", "left to stand")
"""The ways in which a powder may be brought into solution."""
LABEL_FIRST, LABEL_ONLY, SUM_FIRST = "both_shown", "labelled_concentration", "displacement_value"
"""Which figure rules after mixing: values of the unit's setting reconstitution_math."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """One container of a powder, mixed as `mixing` tells.

    `strength` is in force: the label's own figure where it has one, else the sum of diluent and
    powder. `content` is the volume of one container in mL. `summed` is what the sum gives, None
    when it cannot be done. `exact` is false when neither a label nor the powder's own volume is
    known: the strength is then that of the diluent alone, and the true one is lower. `lines` say
    how it was come by.
    """

    mixing: Mixing
    strength: Concentration
    content: Quantity
    summed: Concentration | None
    exact: bool
    lines: tuple[str, ...]


def instruction(product: Product, route: str) -> Mixing | None:
    """How this powder is mixed for this route; None when nothing is kept about it."""
    return next((m for m in product.mixing if route in m.routes), None)


def mixture_of(product: Product, route: str, rule: str = LABEL_FIRST) -> Mixture | None:
    """The powder mixed for this route; `rule` is the unit's own for which figure rules.

    None for an item that is no powder, without an instruction, and when the instruction tells
    neither a volume nor a strength: then there is nothing to reckon with.
    """
    mixing = instruction(product, route)
    if product.powder is None or mixing is None:
        return None
    return mixed(product.powder, mixing, rule)


def mixed(powder: Quantity, mixing: Mixing, rule: str = LABEL_FIRST) -> Mixture | None:
    """So much powder in one container, mixed so.

    None when neither volume nor strength is told, and when the two are too far apart to be of one
    item. The label's strength goes before the sum, save where the unit has it the other way round;
    by `LABEL_ONLY` the sum is not shown beside it.
    """
    summed = _made(powder, mixing, label=None)
    label = None if rule == SUM_FIRST and summed is not None else mixing.strength
    if label is None and summed is None:
        return _bare(powder, mixing)
    alone = rule == LABEL_ONLY and label is not None
    made = made_up(powder, label=label) if alone else _made(powder, mixing, label=label)
    if made is None:
        return None
    return Mixture(
        mixing=mixing,
        strength=made.strength,
        content=made.strength.volume_for(powder),
        summed=None if summed is None else summed.strength,
        exact=True,
        lines=made.working.lines,
    )


def _made(powder: Quantity, mixing: Mixing, *, label: Concentration | None) -> MadeUp | None:
    """The powder made up by what is told; None when that leads to no strength."""
    try:
        return made_up(powder, diluent=mixing.volume, displacement=mixing.displacement, label=label)
    except (DoseFault, DimensionMismatch):
        return None


def _bare(powder: Quantity, mixing: Mixing) -> Mixture | None:
    """The powder in its diluent as if it took no room; None when no volume is told."""
    if mixing.volume is None or mixing.strength is not None:
        return None
    strength = Concentration(amount=powder, per=mixing.volume.to("mL"))
    return Mixture(
        mixing=mixing,
        strength=strength,
        content=strength.per,
        summed=None,
        exact=False,
        lines=(
            "the powder's own volume is not known, so the strength is that of the diluent alone",
            f"strength = {powder} ÷ {strength.per} = {strength.per_mL}",
        ),
    )


def strength_of(product: Product, route: str, rule: str = LABEL_FIRST) -> Concentration | None:
    """The strength that a dose by this route is reckoned with; None when it is not known."""
    if product.powder is None:
        return product.strength
    mixture = mixture_of(product, route, rule)
    return None if mixture is None else mixture.strength


def content_of(product: Product, route: str, rule: str = LABEL_FIRST) -> Quantity | None:
    """The volume of one container, mixed where it is a powder; None when it is not known."""
    if product.powder is None:
        return product.content
    mixture = mixture_of(product, route, rule)
    return None if mixture is None else mixture.content
