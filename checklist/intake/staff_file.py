"""Adding a person to staff.toml: the file as it stands, with one table behind it, or not at all."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path

from checklist.intake.fault import Faults, Findings
from checklist.intake.staff import staff_of

FILE = "staff.toml"


def table_of(
    code: str,
    name: str,
    *,
    roles: Sequence[str],
    badge: str = "",
    competent: Mapping[str, date],
) -> str:
    """A person as a table of staff.toml. Nothing is looked over here."""
    lines = ["[[person]]", f"code = {_quoted(code)}", f"name = {_quoted(name)}"]
    lines.append(f"roles = [{', '.join(map(_quoted, roles))}]")
    if badge:
        lines.append(f"badge = {_quoted(badge)}")
    if competent:
        dates = ", ".join(f"{_quoted(task)} = {day.isoformat()}" for task, day in competent.items())
        lines.append(f"competent = {{ {dates} }}")
    return "\n".join(lines) + "\n"


def added(folder: Path, table: str, *, between: Callable[[], None]) -> None:
    """Put a person's table behind the others of a ward's folder.

    All of the file, its comments too, stays as it is. The new file is looked over as any other and
    brought to the disk before `between` is called; then it takes the old one's place. Raises Faults
    for whatever is amiss with it, OSError; the old file is then still there.
    """
    path = folder / FILE
    fresh = path.with_name(f".{FILE}.new")
    text = path.read_text(encoding="utf-8")
    mode = path.stat().st_mode & 0o777
    try:
        fresh.unlink(missing_ok=True)
        number = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(number, "w", encoding="utf-8", newline="") as file:
            file.write(f"{text.rstrip()}\n\n{table}")
            file.flush()
            os.fsync(number)
        findings = Findings(FILE)
        staff_of(fresh, findings)
        if findings.faults:
            raise Faults(findings.faults)
        between()
        fresh.replace(path)
    finally:
        fresh.unlink(missing_ok=True)


def _quoted(text: str) -> str:
    """A text in quotes. JSON's plain escapes are TOML's as well."""
    return json.dumps(text)
