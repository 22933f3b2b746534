"""Bag: the strength in an infusion bag after drug went in, with overfill or removal counted."""

from checklist.dose.working import DoseFault, Working, above_zero, in_unit, not_below_zero
from checklist.quantity import Quantity

NONE = Quantity.of(0, "mL")


def bag_strength(
    amount: Quantity,
    bag: Quantity,
    *,
    added: Quantity = NONE,
    removed: Quantity = NONE,
    overfill: Quantity = NONE,
    per: str = "mL",
) -> Working:
    """The amount in each mL (or L, by `per`) of the bag's whole liquid.

    The liquid is the bag's labelled volume plus its overfill, less what was removed first, plus
    the volume that the drug came in. Overfill is counted only when it is stated. Raises DoseFault
    when more is removed than the bag holds, an amount or bag is not above zero or another volume
    is below it; DimensionMismatch across kinds. Formula: common practice, no source.
    """
    above_zero("An amount of drug", amount)
    above_zero("A bag", bag)
    names = ("added", "removed", "overfill")
    volumes = {"bag": bag, "overfill": overfill, "removed": removed, "added": added}
    lines: list[str] = []
    for name, volume in volumes.items():
        if name in names:
            not_below_zero(f"The volume {name}", volume)
        volumes[name], changed = in_unit(volume, "mL")
        lines += changed
    if not volumes["removed"] <= volumes["bag"] + volumes["overfill"]:
        raise DoseFault(f"{removed} cannot be taken out of {bag}. Read both volumes again.")
    terms = [("bag", "", volumes["bag"])]
    for name, sign in (("overfill", "plus"), ("removed", "−"), ("added", "plus")):
        if volumes[name].magnitude:
            terms.append((name, sign, volumes[name]))
    total = volumes["bag"] + volumes["overfill"] - volumes["removed"] + volumes["added"]
    above_zero("What is in the bag", total)
    value = amount.per(total).to(f"{amount.unit}/{per}")
    words = " ".join(f"{sign} {name}".strip() for name, sign, _ in terms)
    figures = " ".join(f"{sign} {volume}".strip() for _, sign, volume in terms)
    return Working(
        value=value,
        exact=value,
        lines=(
            f"liquid in the bag = {words}",
            *lines,
            f"liquid in the bag = {figures} = {total}",
            "strength = amount ÷ liquid in the bag",
            f"strength = {amount} ÷ {total.to(per)}",
            f"strength = {value}",
        ),
    )
