"""Rates: mL/h, drops a minute, dose rates both ways, how long it runs and what is left."""

from datetime import datetime, timedelta

from checklist.dose.working import (
    Working,
    above_zero,
    in_unit,
    not_below_zero,
    said,
    with_lines,
    worked,
)
from checklist.number import half_up
from checklist.quantity import Concentration, DimensionMismatch, Quantity
from checklist.ucum import unit as ucum_unit


def rate(volume: Quantity, time: Quantity) -> Working:
    """The rate in mL/h: volume / time.

    Raises DoseFault when either is not above zero, DimensionMismatch across kinds. Formula:
    common practice, no source.
    """
    above_zero("A volume", volume)
    above_zero("A time", time)
    liquid, first = in_unit(volume, "mL")
    hours, second = in_unit(time, "h")
    return worked(
        "rate", "volume ÷ hours", f"{liquid} ÷ {hours}", liquid.per(hours), *first, *second
    )


def drops(volume: Quantity, time: Quantity, per_mL: Quantity) -> Working:
    """The drops a minute of a gravity set: volume x drops in a mL / minutes.

    `per_mL` is the set's own figure, such as 20 {drop}/mL. Raises as `rate`. Formula: IV drip
    rate teaching page, sets of 15, 20 and 60 drops to the mL.
    """
    above_zero("A volume", volume)
    above_zero("A time", time)
    above_zero("A set's drops", per_mL)
    liquid, first = in_unit(volume, "mL")
    minutes, second = in_unit(time, "min")
    size, third = in_unit(per_mL, "{drop}/mL")
    return worked(
        "drop rate",
        "volume × drops in 1 mL ÷ minutes",
        f"{liquid} × {size} ÷ {minutes}",
        (liquid * size).per(minutes),
        *first,
        *second,
        *third,
    )


def drops_at(flow: Quantity, per_mL: Quantity) -> Working:
    """The drops a minute at a rate: mL/h x drops in a mL / 60 minutes. Raises as `drops`."""
    above_zero("A rate", flow)
    above_zero("A set's drops", per_mL)
    own, first = in_unit(flow, "mL/h")
    size, second = in_unit(per_mL, "{drop}/mL")
    return worked(
        "drop rate",
        "rate × drops in 1 mL ÷ 60 min in 1 h",
        f"{own} × {size} ÷ 60",
        (own * size).to("{drop}/min"),
        *first,
        *second,
    )


def pump_rate(
    dose_rate: Quantity, strength: Concentration, weight: Quantity | None = None
) -> Working:
    """The mL/h that give a dose rate: dose rate (x body weight) / strength.

    A dose rate per kg needs the body weight; one that is not must come without. Raises
    DimensionMismatch in either case and across kinds, DoseFault when a figure is not above zero.
    Formula: common practice, no source.
    """
    above_zero("A dose rate", dose_rate)
    dose, lines = _whole(dose_rate, weight)
    own, changed = in_unit(dose, f"{strength.amount.unit}/h")
    each = strength.per_mL
    value = own.over(each).to("mL/h")
    done = worked("rate", "dose in an hour ÷ strength", f"{own} ÷ {each}", value, *changed)
    return with_lines(done, lines + done.lines)


def pump_rate_for_each_kg(dose_rate: Quantity, strength: Concentration) -> Working:
    """The volume for each kg and time, such as mL/kg/min: dose rate per kg / strength.

    Raises DimensionMismatch when the dose rate is not per kg, DoseFault as `pump_rate`.
    """
    above_zero("A dose rate", dose_rate)
    if not _by_weight(dose_rate):
        raise DimensionMismatch(f"{dose_rate} is not a dose per kg. Look at the order again.")
    below = dose_rate.unit.partition("/")[2]
    own, changed = in_unit(dose_rate, f"{strength.amount.unit}/{below}")
    return worked(
        "rate for each kg",
        "dose rate per kg ÷ strength",
        f"{own} ÷ {strength.per_mL}",
        own.over(strength.per_mL).to(f"mL/{below}"),
        *changed,
    )


def dose_rate_at(
    flow: Quantity, strength: Concentration, unit: str, weight: Quantity | None = None
) -> Working:
    """The dose rate, in `unit` (a UCUM code), that a rate gives: rate x strength (/ body weight).

    Raises DimensionMismatch when the unit is per kg and no weight is given, or the other way
    round, and across kinds; DoseFault as `pump_rate`. Formula: common practice, no source.
    """
    above_zero("A rate", flow)
    goal = Quantity.of(1, unit)
    if _by_weight(goal) != (weight is not None):
        raise _weight_or_not(goal)
    own, first = in_unit(flow, "mL/h")
    amount = own * strength.per_mL
    lines = worked("dose rate", "rate × strength", f"{own} × {strength.per_mL}", amount, *first)
    value, words = amount, ""
    if weight is not None:
        above_zero("A body weight", weight)
        kilograms, second = in_unit(weight, "kg")
        value = amount.per(kilograms)
        words = f"dose rate per kg = {amount} ÷ {kilograms} = {value}"
        lines = with_lines(lines, (*lines.lines, *second, words))
    final, third = in_unit(value, unit)
    return Working(value=final, exact=final, lines=(*lines.lines, *third, f"dose rate = {final}"))


def amount_over(dose_rate: Quantity, time: Quantity, weight: Quantity | None = None) -> Working:
    """The amount that a dose rate gives in a time: dose rate (x body weight) x time.

    Raises as `pump_rate`.
    """
    above_zero("A dose rate", dose_rate)
    above_zero("A time", time)
    dose, lines = _whole(dose_rate, weight)
    below = [atom.code for atom in ucum_unit(dose.unit).below if atom.kind == "time"]
    if len(below) != 1:
        raise DimensionMismatch(f"{dose_rate} is not a dose in a time. Look at the order again.")
    span, changed = in_unit(time, below[0])
    done = worked("amount", "dose rate × time", f"{dose} × {span}", dose * span, *changed)
    return with_lines(done, lines + done.lines)


def duration(volume: Quantity, flow: Quantity) -> Working:
    """How many hours a volume lasts: volume / rate. Raises as `rate`."""
    above_zero("A volume", volume)
    above_zero("A rate", flow)
    liquid, first = in_unit(volume, "mL")
    own, second = in_unit(flow, "mL/h")
    value = liquid.over(own)
    done = worked("time", "volume ÷ rate", f"{liquid} ÷ {own}", value, *first, *second)
    hours = Quantity.of(value.magnitude.__floor__(), "h")
    minutes = (value - hours).to("min")
    if minutes.magnitude == 0:
        return done
    time = f"{hours} and {minutes}" if hours.magnitude else f"{minutes}"
    return with_lines(done, (*done.lines, f"time = {time}"))


def ends_at(starts: datetime, time: Quantity) -> datetime:
    """When something ends that begins at `starts` and runs for `time`, to the nearest minute."""
    above_zero("A time", time)
    return starts + timedelta(minutes=half_up(time.to("min").magnitude))


def volume_over(flow: Quantity, time: Quantity) -> Working:
    """The mL that run in a time: rate x hours. Raises as `rate`."""
    above_zero("A rate", flow)
    not_below_zero("A time", time)
    own, first = in_unit(flow, "mL/h")
    hours, second = in_unit(time, "h")
    return worked("volume", "rate × hours", f"{own} × {said(hours)}", own * hours, *first, *second)


def volume_left(volume: Quantity, flow: Quantity, time: Quantity) -> Working:
    """The mL still to run after a time: volume less rate x hours; none once it has run through.

    Raises as `rate`.
    """
    above_zero("A volume", volume)
    run = volume_over(flow, time)
    liquid, changed = in_unit(volume, "mL")
    left = liquid - run.exact
    through = not left.magnitude > 0
    value = Quantity.of(0, "mL") if through else left
    last = "left = nothing: it has run through" if through else f"left = {value}"
    return Working(
        value=value,
        exact=value,
        lines=(
            *run.lines,
            "left = volume − volume that has run",
            *changed,
            f"left = {liquid} − {said(run.exact)}",
            last,
        ),
    )


def _whole(dose_rate: Quantity, weight: Quantity | None) -> tuple[Quantity, tuple[str, ...]]:
    """The dose rate for the whole patient, and the lines of that."""
    if _by_weight(dose_rate) != (weight is not None):
        raise _weight_or_not(dose_rate)
    if weight is None:
        return dose_rate, ()
    above_zero("A body weight", weight)
    kilograms, changed = in_unit(weight, "kg")
    value = dose_rate * kilograms
    done = worked(
        "dose rate", "dose rate per kg × body weight", f"{dose_rate} × {kilograms}", value, *changed
    )
    return value, done.lines


def _by_weight(quantity: Quantity) -> bool:
    return any(atom.kind == "mass" for atom in ucum_unit(quantity.unit).below)


def _weight_or_not(quantity: Quantity) -> DimensionMismatch:
    if _by_weight(quantity):
        return DimensionMismatch(f"{quantity} is per kg. Give the body weight too.")
    return DimensionMismatch(
        f"{quantity} does not hang on body weight. Leave the weight out, or look at the order."
    )
