"""What a pen must come to: the amount to dial, what to prime first, and what that takes out of it.

A pen counts the drug itself, most often units of insulin, and never a volume; so its target is an
amount that must show in the dose window.
"""

from __future__ import annotations

from dataclasses import dataclass

from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Quantity
from checklist.target import ordered_dose, product_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Dial:
    """What to turn a pen to, and what it takes out of the pen.

    `set` is the amount that has to show in the window. `prime` is pushed out first and is no part
    of the dose. `needed` is both together. `counted` says that the pen can show this very amount.
    """

    set: Quantity
    prime: Quantity
    needed: Quantity
    counted: bool


def dial(prep: Preparation, around: Surroundings) -> Dial | None:
    """What to dial for the ordered dose; None when order or pen do not give it.

    None as well when the pen counts another kind of amount than the order asks for.
    """
    dose, product = ordered_dose(prep, around), product_of(prep, around)
    if dose is None or product is None or not dose.alike(product.strength.amount):
        return None
    prime = prime_of(prep, around)
    step = product.scale_step
    counted = step is not None and step.alike(dose) and dose.rounded(step).value == dose
    needed = dose + prime if prime.alike(dose) else dose
    return Dial(set=dose, prime=prime, needed=needed, counted=counted)


def prime_of(prep: Preparation, around: Surroundings) -> Quantity:
    """What to push out before the dose: the product's own figure, or else the unit's."""
    product = product_of(prep, around)
    if product is not None and product.prime is not None:
        return product.prime
    return Quantity.of(around.unit.count("pen_prime_units"), "{unit}")


def hold_of(prep: Preparation, around: Surroundings) -> Quantity:
    """How long to hold after the button is down: the product's own figure, or else the unit's."""
    product = product_of(prep, around)
    if product is not None and product.hold is not None:
        return product.hold
    return Quantity.of(around.unit.count("pen_hold_seconds"), "s")
