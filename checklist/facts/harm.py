"""Harm as a person judged it, letter by letter: a file beside the facts that only grows."""

from __future__ import annotations

import json
import os
from datetime import datetime

from checklist import codec
from checklist.facts.folder import FactsFault, Folder
from checklist.facts.label import HARM

FILE = "harm.jsonl"
LONGEST = 200


def enter(
    folder: Folder, preparation: str, letter: str, *, by: str, because: str, at: datetime
) -> None:
    """Record a letter of the NCC MERP index for a preparation; a later one takes its place.

    Raises FactsFault for another letter, or where who or why is missing.
    """
    if letter not in HARM:
        known = ", ".join(f"{one} {words}" for one, words in HARM.items())
        raise FactsFault(f"{letter!r} is no letter of harm. There are: {known}.")
    if not by.strip() or not because.strip() or len(because) > LONGEST:
        raise FactsFault(
            f"A letter is entered with a staff code and a reason of at most {LONGEST} characters."
        )
    line = {
        "preparation": preparation,
        "letter": letter,
        "by": by,
        "because": because,
        "at": codec.time_out(at),
    }
    with (folder.path / FILE).open("a", encoding="utf-8") as out:
        out.write(json.dumps(line, ensure_ascii=False) + "\n")
        out.flush()
        os.fsync(out.fileno())


def letters(folder: Folder) -> dict[str, str]:
    """The last letter entered for each preparation. Raises FactsFault for a line that is none."""
    file = folder.path / FILE
    found: dict[str, str] = {}
    if not file.exists():
        return found
    for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), start=1):
        try:
            read = json.loads(line)
            found[read["preparation"]] = read["letter"]
        except (ValueError, KeyError, TypeError) as fault:
            raise FactsFault(
                f"Line {number} of {file} is not a letter of harm ({fault}). Put the line right, or"
                " take it out."
            ) from fault
    return found
