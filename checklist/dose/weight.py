"""Weight: doses by body weight, weights in pounds, and a daily amount shared out over its doses."""

from checklist.dose.conversion import convert
from checklist.dose.working import Working, above_zero, in_unit, worked
from checklist.quantity import DimensionMismatch, Quantity
from checklist.ucum import unit as ucum_unit


def weight_dose(
    dose_per_weight: Quantity, weight: Quantity, factor: Quantity | None = None
) -> Working:
    """A dose by body weight: so much per kg (or per pound) times the weight.

    A dose per kg and day gives an amount per day, one per kg and minute an amount per minute. A
    weight in another system than the dose's needs its `factor`, such as 2.2 [lb_av]/kg. Raises
    DimensionMismatch when the dose is not per weight, or when weight and dose are in different
    systems and no factor leads across; DoseFault when either is not above zero.
    Formula: common practice, no source.
    """
    above_zero("A dose", dose_per_weight)
    above_zero("A body weight", weight)
    below = ucum_unit(dose_per_weight.unit).below
    base = next((atom for atom in below if atom.kind in ("mass", "pound")), None)
    if base is None:
        raise DimensionMismatch(f"{dose_per_weight} is not a dose per kg. Look at the order again.")
    if factor is not None:
        across = convert(weight, base.code, factor)
        heavy, changed = across.exact, across.lines
    else:
        heavy, changed = in_unit(weight, base.code)
    return worked(
        "dose",
        f"dose per {base.shown} × body weight",
        f"{dose_per_weight} × {heavy}",
        dose_per_weight * heavy,
        *changed,
    )


def single_dose(daily: Quantity, times: Quantity) -> Working:
    """One dose of a daily amount that is given so many times a day (a quantity such as 3 1/d).

    Raises DimensionMismatch when the first is no amount per day or the second no number per day,
    DoseFault when either is not above zero. Formula: common practice, no source.
    """
    above_zero("A daily amount", daily)
    above_zero("A number of times", times)
    if not times.alike(Quantity.of(1, "1/d")):
        raise DimensionMismatch(f"{times} is not a number of times a day. Write it like 3 per day.")
    if all(atom.kind != "time" for atom in ucum_unit(daily.unit).below):
        raise DimensionMismatch(f"{daily} is not an amount per day. Look at the order again.")
    return worked(
        "one dose",
        "daily amount ÷ doses in a day",
        f"{daily} ÷ {times}",
        daily.over(times),
    )
