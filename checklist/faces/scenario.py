"""The scenario of a demonstration ward: its clock, the codes to scan there, and a script to play.

scenario.toml holds `start` (the hour at which practice begins, with Z), `station`, `preparer`,
`order`, tables of codes (`label`, `band`, `badge`), a table `pin` of PINs that are for practice
alone and no secret, and one `[[move]]` for each act of the script:

    [[move]]
    step = "fit_the_filter"      # where the preparation must stand
    after = 15                   # seconds since the move before
    by = "RN-12"                 # left out: the preparer
    tell = "..."                 # a line for the onlooker
    seen = { filter_kind = "none" }         # or: remedy = "replace_item"
                                            # or: reason = "looked_again", note = "..."
    expect = "refused"           # passed, caution, refused or closed
    codes = ["filter_missing"]   # the reasons that must be given, no more and no fewer

An answer that begins with @ is looked up in the tables of codes: "@label.morphine". Lines to look
at that a move does not name are answered y.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from checklist.faces.leaving import CannotGoOn
from checklist.toml_file import NotToml, tables

FILE = "scenario.toml"
EXPECTED = ("passed", "caution", "refused", "closed")
_ACTS = ("seen", "remedy", "reason")
_KEYS = ("step", "after", "by", "tell", "note", "expect", "codes", *_ACTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One act of the script and what must come of it. `after` is in seconds."""

    step: str
    after: int
    by: str
    tell: str = ""
    seen: Mapping[str, str] = field(default_factory=dict)
    remedy: str = ""
    reason: str = ""
    note: str = ""
    expect: str
    codes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """What a demonstration ward needs beside its files."""

    start: datetime
    station: str
    preparer: str
    order: str
    moves: tuple[Move, ...]
    pins: Mapping[str, str] = field(default_factory=dict)


def read_scenario(folder: Path) -> Scenario:
    """The scenario of a ward's folder. Raises CannotGoOn with its first fault."""
    path = folder / FILE
    try:
        data = tables(path)
    except FileNotFoundError as fault:
        raise CannotGoOn(
            f"There is no {FILE} in {folder}, so there is no hour at which practice begins."
            " Leave --practice out, or practise on the demonstration ward."
        ) from fault
    except NotToml as fault:
        raise CannotGoOn(f"{path} cannot be read: {fault}. Put it right first.") from fault
    start, preparer = _start(_text(data, "start", FILE)), _text(data, "preparer", FILE)
    moves, pins = data.get("move", []), data.get("pin", {})
    if not isinstance(pins, dict):
        raise CannotGoOn(f"{FILE}: pin is no table. Write each PIN under [pin], in quotes.")
    if not isinstance(moves, list):
        raise CannotGoOn(f"{FILE}: move is no list. Write each move under [[move]].")
    return Scenario(
        start=start,
        station=_text(data, "station", FILE),
        preparer=preparer,
        order=_text(data, "order", FILE),
        moves=tuple(
            _move(one, number, preparer, data) for number, one in enumerate(moves, start=1)
        ),
        pins={code: _text(pins, code, f"{FILE}, pin") for code in pins},
    )


def _start(text: str) -> datetime:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise CannotGoOn(f"{FILE}: start is {text!r}. Write it like 2026-11-25T14:00:00Z.")
    return at.astimezone(UTC)


def _move(one: Any, number: int, preparer: str, data: Mapping[str, Any]) -> Move:
    place = f"{FILE}, move {number}"
    if not isinstance(one, dict):
        raise CannotGoOn(f"{place} is not a table.")
    if strange := sorted(one.keys() - set(_KEYS)):
        raise CannotGoOn(f"{place}: {strange[0]} is not known here. Known: {', '.join(_KEYS)}.")
    if len(acts := [key for key in _ACTS if key in one]) != 1:
        raise CannotGoOn(f"{place} has {len(acts)} acts; give one of {', '.join(_ACTS)}.")
    after, codes, seen = one.get("after", 0), one.get("codes", []), one.get("seen", {})
    if type(after) is not int or not 0 <= after <= 3_600:
        raise CannotGoOn(f"{place}: after is a whole number of seconds, 3600 at most.")
    if not isinstance(codes, list) or not isinstance(seen, dict):
        raise CannotGoOn(f"{place}: codes is a list, seen is a table.")
    expect = _text(one, "expect", place)
    if expect not in EXPECTED:
        raise CannotGoOn(f"{place}: expect is {expect!r}; it can be {', '.join(EXPECTED)}.")
    return Move(
        step=_text(one, "step", place),
        after=after,
        by=_text({"by": preparer, **one}, "by", place),
        tell=_text({"tell": "", **one}, "tell", place),
        seen={name: _looked_up(_text(seen, name, place), data, place) for name in seen},
        remedy=_text({"remedy": "", **one}, "remedy", place),
        reason=_text({"reason": "", **one}, "reason", place),
        note=_text({"note": "", **one}, "note", place),
        expect=expect,
        codes=tuple(str(code) for code in codes),
    )


def _text(table: Mapping[str, Any], key: str, place: str) -> str:
    value = table.get(key)
    if not isinstance(value, str):
        seen = "missing" if value is None else f"{value!r}"
        raise CannotGoOn(f"{place}: {key} is {seen}. Write it as text in quotes.")
    return value


def _looked_up(answer: str, data: Mapping[str, Any], place: str) -> str:
    if not answer.startswith("@"):
        return answer
    table, _, key = answer[1:].partition(".")
    found = data.get(table)
    if not isinstance(found, dict) or not isinstance(found.get(key), str):
        raise CannotGoOn(f"{place}: {answer} names no code of this file.")
    return str(found[key])
