"""Sheets of doses, volumes and weights: the sums that are done for nearly every injection."""

from checklist.dose.conversion import convert
from checklist.dose.figures import usual
from checklist.dose.limit import Range, capped, judged
from checklist.dose.rounding import RoundingRule, rounded
from checklist.dose.sheets.reading import (
    AMOUNTS,
    VOLUME,
    WEIGHT,
    choice,
    factor,
    per,
    quantity,
    strength,
    times_a_day,
    unit_code,
)
from checklist.dose.sheets.sheet import Blank, Given, Outcome, Sheet, Shelf
from checklist.dose.surface import Formula, surface, surface_dose
from checklist.dose.volume import amount_in, volume_for
from checklist.dose.weight import single_dose, weight_dose
from checklist.dose.working import DoseFault, Working, after
from checklist.quantity import Quantity
from checklist.syringe import Fit, Kind, ranked
from checklist.verdict import Source

SURFACES = Source(
    title="Mosteller RD, N Engl J Med 1987;317(17):1098; Du Bois D, Du Bois EF, Arch Intern Med "
    "1916;17:863-871",
    status="from memory",
)

_DOSE = Blank(
    name="dose", what="the ordered dose", read=quantity(*AMOUNTS, like="60 mg"), example="60 mg"
)
_STRENGTH = Blank(
    name="strength", what="the amount in a volume on the label", read=strength,
    example="80 mg in 2 mL",
)  # fmt: skip
_FACTOR = Blank(
    name="factor", what="pounds to the kilogram, for a weight in pounds", read=factor,
    example="2.2 pounds/kg", needed=False,
)  # fmt: skip
_WEIGHT = Blank(
    name="weight", what="the body weight", read=quantity(*WEIGHT, like="70 kg"), example="70 kg"
)
_TIMES = Blank(
    name="times", what="how many doses in a day", read=times_a_day, example="3", needed=False
)
_SYRINGE = Blank(
    name="syringe", what="the size of the syringe, whose lines it is rounded to",
    read=quantity(*VOLUME, like="3 mL"), example="3 mL", needed=False,
)  # fmt: skip


def _volume(given: Given, shelf: Shelf) -> Working | Outcome:
    working = volume_for(given["dose"], given["strength"])
    if "syringe" not in given:
        return working
    if "step" in given or "how" in given:
        raise DoseFault("State a syringe or a step, not both: the syringe has its own lines.")
    table, wanted = shelf.limits.syringes, given["syringe"]
    size = next((one for one in table.sizes_of(Kind.LUER_LOCK) if one.nominal == wanted), None)
    if size is None:
        known = ", ".join(str(one.nominal) for one in table.sizes_of(Kind.LUER_LOCK))
        raise DoseFault(f"There is no {wanted} syringe on the list. Write one of: {known}.")
    done = rounded(working, RoundingRule(step=size.line))
    (choice_,) = ranked(done.value, (size,), table)
    return Outcome(
        said=str(done.value),
        lines=(*done.lines, f"set {done.value} in a {wanted} syringe"),
        working=done,
        stands=choice_.verdict is not Fit.REJECTED,
        cautions=choice_.reasons,
    )


def _by_weight(given: Given, shelf: Shelf) -> Working:
    working = weight_dose(given["dose"], given["weight"], given.get("factor"))
    if "times" in given:
        working = after(working, single_dose(working.exact, given["times"]))
    if "strength" in given:
        working = after(working, volume_for(working.exact, given["strength"]))
    return working


def _surface(given: Given, shelf: Shelf) -> Working:
    area = surface(
        given["height"], given["weight"],
        by=Formula(given.get("by", Formula.MOSTELLER)), factor=given.get("factor"),
    )  # fmt: skip
    return surface_dose(given["dose"], area) if "dose" in given else area


def _limit(given: Given, shelf: Shelf) -> Outcome:
    limits = Range(
        usual_low=given.get("low"), usual_high=given.get("high"),
        single=given.get("most"), daily=given.get("daily"),
    )  # fmt: skip
    found = judged(given["dose"], limits, times=given.get("times"), weight=given.get("weight"))
    return Outcome(
        said=f"{given['dose']} is {found.level}",
        lines=found.lines,
        stands=not found.refused,
        cautions=() if found.level.usual or found.refused else (f"It is {found.level}.",),
        not_compared=found.not_compared,
    )


def _rounding(given: Given, shelf: Shelf) -> Working | Outcome:
    value: Quantity = given["value"]
    plain = Working(value=value, exact=value, lines=())
    if ("use" in given) == ("step" in given):
        raise DoseFault("State one of the two: a step like 0.1 mL, or a use like injection.")
    if "use" not in given:
        return plain
    row = usual(given["use"], value, shelf.figures)
    if row is None:
        raise DoseFault(f"There is no usual step of {given['use']} for {value}. State the step.")
    done = rounded(plain, RoundingRule(step=row.step, how=given.get("how", row.how)))
    return Outcome(said=str(done.value), lines=done.lines, working=done)


def _limit_blank(name: str, what: str, example: str, time: str = "") -> Blank:
    codes = (f"{code}{kg}{time}" for code in AMOUNTS for kg in ("", "/kg"))
    reader = quantity(*codes, like=example)
    return Blank(name=name, what=what, read=reader, example=example, needed=False)


USES = ("injection", "oral liquid", "pump", "drops", "body weight", "insulin", "child injection")
_RATES = ("mL", "mL/h", "{drop}/min", "kg", *AMOUNTS)

SHEETS = (
    Sheet(
        name="volume",
        formula="volume = dose ÷ amount on the label × volume on the label",
        blanks=(_DOSE, _STRENGTH, _SYRINGE),
        work=_volume,
        example="dose 60 mg strength 80 mg in 2 mL syringe 3 mL",
    ),
    Sheet(
        name="amount",
        formula="amount = volume ÷ volume on the label × amount on the label",
        blanks=(
            Blank(
                name="volume", what="the volume", read=quantity(*VOLUME, like="2 mL"),
                example="2 mL",
            ),
            _STRENGTH,
        ),
        work=lambda given, shelf: amount_in(given["volume"], given["strength"]),
        example="volume 0.75 mL strength 20 mg in 2 mL",
    ),
    Sheet(
        name="weight",
        formula="dose = dose per kg × body weight; ÷ doses in a day; ÷ strength",
        blanks=(
            Blank(
                name="dose", what="the dose per kg, or per kg and day",
                read=quantity(
                    *(f"{code}/{below}" for code in AMOUNTS for below in ("kg", "kg/d", "[lb_av]")),
                    like="20 mg/kg/day",
                ),
                example="20 mg/kg/day",
            ),
            _WEIGHT, _FACTOR, _TIMES,
            Blank(
                name="strength", what="the label's strength, for the volume of the dose",
                read=strength, example="250 mg in 5 mL", needed=False,
            ),
        ),
        work=_by_weight,
        example="dose 20 mg/kg/day weight 27 kg times 3 strength 250 mg in 5 mL",
        shows="factors",
    ),
    Sheet(
        name="single",
        formula="one dose = daily amount ÷ doses in a day",
        blanks=(
            Blank(
                name="daily", what="the amount in a day", read=per("d", like="1.4 g/day"),
                example="1.4 g/day",
            ),
            Blank(
                name="times", what="how many doses in a day", read=times_a_day, example="4"
            ),
        ),
        work=lambda given, shelf: single_dose(given["daily"], given["times"]),
        example="daily 1.4 g/day times 4",
    ),
    Sheet(
        name="surface",
        formula="mosteller: square root of (height in cm × weight in kg ÷ 3,600); du bois: 0.007184"
        " × weight in kg to the power 0.425 × height in cm to the power 0.725",
        blanks=(
            Blank(
                name="height", what="the height", read=quantity("cm", like="160 cm"),
                example="160 cm",
            ),
            _WEIGHT, _FACTOR,
            Blank(
                name="by", what="the formula: mosteller or du bois", read=choice(*Formula),
                example="du bois", needed=False,
            ),
            Blank(
                name="dose", what="the dose for each m2", read=per("m2", like="75 mg/m2"),
                example="75 mg/m2", needed=False,
            ),
        ),
        work=_surface,
        example="height 160 cm weight 60 kg dose 75 mg/m2 step 1 mg",
        source=SURFACES,
        shows="factors",
    ),
    Sheet(
        name="cap",
        formula="dose = the lower of the dose and the highest dose",
        blanks=(
            _DOSE,
            Blank(
                name="most", what="the highest dose", read=quantity(*AMOUNTS, like="400 mg"),
                example="400 mg",
            ),
        ),
        work=lambda given, shelf: capped(given["dose"], given["most"]),
        example="dose 480 mg most 400 mg",
    ),
    Sheet(
        name="limit",
        formula="dose at most the highest single dose; dose × doses in a day at most the most in a"
        " day; dose within the usual range",
        blanks=(
            _DOSE,
            _limit_blank("low", "the usual least, or per kg", "5 mg/kg"),
            _limit_blank("high", "the usual most, or per kg", "10 mg/kg"),
            _limit_blank("most", "the highest single dose, or per kg", "400 mg"),
            _limit_blank("daily", "the most in a day, or per kg", "1200 mg/day", "/d"),
            _TIMES,
            Blank(
                name="weight", what="the body weight, where a figure is per kg",
                read=quantity("kg", like="27 kg"), example="27 kg", needed=False,
            ),
        ),
        work=_limit,
        example="dose 400 mg high 15 mg/kg most 500 mg daily 1200 mg/day times 3 weight 27 kg",
        rounds=False,
    ),
    Sheet(
        name="convert",
        formula="the same quantity × or ÷ how many of one unit make the other",
        blanks=(
            Blank(name="value", what="the quantity", read=Quantity.parse, example="154 pounds"),
            Blank(name="to", what="the unit wanted", read=unit_code, example="kg"),
            Blank(
                name="factor", what="the stated factor, from pounds, spoons or units",
                read=factor, example="2.2 pounds/kg", needed=False,
            ),
        ),
        work=lambda given, shelf: convert(given["value"], given["to"], given.get("factor")),
        example="value 154 pounds to kg factor 2.2 pounds/kg",
        shows="factors",
    ),
    Sheet(
        name="rounding",
        formula="rounded = the whole number of steps nearest to the value, a half going up",
        blanks=(
            Blank(
                name="value", what="the value", read=quantity(*_RATES, like="2.25 mL"),
                example="2.25 mL",
            ),
            Blank(
                name="use", what=f"what it is for: {', '.join(USES)}", read=choice(*USES),
                example="injection", needed=False,
            ),
        ),
        work=_rounding,
        example="value 2.25 mL use injection",
        source=Source(
            title="Nursing course handout: rounding rules for drug calculations for adults"
        ),
        shows="roundings",
    ),
)  # fmt: skip
