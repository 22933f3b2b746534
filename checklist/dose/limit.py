"""Limits of a dose: the usual range, the highest single dose and the most in a day."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from checklist.dose.working import DoseFault, Working, above_zero, worked
from checklist.quantity import Quantity
from checklist.site import Age, AgeSpan
from checklist.ucum import unit as ucum_unit


class Level(StrEnum):
    """Where a dose stands."""

    WITHIN = "within every figure it was compared with"
    BELOW_USUAL = "below the usual range"
    ABOVE_USUAL = "above the usual range"
    ABOVE_SINGLE = "above the highest single dose"
    ABOVE_DAILY = "above the most in a day"

    @property
    def usual(self) -> bool:
        """True for a dose that no figure speaks against."""
        return self is Level.WITHIN


REFUSED = (Level.ABOVE_SINGLE, Level.ABOVE_DAILY)
_GRAVEST_FIRST = (*REFUSED, Level.ABOVE_USUAL, Level.BELOW_USUAL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """The limits for one group of patients, by age and weight.

    `usual_low`, `usual_high` and `single` are for one dose, an amount or an amount per kg; `daily`
    is the most in a day, an amount per day or per kg and day. None where no figure is kept.
    `heavier` (from) and `lighter` (up to, not with) bound the body weight.
    """

    ages: AgeSpan | None = None
    heavier: Quantity | None = None
    lighter: Quantity | None = None
    usual_low: Quantity | None = None
    usual_high: Quantity | None = None
    single: Quantity | None = None
    daily: Quantity | None = None

    def holds(self, age: Age | None, weight: Quantity | None) -> bool | None:
        """Whether the range is for this patient; None when age or weight do not tell."""
        answers = [True if self.ages is None else self.ages.tells(age)]
        if self.heavier is not None:
            answers.append(None if weight is None else weight >= self.heavier)
        if self.lighter is not None:
            answers.append(None if weight is None else weight < self.lighter)
        if False in answers:
            return False
        return None if None in answers else True


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Where a dose stands, with the lines that show it and what had no figure to compare with."""

    level: Level
    lines: tuple[str, ...]
    not_compared: tuple[str, ...]

    @property
    def refused(self) -> bool:
        """True above a limit that is never passed."""
        return self.level in REFUSED


def range_for(ranges: Iterable[Range], age: Age | None, weight: Quantity | None) -> Range | None:
    """The one range that is for this patient; None when none is, or when it is not sure which.

    It is not sure when two hold, or when one hangs on an age or weight that is not known.
    """
    held = [(one, one.holds(age, weight)) for one in ranges]
    if any(answer is None for _, answer in held):
        return None
    found = [one for one, answer in held if answer]
    return found[0] if len(found) == 1 else None


def judged(
    dose: Quantity,
    limits: Range,
    *,
    times: Quantity | None = None,
    weight: Quantity | None = None,
) -> Judged:
    """Compare a single dose with the limits, and with `times` (3 1/d) the day's total too.

    A figure that is missing, or per kg without a weight, is told in `not_compared`, and where
    nothing could be compared DoseFault is raised rather than a dose called usual. A dose equal to
    a figure is within it. Raises DimensionMismatch across kinds. Rule: common practice, no source.
    """
    above_zero("A dose", dose)
    lines: list[str] = []
    missing: list[str] = []
    found: list[Level] = []

    def compare(name: str, figure: Quantity | None, own: Quantity | None, over: Level) -> None:
        bound = _bound(name, figure, weight, lines, missing)
        if bound is None or own is None:
            if bound is not None:
                missing.append(f"{name}: how often a day is not known")
            return
        below = over is Level.BELOW_USUAL
        kept = own >= bound if below else own <= bound
        said = "at least" if below else "at most"
        lines.append(f"{own}: {said} {bound}, {name}: {'yes' if kept else 'no'}")
        found.append(Level.WITHIN if kept else over)

    day = None
    if times is not None:
        total = daily_total(dose, times)
        day = total.exact
        lines += total.lines
    compare("the most in a day", limits.daily, day, Level.ABOVE_DAILY)
    compare("the highest single dose", limits.single, dose, Level.ABOVE_SINGLE)
    compare("the usual most", limits.usual_high, dose, Level.ABOVE_USUAL)
    compare("the usual least", limits.usual_low, dose, Level.BELOW_USUAL)
    if not found:
        raise DoseFault(f"There is no figure to compare {dose} with. Ask the pharmacist.")
    level = next((one for one in _GRAVEST_FIRST if one in found), Level.WITHIN)
    return Judged(level=level, lines=tuple(lines), not_compared=tuple(missing))


def _bound(
    name: str,
    figure: Quantity | None,
    weight: Quantity | None,
    lines: list[str],
    missing: list[str],
) -> Quantity | None:
    """The figure as an amount for this patient; None, and told why, when it cannot be had."""
    if figure is None:
        missing.append(f"{name}: no figure")
        return None
    if all(atom.kind != "mass" for atom in ucum_unit(figure.unit).below):
        return figure
    if weight is None:
        missing.append(f"{name}: {figure}, and no body weight is known")
        return None
    above_zero("A body weight", weight)
    bound = figure * weight
    lines.append(f"{name} = {figure} × {weight} = {bound}")
    return bound


def daily_total(dose: Quantity, times: Quantity) -> Working:
    """The amount in a day: one dose x doses in a day (a quantity such as 3 1/d).

    Raises DoseFault when either is not above zero. Formula: common practice, no source.
    """
    above_zero("A dose", dose)
    above_zero("A number of times", times)
    return worked("in a day", "one dose × doses in a day", f"{dose} × {times}", dose * times)


def capped(dose: Quantity, most: Quantity) -> Working:
    """The dose, or the highest dose where that is lower.

    Raises DoseFault when either is not above zero, DimensionMismatch across kinds. Rule: common
    practice, no source.
    """
    above_zero("A dose", dose)
    above_zero("A highest dose", most)
    value = dose if dose <= most else most.to(dose.unit)
    return worked("dose", "the lower of the dose and the highest dose", f"{dose} or {most}", value)
