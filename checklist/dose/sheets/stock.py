"""Sheets of the shelf and the tray: containers, waste, controlled drugs, dates, equipment."""

from fractions import Fraction

from checklist.dose import containers
from checklist.dose.discard import DAYS, Counting, discard_by
from checklist.dose.equipment import ROUTES, Equipment, Row, Wanted, equipment
from checklist.dose.sheets.reading import (
    AMOUNTS,
    VOLUME,
    age,
    choice,
    day,
    quantity,
    strength,
    whole,
)
from checklist.dose.sheets.sheet import Blank, Given, Outcome, Reader, Sheet, Shelf
from checklist.dose.split import split
from checklist.needle import SEXES
from checklist.number import shown
from checklist.site import Level
from checklist.syringe import Fit
from checklist.timing import said_date
from checklist.verdict import Source

USE = Source(
    title="USP <797> (2008) as restated in California Code of Regulations, title 16, section "
    "1751.9; no source says which number the day of opening has"
)
SYRINGES = Source(
    title="ISO 7886-1 as restated by P. Phillips (2016); hospital pharmacy training note (February "
    "2024); each row of workflows/limits names its own"
)
COUNTS = {"0": Counting.FROM_ZERO, "1": Counting.FROM_ONE}


def _blank(
    name: str, what: str, example: str, read: Reader | None = None, *, needed: bool = True
) -> Blank:
    """A blank; without a reader of its own, of an amount or a volume."""
    reader = read or quantity(*AMOUNTS, *VOLUME, like=example)
    return Blank(name=name, what=what, read=reader, example=example, needed=needed)


def _volume(example: str) -> Reader:
    return quantity(*VOLUME, like=example)


def _balance(given: Given, shelf: Shelf) -> Outcome:
    working = containers.unaccounted(given["opened"], given["given"], given["wasted"])
    adds_up = working.value.magnitude == 0
    said = "all is accounted for" if adds_up else f"{working.value} is not accounted for"
    return Outcome(said=said, lines=working.lines, working=working, stands=adds_up)


def _discard(given: Given, shelf: Shelf) -> Outcome:
    counting = COUNTS[given.get("opening", "0")]
    found = discard_by(
        given["opened"], days=given.get("days", DAYS), counting=counting,
        expiry=given.get("expiry"),
    )  # fmt: skip
    return Outcome(said=said_date(found.last_day), lines=found.lines)


def _split(given: Given, shelf: Shelf) -> Outcome:
    found = split(given["volume"], given["most"], given["line"])
    return Outcome(said=" plus ".join(str(part) for part in found.parts), lines=found.lines)


def _equipment(given: Given, shelf: Shelf) -> Outcome:
    wanted = Wanted(
        volume=given["volume"], route=given["route"], insulin=given.get("insulin") == "yes",
        strength=given.get("strength"), site=given.get("site", ""), age=given.get("age"),
        weight=given.get("weight"), sex=given.get("sex", ""),
        viscous=given.get("viscous") == "yes",
    )  # fmt: skip
    found = equipment(wanted, shelf.limits)
    best, lines = found.best, [*found.lines, *_needle(found)]
    cautions = list(best.reasons) if best is not None else []
    if found.level is Level.ABOVE_USUAL:
        cautions.append("The volume is more than usual for one site.")
    if found.limit is not None and found.limit.avoid:
        cautions.append(f"This site is better avoided: {found.limit.avoid}.")
    heading = ("syringe", "line", "set", "may be out by", "rounding", "verdict", "why")
    return Outcome(
        said=found.lines[0],
        lines=tuple(lines),
        stands=best is not None and found.level is not Level.ABOVE_LIMIT,
        cautions=tuple(cautions),
        not_compared=found.not_compared,
        table=(heading, *_ranking(found.rows)),
    )


def _needle(found: Equipment) -> list[str]:
    advice = found.needle
    if advice is None:
        return []
    if not advice.kinds:
        return ["no needle: connect the syringe without one"]
    parts = [" or ".join(advice.kinds)]
    if advice.gauges is not None:
        thick, thin = advice.gauges
        parts.append(f"{thick} G" if thick == thin else f"{thick} to {thin} G")
    if advice.lengths is not None:
        short, long = advice.lengths
        parts.append(str(short) if short == long else f"{short} to {long}")
    return [f"needle: {', '.join(parts)}{f' ({advice.note})' if advice.note else ''}"]


def _ranking(rows: tuple[Row, ...]) -> list[tuple[str, ...]]:
    """The ranking in cells; kinds of one size that fare alike stand in one row."""
    kinds: dict[tuple[str, ...], list[str]] = {}
    for row in rows:
        kinds.setdefault(_cells(row), []).append(row.choice.kind.value)
    return [(f"{cells[0]} {' or '.join(found)}", *cells[1:]) for cells, found in kinds.items()]


def _cells(row: Row) -> tuple[str, ...]:
    """One row of the ranking, without its kind."""
    found = row.choice
    kept = row.verdict is not Fit.REJECTED
    return (
        str(found.size),
        str(found.graduation),
        str(row.to_set) if row.to_set is not None else "",
        str(found.tolerance) if kept and found.tolerance is not None else "",
        _percent(row.change) if kept else "",
        str(row.verdict),
        " ".join(row.reasons).replace(f" {found.kind} syringe", " syringe"),
    )


def _percent(share: Fraction) -> str:
    return f"{shown(share * 100)} %"


_YES = choice("yes", "no")

SHEETS = (
    Sheet(
        name="containers",
        formula="containers = needed ÷ content of one, up to a whole one",
        blanks=(
            _blank("needed", "the amount or volume that is needed", "150 mg"),
            _blank("content", "what one container holds by its label", "60 mg"),
        ),
        work=lambda given, shelf: containers.containers(given["needed"], given["content"]),
        example="needed 150 mg content 60 mg",
        rounds=False,
    ),
    Sheet(
        name="waste",
        formula="to discard = opened − prepared",
        blanks=(
            _blank("opened", "what the opened containers hold by their label", "10 mg"),
            _blank("prepared", "what was prepared", "7.5 mg"),
        ),
        work=lambda given, shelf: containers.waste(given["opened"], given["prepared"]),
        example="opened 10 mg prepared 7.5 mg",
        rounds=False,
    ),
    Sheet(
        name="balance",
        formula="not accounted for = opened − given − wasted",
        blanks=(
            _blank("opened", "what the opened containers hold by their label", "10 mg"),
            _blank("given", "what was given", "7.5 mg"),
            _blank("wasted", "what was wasted before a witness", "2.5 mg"),
        ),
        work=_balance,
        example="opened 10 mg given 7.5 mg wasted 2.5 mg",
        rounds=False,
    ),
    Sheet(
        name="register",
        formula="in stock = before − taken plus received",
        blanks=(
            _blank("before", "the count before", "12", whole()),
            _blank("taken", "how many were taken", "1", whole()),
            _blank("received", "how many came in", "10", whole(), needed=False),
        ),
        work=lambda given, shelf: containers.register_after(
            given["before"], given["taken"], given.get("received", 0)
        ),
        example="before 12 taken 1",
        rounds=False,
    ),
    Sheet(
        name="discard",
        formula="last day of use = day of opening plus days, never after the printed expiry",
        blanks=(
            _blank("opened", "the day of opening", "10 Feb 2026", day),
            _blank("days", "the maker's own number of days, else 28", "28", whole(1),
                   needed=False),
            _blank("opening", "the number of the day of opening: 0 or 1, else 0", "1",
                   choice(*COUNTS), needed=False),
            _blank("expiry", "the printed expiry", "31 Aug 2027", day, needed=False),
        ),
        work=_discard,
        example="opened 10 Feb 2026 expiry 31 Aug 2027",
        source=USE,
        rounds=False,
    ),
    Sheet(
        name="split",
        formula="parts = volume ÷ most for one, up to a whole one; each on a line of the syringe",
        blanks=(
            _blank("volume", "the volume", "7 mL", _volume("7 mL")),
            _blank("most", "the most for one site", "3 mL", _volume("3 mL")),
            _blank("line", "the step between two lines of the syringe", "0.1 mL",
                   _volume("0.1 mL")),
        ),
        work=_split,
        example="volume 7 mL most 3 mL line 0.1 mL",
        rounds=False,
    ),
    Sheet(
        name="equipment",
        formula="a syringe holds the volume, is 20 to 80 % full, holds at most three times the"
        " volume, and has lines fine enough for it",
        blanks=(
            _blank("volume", "the volume", "1.5 mL", _volume("1.5 mL")),
            _blank("route", f"the route: {', '.join(ROUTES)}", "IM", choice(*ROUTES)),
            _blank("site", "the site of injection", "left deltoid", str, needed=False),
            _blank("age", "the age", "40 years", age, needed=False),
            _blank("weight", "the body weight", "70 kg", quantity("kg", like="70 kg"),
                   needed=False),
            _blank("sex", "female or male", "female", choice(*SEXES), needed=False),
            _blank("viscous", "yes for an oily or thick liquid", "yes", _YES, needed=False),
            _blank("insulin", "yes for an insulin scale", "yes", _YES, needed=False),
            _blank("strength", "the strength, for an insulin scale", "100 units/mL", strength,
                   needed=False),
        ),
        work=_equipment,
        example="volume 1.5 mL route IM site left deltoid age 40 years weight 70 kg sex female",
        source=SYRINGES,
        rounds=False,
    ),
)  # fmt: skip
