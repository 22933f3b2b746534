"""Containers: how many are needed, what is left over, and whether a controlled drug adds up."""

from checklist.dose.working import DoseFault, Working, above_zero, not_below_zero, said, worked
from checklist.quantity import Quantity


def containers(needed: Quantity, content: Quantity, unit: str = "1") -> Working:
    """How many whole containers hold what is needed; unit is their code, such as {vial}.

    Both are amounts, or both volumes; the content is what the label states, and a maker's overfill
    is never counted. Raises DoseFault when either is not above zero, DimensionMismatch across
    kinds. Formula: common practice, no source.
    """
    above_zero("What is needed", needed)
    above_zero("A container's content", content)
    parts = Quantity.of(needed.ratio(content), unit)
    value = Quantity.of(parts.magnitude.__ceil__(), unit)
    return worked(
        "containers",
        "needed ÷ content of one, up to a whole one",
        f"{needed} ÷ {content} = {parts}",
        value,
    )


def waste(opened: Quantity, prepared: Quantity) -> Working:
    """What is left to discard: opened less prepared, in the unit of what was opened.

    Raises DoseFault when more was prepared than opened, DimensionMismatch across kinds. Formula:
    common practice, no source.
    """
    above_zero("An opened amount", opened)
    not_below_zero("A prepared amount", prepared)
    value = opened - prepared
    if not value.magnitude >= 0:
        raise DoseFault(
            f"{prepared} prepared is more than the {opened} opened. Count what was opened again."
        )
    return worked("to discard", "opened − prepared", f"{opened} − {said(prepared)}", value)


def unaccounted(opened: Quantity, given: Quantity, wasted: Quantity) -> Working:
    """What of a controlled drug is not accounted for: opened, less given, less wasted.

    The value is zero when all adds up. It is in the unit of what was opened. Raises DoseFault when
    more is on record than was opened or nothing was opened, DimensionMismatch across kinds.
    Formula: common practice, no source.
    """
    above_zero("An opened amount", opened)
    not_below_zero("A given amount", given)
    not_below_zero("A wasted amount", wasted)
    value = opened - given - wasted
    if not value.magnitude >= 0:
        raise DoseFault(
            f"{given} given and {wasted} wasted are more than the {opened} opened. Read the three"
            " again with your witness."
        )
    return worked(
        "not accounted for",
        "opened − given − wasted",
        f"{opened} − {said(given)} − {said(wasted)}",
        value,
    )


def register_after(before: int, taken: int, received: int = 0) -> Working:
    """The count that the register must show: before, less taken, plus received.

    Raises DoseFault when a count is below zero or more is taken than is there. Formula: common
    practice, no source.
    """
    for name, count in (("before", before), ("taken", taken), ("received", received)):
        if not count >= 0:
            raise DoseFault(f"The count {name} is not below zero; {count} was given. Count again.")
    if not taken <= before + received:
        raise DoseFault(
            f"{taken} taken is more than the {before + received} there were. Count again with your"
            " witness."
        )
    return worked(
        "in stock",
        "before − taken plus received",
        f"{before} − {taken} plus {received}",
        Quantity.of(before - taken + received, "1"),
    )
