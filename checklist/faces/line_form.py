"""The form of a line that another program sends: one JSON object with one act."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from checklist.intake.entry import EntryFault, plain_text

LONGEST = 100_000
"""The longest line that is read, in bytes."""
LONGEST_NOTE = 200
"""The longest note or reason, in characters."""
_BESIDE: Mapping[str, frozenset[str]] = {
    "seen": frozenset({"channel", "keyed", "turn"}),
    "remedy": frozenset({"note", "turn"}),
    "reason": frozenset({"note", "turn"}),
    "abandon": frozenset({"note"}),
    "interrupt": frozenset(),
    "resume": frozenset(),
    "note": frozenset(),
    "show": frozenset(),
    "print": frozenset({"out", "vial", "size", "form", "symbol", "again", "dpi"}),
    "sign_in": frozenset({"pin", "second"}),
}


class NotUnderstood(Exception):
    """A line that came in cannot be taken; nothing is recorded. The message says why."""


def read_line(line: bytes) -> tuple[str, dict[str, Any]]:
    """The act that a line asks for, and the whole line as an object. Raises NotUnderstood."""
    if len(line) > LONGEST:
        raise NotUnderstood(f"A line has {LONGEST} bytes at most. Send one act a line.")
    try:
        asked = json.loads(line.decode("utf-8"), object_pairs_hook=_object, parse_constant=_no)
    except (ValueError, RecursionError) as fault:
        raise NotUnderstood(f"This line is not one JSON object: {fault}.") from fault
    if not isinstance(asked, dict):
        raise NotUnderstood("A line is one JSON object, in braces.")
    acts = [act for act in _BESIDE if act in asked]
    act = acts[0] if acts else ""
    if "note" in acts and len(acts) == 2:
        act = next(one for one in acts if one != "note")
        acts = [act] if "note" in _BESIDE[act] else acts
    if len(acts) != 1:
        raise NotUnderstood(f"A line holds one act of {', '.join(_BESIDE)}; this has {len(acts)}.")
    known = {act, "by", *_BESIDE[act]}
    if strange := sorted(asked.keys() - known):
        if "sign_in" in asked:  # a PIN may stand in the wrong place
            raise NotUnderstood("A sign-in holds sign_in, pin and second, and nothing else.")
        raise NotUnderstood(
            f"The key {strange[0]!r} is not known beside {act}; known: {', '.join(sorted(known))}."
        )
    return act, asked


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) < len(pairs):
        raise ValueError("a key stands twice")
    return made


def _no(constant: str) -> None:
    raise ValueError(f"{constant} is no value")


def words_of(asked: Mapping[str, Any], key: str, default: str | None = None) -> str:
    """A plain text; nothing that hides or steers. `default` when the key is left out."""
    if default is not None and asked.get(key, default) == default:
        return default
    if not isinstance(text := asked.get(key), str):
        raise NotUnderstood(f"{key} is no text. Write it in quotes.")
    try:
        return plain_text(text, LONGEST_NOTE)
    except EntryFault as fault:
        raise NotUnderstood(f"{key}: {fault}") from fault


def one_of(asked: Mapping[str, Any], key: str, known: tuple[str, ...]) -> str:
    if (word := asked.get(key)) not in known:
        raise NotUnderstood(f"{key} is {word!r}; it can be {', '.join(known)}.")
    return str(word)


def by_of(asked: Mapping[str, Any], default: str) -> str:
    return words_of(asked, "by") if "by" in asked else default


def turn_of(asked: Mapping[str, Any]) -> int | None:
    turn = asked.get("turn")
    if turn is not None and type(turn) is not int:
        raise NotUnderstood("turn is the whole number that the last line gave.")
    return turn


def is_true(asked: Mapping[str, Any], key: str) -> None:
    if asked[key] is not True:
        raise NotUnderstood(f"{key} is given as true.")
