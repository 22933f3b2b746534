"""What a powder comes to once it is mixed: its strength in force and the volume it then fills."""

from __future__ import annotations

from dataclasses import dataclass

from checklist.formulary import Mixing, Product
from checklist.number import shown
from checklist.quantity import Concentration, Quantity

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
    """So much powder in one container, mixed so; None when neither volume nor strength is told.

    The label's strength goes before the sum, save where the unit has it the other way round; by
    `LABEL_ONLY` the sum is not shown beside it.
    """
    summed, sums = _summed(powder, mixing)
    if mixing.strength is not None and (rule != SUM_FIRST or summed is None):
        return Mixture(
            mixing=mixing,
            strength=mixing.strength,
            content=mixing.strength.volume_for(powder),
            summed=summed,
            exact=True,
            lines=(
                f"strength after mixing = {mixing.strength}, as the label states it",
                *(() if rule == LABEL_ONLY else (*sums, *_difference(mixing.strength, summed))),
            ),
        )
    if mixing.volume is None:
        return None
    if summed is not None:
        content = summed.per
        return Mixture(
            mixing=mixing, strength=summed, content=content, summed=summed, exact=True, lines=sums
        )
    volume = mixing.volume.to("mL")
    bare = Concentration(amount=powder, per=volume)
    return Mixture(
        mixing=mixing,
        strength=bare,
        content=volume,
        summed=None,
        exact=False,
        lines=(
            "the powder's own volume is not known, so the strength is that of the diluent alone",
            f"strength = {powder} ÷ {volume} = {bare.per_mL}",
        ),
    )


def _summed(powder: Quantity, mixing: Mixing) -> tuple[Concentration | None, tuple[str, ...]]:
    """The strength by the sum of diluent and powder, with its lines."""
    if mixing.volume is None or mixing.displacement is None:
        return None, ()
    diluent, own = mixing.volume.to("mL"), mixing.displacement.to("mL")
    strength = Concentration(amount=powder, per=diluent + own)
    return strength, (
        "volume after mixing = diluent + the powder's own volume",
        f"volume after mixing = {diluent} + {own} = {strength.per}",
        f"strength = {powder} ÷ {strength.per} = {strength.per_mL}",
    )


def _difference(labelled: Concentration, summed: Concentration | None) -> tuple[str, ...]:
    """How far the sum is from the label, said in percent of the label."""
    if summed is None:
        return ()
    off = summed.per_mL.ratio(labelled.per_mL) - 1
    if off == 0:
        return ("the sum and the label agree",)
    side = "more" if off > 0 else "less"
    return (f"the sum gives {shown(abs(off) * 100)} % {side} than the label; the label is used",)


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
