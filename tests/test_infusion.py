"""Infusions: rates, drops, dose rates both ways and how long they run, shown line by line."""

from datetime import datetime
from typing import Any

import pytest

from checklist.dose.rate import (
    amount_over,
    dose_rate_at,
    drops,
    drops_at,
    duration,
    ends_at,
    pump_rate,
    pump_rate_for_each_kg,
    rate,
    volume_left,
    volume_over,
)
from checklist.dose.rounding import RoundingRule, rounded
from checklist.dose.working import DoseFault, Working
from checklist.quantity import Concentration, DimensionMismatch, Quantity

of, parse = Quantity.of, Quantity.parse
BAG = Concentration.parse("200 mg in 50 mL")

# (working, lines). 5 microgram/kg/min for 70 kg of 200 mg in 50 mL is 5.25 mL/h: computed; the
# formulas are common practice, no source, but for the drops, which a drip rate teaching page has.
SHOWN = [
    (rate(parse("100 mL"), parse("45 min")), (
        "rate = volume ÷ hours",
        "45 min = 0.75 h",
        "rate = 100 mL ÷ 0.75 h",
        "rate = about 133.3 mL/h",
    )),
    (drops(parse("0.5 L"), parse("4 h"), parse("20 drops/mL")), (
        "drop rate = volume × drops in 1 mL ÷ minutes",
        "0.5 L = 500 mL",
        "4 h = 240 min",
        "drop rate = 500 mL × 20 drops/mL ÷ 240 min",
        "drop rate = about 41.67 drops/min",
    )),
    (drops_at(parse("75 mL/h"), parse("10 drops/mL")), (
        "drop rate = rate × drops in 1 mL ÷ 60 min in 1 h",
        "drop rate = 75 mL/h × 10 drops/mL ÷ 60",
        "drop rate = 12.5 drops/min",
    )),
    (pump_rate(parse("5 mcg/kg/min"), BAG, parse("70 kg")), (
        "dose rate = dose rate per kg × body weight",
        "dose rate = 5 microgram/kg/min × 70 kg",
        "dose rate = 350 microgram/min",
        "rate = dose in an hour ÷ strength",
        "350 microgram/min = 21 mg/h",
        "rate = 21 mg/h ÷ 4 mg/mL",
        "rate = 5.25 mL/h",
    )),
    (dose_rate_at(parse("5.25 mL/h"), BAG, "ug/kg/min", parse("70 kg")), (
        "dose rate = rate × strength",
        "dose rate = 5.25 mL/h × 4 mg/mL",
        "dose rate = 21 mg/h",
        "dose rate per kg = 21 mg/h ÷ 70 kg = 0.3 mg/h/kg",
        "0.3 mg/h/kg = 5 microgram/kg/min",
        "dose rate = 5 microgram/kg/min",
    )),
    (amount_over(parse("4 mg/h"), parse("30 min")), (
        "amount = dose rate × time",
        "30 min = 0.5 h",
        "amount = 4 mg/h × 0.5 h",
        "amount = 2 mg",
    )),
    (duration(parse("1 L"), parse("80 mL/h")), (
        "time = volume ÷ rate",
        "1 L = 1,000 mL",
        "time = 1,000 mL ÷ 80 mL/h",
        "time = 12.5 h",
        "time = 12 h and 30 min",
    )),
    (volume_left(parse("500 mL"), parse("75 mL/h"), parse("2 h")), (
        "volume = rate × hours",
        "volume = 75 mL/h × 2 h",
        "volume = 150 mL",
        "left = volume − volume that has run",
        "left = 500 mL − 150 mL",
        "left = 350 mL",
    )),
]  # fmt: skip


@pytest.mark.parametrize(("working", "lines"), SHOWN)
def test_the_lines_can_be_followed_on_paper(working: Working, lines: tuple[str, ...]) -> None:
    assert working.lines == lines


def test_a_time_is_told_in_hours_and_minutes() -> None:
    assert duration(parse("240 mL"), parse("80 mL/h")).lines[-1] == "time = 3 h"
    assert duration(parse("20 mL"), parse("80 mL/h")).lines[-1] == "time = 15 min"


def test_what_has_run_through_leaves_nothing() -> None:
    for hours in ("6 h", "7 h"):
        working = volume_left(parse("500 mL"), parse("100 mL/h"), parse(hours))
        assert working.value == of(0, "mL")
        assert working.lines[-1] == "left = nothing: it has run through"
    assert volume_left(parse("500 mL"), parse("100 mL/h"), of(0, "h")).value == parse("500 mL")


# A published example begins at 21:30 with 12.5 h and ends at 10:00 the next day.
ENDS = [
    ("2026-11-25 21:30", "12.5 h", "2026-11-26 10:00"),
    ("2026-11-25 14:00", "5 h", "2026-11-25 19:00"),
    ("2026-11-25 07:30", "400 min", "2026-11-25 14:10"),
    ("2026-11-25 08:00", "90 s", "2026-11-25 08:02"),
]


@pytest.mark.parametrize(("starts", "time", "ends"), ENDS)
def test_an_end_is_told_to_the_minute(starts: str, time: str, ends: str) -> None:
    found = ends_at(datetime.fromisoformat(starts), parse(time))
    assert found == datetime.fromisoformat(ends)


def test_a_rate_is_rounded_half_up_to_a_whole_one() -> None:
    """Nursing course handout, rounding rules: whole mL/h and whole drops; 80.5 goes to 81."""
    exact = rate(parse("161 mL"), parse("2 h"))
    assert rounded(exact, RoundingRule(step=of(1, "mL/h"))).value == of(81, "mL/h")


@pytest.mark.parametrize(
    "act",
    [
        lambda: pump_rate(parse("5 mcg/kg/min"), BAG),  # per kg, and no weight
        lambda: pump_rate(parse("5 mg/h"), BAG, parse("70 kg")),  # a weight that is not asked for
        lambda: dose_rate_at(parse("5 mL/h"), BAG, "ug/kg/min"),
        lambda: dose_rate_at(parse("5 mL/h"), BAG, "mg/h", parse("70 kg")),
        lambda: amount_over(parse("5 mcg/kg/min"), parse("1 h")),
        lambda: amount_over(parse("5 mg"), parse("1 h")),
        lambda: pump_rate(parse("5 units/h"), BAG),
        lambda: pump_rate(parse("5 mg"), BAG),
        lambda: pump_rate_for_each_kg(parse("5 mg/h"), BAG),
        lambda: rate(parse("5 mg"), parse("1 h")),
        lambda: rate(parse("1 h"), parse("5 mL")),
        lambda: drops(parse("5 mL"), parse("1 h"), parse("20 drops")),
        lambda: duration(parse("5 mL"), parse("5 mL")),
        lambda: volume_over(parse("5 mL/h"), parse("5 mL")),
    ],
)
def test_a_rate_of_another_kind_is_refused(act: Any) -> None:
    with pytest.raises((DimensionMismatch, ValueError)) as refused:
        act()
    assert str(refused.value).endswith(".")


ZERO_FLOW, ZERO = of(0, "mL/h"), of(0, "mL")


@pytest.mark.parametrize(
    "act",
    [
        lambda: rate(ZERO, parse("1 h")),
        lambda: rate(parse("1 mL"), of(0, "h")),
        lambda: drops(parse("1 mL"), parse("1 h"), of(0, "{drop}/mL")),
        lambda: drops_at(ZERO_FLOW, parse("20 drops/mL")),
        lambda: pump_rate(of(0, "mg/h"), BAG),
        lambda: pump_rate(parse("1 mcg/kg/min"), BAG, of(0, "kg")),
        lambda: pump_rate_for_each_kg(of(0, "ug/kg/min"), BAG),
        lambda: dose_rate_at(ZERO_FLOW, BAG, "mg/h"),
        lambda: dose_rate_at(parse("1 mL/h"), BAG, "mg/kg/h", of(0, "kg")),
        lambda: amount_over(of(0, "mg/h"), parse("1 h")),
        lambda: amount_over(parse("1 mg/h"), of(0, "h")),
        lambda: duration(ZERO, parse("1 mL/h")),
        lambda: duration(parse("1 mL"), ZERO_FLOW),
        lambda: volume_over(ZERO_FLOW, parse("1 h")),
        lambda: volume_left(ZERO, parse("1 mL/h"), parse("1 h")),
        lambda: ends_at(datetime.fromisoformat("2026-11-25 08:00"), of(0, "h")),
    ],
)
def test_nothing_runs_at_no_rate_and_in_no_time(act: Any) -> None:
    with pytest.raises(DoseFault, match="is more than nothing"):
        act()
