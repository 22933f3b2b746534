"""How much more a sum with its working costs than the same sum in bare fractions.

Run it: python -m tests.benchmarks.dose_working. It prints, for each sum, the time of the whole
working (value, change, every line as text), that of the bare fractions, the difference in
microseconds of the processor (goal: at most 50) and the ratio. The two are timed in turn, so that a
busy machine weighs on both, and the least of many rounds counts.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from fractions import Fraction

from checklist.dose.rate import pump_rate
from checklist.dose.reconstitution import made_up
from checklist.dose.rounding import RoundingRule, rounded
from checklist.dose.surface import surface, surface_dose
from checklist.dose.volume import volume_for
from checklist.dose.weight import single_dose, weight_dose
from checklist.dose.working import Working, after
from checklist.quantity import Concentration, Quantity

ROUNDS, TIMES = 100, 50
GOAL = 50

of, parse = Quantity.of, Quantity.parse
DOSE, STOCK = parse("60 mg"), Concentration.parse("80 mg in 2 mL")
LINE = RoundingRule(step=parse("0.1 mL"))
WHOLE = RoundingRule(step=parse("1 mL/h"))
PER_KG, KG, THREE = parse("20 mg/kg/day"), parse("27 kg"), of(3, "1/d")
SYRUP = Concentration.parse("250 mg in 5 mL")
FLOW, BAG, PERSON = parse("5 mcg/kg/min"), Concentration.parse("200 mg in 50 mL"), parse("71 kg")
VIAL, DILUENT, ROOM = parse("600 mg"), parse("5.6 mL"), parse("0.4 mL")
TALL, HEAVY, PER_M2 = parse("160 cm"), parse("60 kg"), parse("75 mg/m2")


def volume() -> Working:
    return volume_for(DOSE, STOCK)


def volume_on_a_line() -> Working:
    return rounded(volume_for(DOSE, STOCK), LINE)


def by_weight() -> Working:
    daily = weight_dose(PER_KG, KG)
    one = after(daily, single_dose(daily.exact, THREE))
    return rounded(after(one, volume_for(one.exact, SYRUP)), LINE)


def infusion() -> Working:
    return rounded(pump_rate(FLOW, BAG, PERSON), WHOLE)


def powder() -> Working:
    made = made_up(VIAL, diluent=DILUENT, displacement=ROOM)
    return after(made.working, volume_for(DOSE, made.strength))


def by_surface() -> Working:
    return surface_dose(PER_M2, surface(TALL, HEAVY))


F = Fraction


def to_step(value: Fraction, step: Fraction) -> tuple[Fraction, Fraction]:
    """The rounded value and what that changed, as the working has it too."""
    found = (value / step + F(1, 2)).__floor__() * step
    return found, (value - found) / value


BARE: dict[Callable[[], Working], Callable[[], object]] = {
    volume: lambda: F(60) / F(80) * F(2),
    volume_on_a_line: lambda: to_step(F(60) / F(80) * F(2), F(1, 10)),
    by_weight: lambda: to_step(F(20) * F(27) / F(3) / F(250) * F(5), F(1, 10)),
    infusion: lambda: to_step(F(5) * F(71) * F(60) / F(1000) / (F(200) / F(50)), F(1)),
    powder: lambda: F(60) / (F(600) / (F(28, 5) + F(2, 5))),
}


def least(act: Callable[[], object], other: Callable[[], object]) -> tuple[float, float]:
    """The least time of one call of each, in microseconds, taken in turn."""
    times: tuple[list[float], list[float]] = ([], [])
    for _ in range(ROUNDS):
        for timed, kept in zip((act, other), times, strict=True):
            began = time.thread_time()
            for _ in range(TIMES):
                timed()
            kept.append((time.thread_time() - began) / TIMES * 1e6)
    return min(times[0]), min(times[1])


def main() -> None:
    """Print one line for each sum."""
    print(f"{'sum':<20}{'working':>10}{'bare':>10}{'more':>10}{'ratio':>8}   goal {GOAL} more")
    for act, bare in BARE.items():
        whole, part = least(act, bare)
        kept = "kept" if whole - part <= GOAL else "missed"
        name = act.__name__.replace("_", " ")
        print(
            f"{name:<20}{whole:>7.1f} us{part:>7.1f} us{whole - part:>7.1f} us"
            f"{whole / part:>8.1f}   {kept}"
        )
    whole, _ = least(by_surface, volume)
    print(f"{'by surface':<20}{whole:>7.1f} us   (a root to twelve decimals; no bare fraction)")


if __name__ == "__main__":
    main()
