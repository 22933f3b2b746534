"""Sheets of infusions: rates, drops, dose rates both ways, times and what is left."""

from datetime import date, datetime

from checklist.dose import rate
from checklist.dose.figures import usual_set
from checklist.dose.sheets.reading import (
    AMOUNTS,
    TIME,
    VOLUME,
    clock,
    quantity,
    strength,
    unit_code,
)
from checklist.dose.sheets.sheet import Blank, Given, Outcome, Sheet, Shelf
from checklist.dose.working import DoseFault, Working
from checklist.verdict import Source

DRIP = Source(title="IV drip rate teaching page, sets of 15, 20 and 60 drops to the mL")

_RATES = tuple(
    f"{code}/{below}" for code in AMOUNTS for below in ("h", "kg/h")
)  # per minute is alike to per hour

_VOLUME = Blank(
    name="volume", what="the volume", read=quantity(*VOLUME, like="500 mL"), example="500 mL"
)
_TIME = Blank(name="time", what="the time", read=quantity(*TIME, like="4 h"), example="4 h")
_FLOW = Blank(
    name="rate", what="the rate", read=quantity("mL/h", like="125 mL/h"), example="125 mL/h"
)
_STRENGTH = Blank(
    name="strength", what="the amount in the bag or syringe", read=strength,
    example="200 mg in 50 mL",
)  # fmt: skip
_WEIGHT = Blank(
    name="weight", what="the body weight, where the dose is per kg",
    read=quantity("kg", like="70 kg"), example="70 kg", needed=False,
)  # fmt: skip
_DOSE = Blank(
    name="dose", what="the dose in a time, or per kg and time",
    read=quantity(*_RATES, like="5 microgram/kg/min"), example="5 microgram/kg/min",
)  # fmt: skip


def _drops(given: Given, shelf: Shelf) -> Outcome:
    by_volume = {"volume", "time"} <= given.keys()
    if by_volume == ("rate" in given) or (not by_volume and given.keys() & {"volume", "time"}):
        raise DoseFault("State a volume and a time, or a rate: one of the two.")
    size = given["set"]
    working = (
        rate.drops(given["volume"], given["time"], size)
        if by_volume
        else rate.drops_at(given["rate"], size)
    )
    known = usual_set(size, shelf.figures)
    usual = ", ".join(str(row.drops) for row in shelf.figures.drop_sets)
    strange = f"{size} is not one of the usual sets ({usual}). Read it on the pack of the set."
    return Outcome(
        said=str(working.value),
        lines=working.lines,
        working=working,
        cautions=() if known else (strange,),
    )


def _duration(given: Given, shelf: Shelf) -> Working | Outcome:
    working = rate.duration(given["volume"], given["rate"])
    if "start" not in given:
        return working
    # Any day will do: only the time of day and the number of days on are told.
    starts = datetime.combine(date(2000, 1, 1), given["start"])
    ends = rate.ends_at(starts, working.exact)
    days = (ends.date() - starts.date()).days
    later = ("", " the next day")[days] if days < 2 else f" after {days} days"
    said = f"begun {starts:%H:%M}, ends {ends:%H:%M}{later}"
    return Outcome(said=f"{working.value}: {said}", lines=(*working.lines, said), working=working)


SHEETS = (
    Sheet(
        name="rate",
        formula="rate = volume ÷ hours",
        blanks=(_VOLUME, _TIME),
        work=lambda given, shelf: rate.rate(given["volume"], given["time"]),
        example="volume 100 mL time 45 min step 1 mL/h",
        shows="roundings",
    ),
    Sheet(
        name="drops",
        formula="drop rate = volume × drops in 1 mL ÷ minutes, or rate × drops in 1 mL ÷ 60 min in"
        " 1 h",
        blanks=(
            Blank(name="volume", what="the volume", read=_VOLUME.read, example="500 mL",
                  needed=False),
            Blank(name="time", what="the time", read=_TIME.read, example="4 h", needed=False),
            Blank(name="rate", what="or the rate", read=_FLOW.read, example="125 mL/h",
                  needed=False),
            Blank(name="set", what="the drops in 1 mL on the pack of the set",
                  read=quantity("{drop}/mL", like="20 drops/mL"), example="20 drops/mL"),
        ),
        work=_drops,
        example="volume 500 mL time 4 h set 20 drops/mL step 1 drop/min",
        source=DRIP,
        shows="drop_sets",
    ),
    Sheet(
        name="infusion",
        formula="rate = dose rate (per kg × body weight) ÷ strength",
        blanks=(_DOSE, _WEIGHT, _STRENGTH),
        work=lambda given, shelf: rate.pump_rate(
            given["dose"], given["strength"], given.get("weight")
        ),
        example="dose 5 microgram/kg/min weight 70 kg strength 200 mg in 50 mL",
        shows="roundings",
    ),
    Sheet(
        name="doserate",
        formula="dose rate = rate × strength (÷ body weight)",
        blanks=(
            _FLOW, _STRENGTH, _WEIGHT,
            Blank(name="to", what="the unit wanted", read=unit_code,
                  example="microgram/kg/min"),
        ),
        work=lambda given, shelf: rate.dose_rate_at(
            given["rate"], given["strength"], given["to"], given.get("weight")
        ),
        example="rate 5.25 mL/h strength 200 mg in 50 mL weight 70 kg to microgram/kg/min",
    ),
    Sheet(
        name="delivered",
        formula="amount = dose rate (per kg × body weight) × time",
        blanks=(_DOSE, _WEIGHT, _TIME),
        work=lambda given, shelf: rate.amount_over(
            given["dose"], given["time"], given.get("weight")
        ),
        example="dose 5 microgram/kg/min weight 80 kg time 20 min",
    ),
    Sheet(
        name="duration",
        formula="time = volume ÷ rate",
        blanks=(
            _VOLUME, _FLOW,
            Blank(name="start", what="when it begins, for when it ends", read=clock,
                  example="21:30", needed=False),
        ),
        work=_duration,
        example="volume 1000 mL rate 80 mL/h start 21:30",
        rounds=False,
    ),
    Sheet(
        name="left",
        formula="left = volume − rate × hours",
        blanks=(_VOLUME, _FLOW, _TIME),
        work=lambda given, shelf: rate.volume_left(given["volume"], given["rate"], given["time"]),
        example="volume 500 mL rate 75 mL/h time 2 h",
        rounds=False,
    ),
)  # fmt: skip
