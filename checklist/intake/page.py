"""A ward's file read from the disk: its text, its digest, and the TOML, JSON or CSV in it."""

from __future__ import annotations

import csv
import hashlib
import json
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

from checklist.intake.fault import Bare, Findings
from checklist.letters import unseen
from checklist.number import quoted

MAX_TOML = 256 * 1024
"""Bytes of TOML; its reader takes time that grows faster than the file."""
MAX_RECORDS = 4 * 1024 * 1024
"""Bytes of JSON or CSV."""
MAX_LINE = 4096
"""Characters in a line of TOML: one long dotted key can keep its reader busy for seconds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """The text of a file exactly as stored, and the SHA-256 digest of its bytes in hex."""

    text: str
    digest: str


def page(path: Path, findings: Findings, *, longest: int) -> Page | None:
    """The file as text; None, with a fault, when it is not there, not text or too long."""
    try:
        if not path.is_file():
            findings.add("", "There is no such file. Put it in the ward's folder.")
            return None
        if path.stat().st_size > longest:
            findings.add("", f"It is over {longest // 1024} KiB long. Take out what is not needed.")
            return None
        data = path.read_bytes()
    except OSError as trouble:
        findings.add("", f"It cannot be read ({trouble.strerror}). Look at its permissions.")
        return None
    if data.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        findings.add("", "It begins with a byte order mark. Save it as UTF-8 without that mark.")
        return None
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as trouble:
        line = data[: trouble.start].count(b"\n") + 1
        findings.add(f"line {line}", "It is not UTF-8 text here. Save the file as UTF-8.")
        return None
    return Page(text=text, digest=hashlib.sha256(data).hexdigest())


def toml(text: str, findings: Findings) -> Mapping[str, Any] | None:
    """The tables of a TOML file, decimals kept as Bare; None, with a fault, when it has none."""
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > MAX_LINE:
            findings.add(f"line {number}", f"It has more than {MAX_LINE} characters. Cut it up.")
            return None
    try:
        tables = tomllib.loads(text, parse_float=Bare)
        _all_seen(tables, findings, "")
    except (ValueError, RecursionError) as trouble:
        # tomllib says what it met and where, such as "Expected '=' ... (at line 3, column 5)".
        what = "too many levels" if isinstance(trouble, RecursionError) else str(trouble)
        findings.add("", f"It cannot be read as TOML: {what}. Correct it there.")
        return None
    return tables


def records(
    text: str, findings: Findings, *, begin: str = '{"patients": [...', seen: bool = True
) -> Mapping[str, Any] | None:
    """The object of a JSON file, numbers kept as Bare and keys that are null left out.

    `begin` is how such a file begins. With `seen` a character that cannot be seen is a fault
    wherever it stands; otherwise it is for whoever takes a text out of the file to look.
    """

    def unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        kept = dict(pairs)
        for key, times in Counter(key for key, _ in pairs).items():
            if times > 1:
                name = kept.get("id", kept.get("code"))
                place = name if isinstance(name, str) else ""
                findings.add(place, f"The key {quoted(key)} stands twice in one object. Keep one.")
        return {key: value for key, value in kept.items() if value is not None}

    try:
        data = json.loads(
            text, object_pairs_hook=unique, parse_float=Bare, parse_int=Bare, parse_constant=Bare
        )
        if seen:
            _all_seen(data, findings, "")
    except (ValueError, RecursionError) as trouble:
        what = "too many levels" if isinstance(trouble, RecursionError) else str(trouble)
        findings.add("", f"It cannot be read as JSON: {what}. Correct it there.")
        return None
    if not isinstance(data, dict):
        findings.add("", f"It does not hold one object. Begin it with {begin}.")
        return None
    return data


def rows(text: str, findings: Findings) -> Iterator[tuple[int, list[str]]]:
    """The rows of a CSV file that are not blank, with the line each begins on, counted from 1.

    Fields are separated by commas or by semicolons, whichever the first row has more of.
    """
    first = text.split("\n", 1)[0]
    if first.lower().startswith("sep="):
        findings.add("row 1", "The first row is not a heading. Take the sep= row out.")
        return
    delimiter = ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(StringIO(text, newline=""), delimiter=delimiter, strict=True)
    start = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield start, cells
            start = reader.line_num + 1
    except csv.Error as trouble:
        findings.add(f"row {start}", f"It cannot be read as CSV: {trouble}. Look at its quotes.")


def _all_seen(value: Any, findings: Findings, place: str) -> None:
    """A fault for each text, or key, with a character that cannot be seen."""
    if isinstance(value, str) and unseen(value):
        sentence = f"The text holds a character that cannot be seen ({quoted(unseen(value))})."
        findings.add(place, f"{sentence} Type the text again.")
    if isinstance(value, dict):
        for key, inner in value.items():
            _all_seen(key, findings, place)
            _all_seen(inner, findings, f"{place}, {key}" if place else key)
    if isinstance(value, list):
        for number, inner in enumerate(value, start=1):
            _all_seen(inner, findings, f"{place} {number}")
