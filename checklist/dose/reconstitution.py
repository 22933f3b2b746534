"""Reconstitution: a powder made up, the room it takes up, and the label's own strength."""

from dataclasses import dataclass
from fractions import Fraction

from checklist.dose.strength import mixed_strength
from checklist.dose.working import (
    DoseFault,
    Working,
    above_zero,
    in_unit,
    not_below_zero,
    said,
    worked,
)
from checklist.number import shown
from checklist.quantity import Concentration, Quantity

MAX_DIFFERENCE = Fraction(10, 100)
"""How far the label's strength and the arithmetic may be apart, as a share of the arithmetic.

Parshuram CS et al., CMAJ 2008;178(1):42-48 take 10 % as the threshold of a concentration error.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeUp:
    """A powder made up: the strength to go on with, and how it was found.

    `difference` is the label's strength less that of the arithmetic, as a share of the latter;
    None when there was only one of the two.
    """

    strength: Concentration
    working: Working
    difference: Fraction | None


def total_volume(diluent: Quantity, displacement: Quantity) -> Working:
    """The volume in the vial once made up: diluent plus displacement, in mL.

    Raises DoseFault when there is no diluent or a displacement below zero, DimensionMismatch for
    anything but volumes. Formula: Pharmaceutical aspects of injectable administration, section
    12.1, displacement values.
    """
    above_zero("A volume of diluent", diluent)
    not_below_zero("A displacement", displacement)
    added, first = in_unit(diluent, "mL")
    taken, second = in_unit(displacement, "mL")
    return worked(
        "total volume",
        "diluent plus displacement",
        f"{added} plus {said(taken)}",
        added + taken,
        *first,
        *second,
    )


def displacement_of(total: Quantity, diluent: Quantity) -> Working:
    """The room that the powder takes: total volume less diluent, in mL.

    Raises DoseFault when the total is less than the diluent. Source: as `total_volume`.
    """
    above_zero("A total volume", total)
    above_zero("A volume of diluent", diluent)
    whole, first = in_unit(total, "mL")
    added, second = in_unit(diluent, "mL")
    if not added <= whole:
        raise DoseFault(
            f"{diluent} of diluent is more than the total volume of {total}. Read both again."
        )
    return worked(
        "displacement",
        "total volume − diluent",
        f"{whole} − {added}",
        whole - added,
        *first,
        *second,
    )


def diluent_for(amount: Quantity, wanted: Concentration, displacement: Quantity) -> Working:
    """The mL of diluent that make the wanted strength: amount / strength, less displacement.

    Raises DoseFault when the powder alone takes that room or more, DimensionMismatch across
    kinds. Source: as `total_volume`.
    """
    above_zero("An amount of drug", amount)
    not_below_zero("A displacement", displacement)
    own, first = in_unit(amount, wanted.amount.unit)
    taken, second = in_unit(displacement, "mL")
    total = wanted.volume_for(amount)
    if not taken < total:
        raise DoseFault(
            f"{amount} at {wanted} makes {total}, and the powder alone takes {taken}. That strength"
            " cannot be made: look at the figures again, or ask the pharmacist."
        )
    return worked(
        "diluent",
        "amount ÷ wanted strength − displacement",
        f"{own} ÷ {wanted.amount} × {wanted.per} − {said(taken)} = {total} − {said(taken)}",
        total - taken,
        *first,
        *second,
    )


def made_up(
    amount: Quantity,
    *,
    diluent: Quantity | None = None,
    displacement: Quantity | None = None,
    total: Quantity | None = None,
    label: Concentration | None = None,
) -> MadeUp:
    """The strength of a powder once made up.

    The strength that the label states wins. Arithmetic goes by the stated total volume, or by
    diluent plus displacement; where the label has a strength too, the difference is told. Diluent
    alone is not enough: without displacement, total or label strength DoseFault is raised, and
    so it is when label and arithmetic are more than MAX_DIFFERENCE apart, when diluent and
    displacement do not add up to a total that is stated too, or when a volume is not above zero.
    Raises DimensionMismatch across kinds. Source: as `total_volume`; that the label wins: cefazolin
    for injection, US prescribing information, whose 225 mg/mL stands beside 500 mg in 2.2 mL.
    """
    above_zero("An amount of drug", amount)
    lines: list[str] = []
    whole = _total(diluent, displacement, total, lines)
    if whole is None:
        if label is None:
            raise DoseFault(
                "The powder takes up room too. Give its displacement (0 mL where the label says"
                " none), the total volume, or the strength that the label states."
            )
        return _by_label(label, lines, None)
    reckoned = mixed_strength(amount, whole)
    lines += [
        "strength = amount ÷ total volume",
        f"strength = {amount} ÷ {whole}",
        f"strength = {reckoned.per_mL}",
    ]
    if label is None:
        each = reckoned.per_mL
        return MadeUp(
            strength=reckoned,
            working=Working(value=each, exact=each, lines=tuple(lines)),
            difference=None,
        )
    difference = (label.per_mL - reckoned.per_mL).ratio(reckoned.per_mL)
    if not abs(difference) <= MAX_DIFFERENCE:
        raise DoseFault(
            f"The label states {label.per_mL}, and by the volumes it would be {reckoned.per_mL}."
            f" That is more than {shown(MAX_DIFFERENCE * 100)} % apart: read label and volumes"
            " again, or ask the pharmacist."
        )
    return _by_label(label, lines, difference)


def _total(
    diluent: Quantity | None,
    displacement: Quantity | None,
    total: Quantity | None,
    lines: list[str],
) -> Quantity | None:
    """The total volume as stated or added up, with its lines; None when neither can be had."""
    if total is None:
        if diluent is None or displacement is None:
            return None
        added = total_volume(diluent, displacement)
        lines += added.lines
        return added.exact
    above_zero("A total volume", total)
    if diluent is not None:
        found = displacement_of(total, diluent)
        if displacement is not None and displacement != found.exact:
            raise DoseFault(
                f"{diluent} of diluent and a displacement of {displacement} do not make {total}."
                " Read the three again."
            )
        lines += found.lines
    return total


def _by_label(label: Concentration, lines: list[str], difference: Fraction | None) -> MadeUp:
    """The label's strength, with what the arithmetic gives standing beside it."""
    if difference is None:
        beside = "nothing to compare it with"
    elif difference == 0:
        beside = "the same as by the volumes"
    else:
        way = "less" if difference < 0 else "more"
        beside = f"{shown(abs(difference) * 100)} % {way} than by the volumes"
    each = label.per_mL
    more = (f"the label states {label}: {beside}", f"strength = {each}, as the label has it")
    return MadeUp(
        strength=label,
        working=Working(value=each, exact=each, lines=(*lines, *more)),
        difference=difference,
    )
