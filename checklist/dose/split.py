"""Split doses: one volume shared out over several sites or syringes, adding up to the same."""

from dataclasses import dataclass

from checklist.dose.working import DoseFault, above_zero
from checklist.quantity import Quantity
from checklist.syringe import Choice, Fit, Size, Table, on_line, ranked

MOST_PARTS = 4
"""More injections than this for one dose are not offered. Our own choice: ask the pharmacist."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """The parts of a volume, the larger ones first; `lines` show that they add up."""

    parts: tuple[Quantity, ...]
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A volume drawn in two syringes: most of it in the large one, the rest in the fine one.

    `said` names both in a few words.
    """

    large: Choice
    large_part: Quantity
    fine: Choice
    fine_part: Quantity
    said: str


def split(volume: Quantity, largest: Quantity, step: Quantity) -> Split:
    """The volume in as few parts as none is above `largest`, each on a whole number of steps.

    The parts are equal, or differ by one step. Raises DoseFault when the volume is not on a step,
    when it would take more than MOST_PARTS parts or a figure is not above zero; DimensionMismatch
    across kinds. Rule: common practice, no source.
    """
    above_zero("A volume", volume)
    above_zero("The most for one part", largest)
    above_zero("A step", step)
    if not on_line(volume, step):
        raise DoseFault(
            f"{volume} is not a whole number of steps of {step}. Round it to the scale first."
        )
    steps, most = int(volume.ratio(step)), largest.ratio(step).__floor__()
    if not most >= 1:
        raise DoseFault(f"No part of {largest} can be read in steps of {step}. Use a finer scale.")
    count = -(-steps // most)
    if not count <= MOST_PARTS:
        raise DoseFault(
            f"{volume} would take {count} parts of {largest} at most. Ask the pharmacist for a"
            " stronger product."
        )
    each, more = divmod(steps, count)
    parts = tuple(step * (each + (place < more)) for place in range(count))
    shared = " plus ".join(str(part) for part in parts)
    return Split(
        parts=parts,
        lines=(
            "parts = volume ÷ most for one, up to a whole one",
            f"parts = {volume} ÷ {largest}, up to a whole one = {count}",
            f"{shared} = {sum(parts[1:], parts[0])}",
        ),
    )


def in_two_syringes(volume: Quantity, sizes: tuple[Size, ...], table: Table) -> Pair | None:
    """Most of the volume in a large syringe and the rest in a fine one; None when that is no help.

    Choose the Most Appropriate Syringe, hospital pharmacy training note (February 2024): 21.7 mL
    is 21 mL in a 30 mL syringe and 0.7 mL in a 1 mL syringe.
    """
    above_zero("A volume", volume)
    for size in sorted(sizes, key=lambda one: one.nominal.to("mL").magnitude):
        main = size.line * volume.ratio(size.line).__floor__()
        rest = volume - main
        if not (main.magnitude > 0 and rest.magnitude > 0):
            continue
        large = next(iter(ranked(main, (size,), table)))
        finer = tuple(one for one in sizes if one.line < size.line)
        fine = next(iter(ranked(rest, finer, table)), None)
        if fine is not None and large.verdict is fine.verdict is Fit.SUITABLE:
            said = f"{main} in a {large.size} syringe plus {rest} in a {fine.size} syringe"
            return Pair(
                large=large,
                large_part=main,
                fine=fine,
                fine_part=rest,
                said=said,
            )
    return None
