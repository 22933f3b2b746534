r"""unit.toml: a ward's own settings, each by the name that the engine gives it.

    code = "W7E"                                # needed, as is name
    name = "Ward 7 East"
    hospital = "Larkmoor General"
    timezone = "Europe/London"                  # a name of the IANA time zone database
    areas = ["clean utility room"]
    stations = ["W7E-1"]                        # places where a preparation may be made

    record_number = "[0-9]{8}"                  # Python patterns for a whole text; no group in
    location = "(?i)(room|bed)\\b.*"            # brackets may be repeated
    wristband = "LG[0-9]{7}"                    # what the hospital's own wristband carries, where
                                                # that is no GSRN and not the record number

    sign_in_with = "code and pin"               # or "code only", which proves nobody's identity
    pin_tries = 5                               # wrong PINs on end that shut a person out
    pin_lock = "15 min"                         # for how long
    pin_shortest = 6                            # characters in a PIN
    idle_lock = "10 min"                        # after which a tablet left alone is locked
    second_person_cautions = ["dose_outside_range"]
    pharmacist_review_expected = true
    weight_max_age = "7 days"                   # limits, only as tight as shipped or tighter: also
                                                # record_late_after, window_time_critical,
                                                # window_frequent, window_daily
    smallest_volume = "0.1 mL"
    liquid_loss = "1 mL"                        # of a controlled liquid, missing from its bottle
    many_containers = 3
    keep_years = 6                              # for which a closed trail is kept; or longer
    packages_most = 3                           # sterile packages put together on the ward
    rounding_warn = "5 %"                       # of the dose; not above rounding_limit
    rounding_limit = "10 %"

    recalled = ["09520007300114/LM2291"]        # product code, stroke, lot with its capitals

    [register]                                  # containers in stock, by product code
    09520007300114 = 12

    [liquids]                                   # what is left in the open bottle, by product code
    09520007304167 = "180 mL"

    [raised]                                    # reason code to a higher tier than the trade's
    outside_time_window = "hard"

    [settings]                                  # where sources disagree, see settings.toml
    giver_must_be_preparer = "strict"
    double_check_scope = ["high_alert", "controlled"]

    [numbers.pzn]                               # a national product number; see intake/codes.py
    pattern = "-?([0-9]{8})"
    check = "mod 11"                            # may be left out

    [labels]                                    # all may be left out
    syringe = "60 x 30 mm"                      # also bag, vial, enteral: the face of each label
    symbol = "datamatrix"                       # or "qr"
    flag_up_to = "3 mL"                         # syringes up to this size get a flag
    strip = "8 mm"                              # its blank strip, for the back of the barrel
    class_colours = true                        # background colours of anaesthesia labels

What is left out keeps the engine's own setting. Amounts and percentages stand in quotes.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable, Mapping
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any
from zoneinfo import ZoneInfo, available_timezones

from pydantic import Field

from checklist.intake.fault import Findings, NotAsWritten, Record, nearest, said_place, shown
from checklist.intake.label_stock import Labels, stock_of
from checklist.intake.page import MAX_TOML, page, toml
from checklist.number import number, quoted
from checklist.quantity import Quantity
from checklist.setting import Settings, unfit
from checklist.unit import NDC, CheckFigure, NumberForm, SignIn, Unit
from checklist.verdict import Tier

MAX_PATTERN = 200
"""Characters in a pattern; it is tried on a few dozen characters of text."""
MAX_OPEN, MAX_OPTIONAL = 3, 4
"""Most parts of a pattern that may have any of several lengths, and most that may be left out."""

SHORTEST_IDLE = Quantity.of("1", "min")
"""What a tablet is left alone for at least: the warning before the lock stands for half of it."""

Line = Annotated[str, Field(min_length=1, max_length=80)]
Lines = list[Line]

_TIMES = (
    "weight_max_age", "record_late_after",
    "window_time_critical", "window_frequent", "window_daily", "pin_lock",
    "idle_lock",
)  # fmt: skip
_SHARES = ("rounding_warn", "rounding_limit")


class _Number(Record):
    pattern: Annotated[str, Field(min_length=1, max_length=MAX_PATTERN)]
    check: Line | None = None


class _Unit(Record):
    code: Line
    name: Line
    hospital: Line | None = None
    timezone: Line | None = None
    areas: Lines | None = None
    stations: Lines | None = None
    record_number: Annotated[str, Field(min_length=1, max_length=MAX_PATTERN)] | None = None
    location: Annotated[str, Field(min_length=1, max_length=MAX_PATTERN)] | None = None
    wristband: Annotated[str, Field(min_length=1, max_length=MAX_PATTERN)] | None = None
    numbers: dict[str, _Number] | None = Field(default=None, max_length=20)
    sign_in_with: Line | None = None
    pin_tries: Annotated[int, Field(ge=1, le=100)] | None = None
    pin_lock: Line | None = None
    pin_shortest: Annotated[int, Field(ge=1, le=64)] | None = None
    idle_lock: Line | None = None
    pharmacist_review_expected: bool | None = None
    weight_max_age: Line | None = None
    record_late_after: Line | None = None
    window_time_critical: Line | None = None
    window_frequent: Line | None = None
    window_daily: Line | None = None
    many_containers: Annotated[int, Field(ge=2, le=20)] | None = None
    keep_years: Annotated[int, Field(ge=1, le=200)] | None = None
    packages_most: Annotated[int, Field(ge=2, le=20)] | None = None
    rounding_warn: Line | None = None
    rounding_limit: Line | None = None
    smallest_volume: Line | None = None
    second_person_cautions: Lines | None = None
    recalled: Lines | None = None
    register_: dict[str, Annotated[int, Field(ge=0, le=100_000)]] | None = Field(
        default=None, alias="register"
    )
    liquids: dict[str, Line] | None = None
    liquid_loss: Line | None = None
    raised: dict[str, Line] | None = None
    settings: dict[str, Any] | None = None
    labels: Labels | None = None


def unit_of(
    path: Path, findings: Findings, trade: Mapping[str, Tier], known: Settings
) -> Unit | None:
    """The ward's settings; None, with faults, when anything in the file is amiss.

    `trade` maps each reason code to the tier that the trade sets for it; `known` says what a unit
    may set, and which way a limit is tighter.
    """
    found = page(path, findings, longest=MAX_TOML)
    tables = toml(found.text, findings) if found else None
    one = findings.check(_Unit, tables, said_place("")) if tables is not None else None
    if found is None or one is None:
        return None
    given = {name.rstrip("_"): value for name, value in one if value is not None}
    labels = given.pop("labels", None)
    kept = {name: _setting(name, value, findings) for name, value in given.items()}
    usual = Unit(code=one.code, name=one.name)
    warn, limit = (kept.get(name, getattr(usual, name)) for name in _SHARES)
    if isinstance(warn, Fraction) and isinstance(limit, Fraction) and not warn <= limit:
        findings.add("rounding_warn", "It is above rounding_limit. Bring it down to that or below.")
    idle = kept.get("idle_lock", usual.idle_lock)
    if idle is not None and idle < SHORTEST_IDLE:
        findings.add("idle_lock", f"Nobody can work so. Give {SHORTEST_IDLE} at least.")
    _tighter(kept, usual, known, findings)
    _raised(given.get("raised", {}), findings, trade)
    chosen = _chosen(given.get("settings", {}), known, findings)
    for code in given.get("second_person_cautions", []):
        findings.listed("second_person_cautions", code, trade)
    if labels is not None:
        kept["stock"] = stock_of(labels, findings)
    if findings.faults:
        return None
    kept["settings"] = MappingProxyType(dict(known.in_force(chosen)))
    return Unit(**kept, eased=known.eased(chosen), text=found.text, digest=found.digest)


def _setting(name: str, value: Any, findings: Findings) -> Any:
    """One setting in the engine's own type; None, with a fault, when it cannot be read."""
    if name in _TIMES:
        return findings.read(name, _amount_like("h", "30 min"), value)
    if name in ("smallest_volume", "liquid_loss"):
        return findings.read(name, _amount_like("mL", "0.1 mL"), value)
    if name in _SHARES:
        return findings.read(name, _share, value)
    if name == "timezone":
        return findings.read(name, _zone, value)
    if name in ("record_number", "location", "wristband"):
        return findings.read(name, _pattern, value)
    if isinstance(value, list):
        _list(name, value, findings)
        return frozenset(value) if name == "recalled" else tuple(value)
    if name == "sign_in_with":
        known = [one.value for one in SignIn]
        return SignIn(value) if findings.listed(name, value, known) else None
    if name == "raised":
        return MappingProxyType({code: Tier(t) for code, t in value.items() if t in set(Tier)})
    if name == "numbers":
        return MappingProxyType({n: _number(n, form, findings) for n, form in value.items()})
    if name == "liquids":
        levels = {c: findings.read(f"liquids, {c}", _level, t) for c, t in value.items()}
        return MappingProxyType(levels)
    return MappingProxyType(dict(value)) if name == "register" else value


def _number(name: str, given: _Number, findings: Findings) -> NumberForm | None:
    """A national product number; None, with faults, when it cannot be read."""
    place = f"numbers, {name}"
    if not re.fullmatch(r"[a-z][a-z0-9_]{1,15}", name) or name == NDC:
        findings.add(
            place, f"{quoted(name)} cannot be its name. Write small letters, and not {NDC}."
        )
    pattern = findings.read(place, _pattern, given.pattern)
    check = None
    if given.check is not None and findings.listed(place, given.check, list(CheckFigure)):
        check = CheckFigure(given.check)
    if pattern is None:
        return None
    if re.compile(pattern).groups > 1:
        findings.add(place, "It has several groups in brackets. One holds the number itself.")
        return None
    if re.fullmatch(pattern, "09520007300114"):
        findings.add(place, "It fits an item number of 14 figures (GTIN). Make it narrower.")
    return NumberForm(pattern=pattern, check=check)


def _list(name: str, value: list[str], findings: Findings) -> None:
    """Faults of a list: an item twice, an item not known, a recalled lot without its product."""
    for word in sorted({word for word in value if value.count(word) > 1}):
        findings.add(name, f"{quoted(word)} stands twice. Keep one.")
    if name == "recalled":
        for word in value:
            code, stroke, lot = word.partition("/")
            if not (code and stroke and lot) or word != word.strip():
                findings.add(name, f'{quoted(word)} does not name a lot. Write "product code/lot".')


def _raised(given: Mapping[str, str], findings: Findings, trade: Mapping[str, Tier]) -> None:
    """Faults of the tiers: a code that nobody gives, a word that is no tier, a tier lowered."""
    for code, word in given.items():
        place = f"raised, {code}"
        if code not in trade:
            findings.add(place, f"No check gives this code. {nearest(code, trade)}")
        elif findings.listed(place, word, list(Tier)) and Tier(word).rank < trade[code].rank:
            findings.add(
                place,
                f"The trade sets {trade[code].value} for this code, and a unit may only raise it."
                " Take the line out.",
            )


def _tighter(kept: Mapping[str, Any], usual: Unit, known: Settings, findings: Findings) -> None:
    """Faults of limits that are looser than the shipped ones."""
    for name, bound in known.bounds.items():
        value, shipped = kept.get(name), getattr(usual, name)
        if value is None:
            continue
        within = value <= shipped if bound.tighter == "lower" else value >= shipped
        if not within:
            findings.add(
                name,
                f"The shipped limit is {bound.default}, and a unit may only set a {bound.tighter}"
                " one. Take the line out, or tighten it.",
            )


def _chosen(
    given: Mapping[str, Any], known: Settings, findings: Findings
) -> Mapping[str, str | int | tuple[str, ...]]:
    """The choices of the unit, those that are allowed; faults for the others."""
    chosen = {}
    for key, raw in given.items():
        place = f"settings, {key}"
        if key not in known.choices:
            findings.add(place, f"This key is not known here. {nearest(key, known.choices)}")
            continue
        value = tuple(raw) if isinstance(raw, list) else raw
        one = known.choices[key]
        if unfit(one, value):
            findings.add(place, f"{shown(raw)} is not allowed here. Write {one.allowed()}.")
        elif isinstance(value, tuple) and len(set(value)) < len(value):
            findings.add(place, "A word stands twice. Keep one.")
        else:
            chosen[key] = value
    return chosen


def _amount_like(unit: str, example: str) -> Callable[[str], Quantity]:
    """A reader of amounts above zero of the same kind as `unit`."""

    def reader(text: str) -> Quantity:
        read = Quantity.parse(text)
        if not read.alike(Quantity.of(1, unit)) or not read.magnitude > 0:
            raise NotAsWritten(f'{quoted(text)} does not fit here. Write it like "{example}".')
        return read

    return reader


_level = _amount_like("mL", "180 mL")


def _share(text: str) -> Fraction:
    """A percentage of the dose as a share of one."""
    figure, sign, rest = text.partition(" %")
    if not sign or rest:
        raise NotAsWritten(f'{quoted(text)} is not a percentage. Write it like "5 %".')
    share = number(figure) / 100
    if not 0 < share <= Fraction(1, 4):
        raise NotAsWritten(f"{quoted(text)} is not above 0 % and at most 25 %. Look at it again.")
    return share


def _zone(text: str) -> str:
    if text not in available_timezones():
        near = nearest(text, available_timezones())
        raise NotAsWritten(f"{quoted(text)} is not a time zone of the IANA list. {near}")
    return ZoneInfo(text).key


def _pattern(text: str) -> str:
    """A pattern that is safe to try on what people type.

    A repeated group can take minutes over a few dozen characters, so none is allowed, and few
    parts of a length of their own, whose lengths are tried against each other; neither is a
    pattern that would take nothing, or a plain name, for what it is meant to tell apart.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            form = re.compile(text)
    except (re.error, Warning, OverflowError, RecursionError) as trouble:
        raise NotAsWritten(f"{quoted(text)} is not a pattern: {trouble}. Correct it.") from None
    bare = _without_classes(text)
    if re.search(r"\)[*+{]", bare):
        raise NotAsWritten(f"{quoted(text)} repeats a group in brackets. Write it without that.")
    open_, optional = len(re.findall(r"[*+]|\{[0-9]*,", bare)), len(re.findall(r"[^(*+}]\?", bare))
    if not (open_ <= MAX_OPEN and optional <= MAX_OPTIONAL):
        raise NotAsWritten(
            f"{quoted(text)} has {open_} parts with * or + or a length from-to, and {optional} with"
            f" a question mark; at most {MAX_OPEN} and {MAX_OPTIONAL} can be tried quickly. Make it"
            " plainer."
        )
    if form.fullmatch("") or form.fullmatch("Ada Reen"):
        raise NotAsWritten(f"{quoted(text)} fits a name or nothing at all. Make it narrower.")
    return text


def _without_classes(text: str) -> str:
    """The pattern with an x in place of each escape and each class in square brackets."""
    return re.sub(r"\[\^?\]?[^\]]*\]", "x", re.sub(r"\\.", "x", text))
