"""A TOML file read within bounds: one that is too long, too deep or hides something is refused."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from checklist.letters import unseen
from checklist.number import quoted

MAX_BYTES = 256 * 1024
"""The reader takes time that grows faster than the file."""
MAX_LINE = 4096
"""Characters in a line: one long dotted key can keep the reader busy for seconds."""


class NotToml(ValueError):
    """A file cannot be read as TOML here; the message says why, and what to do."""


def tables(file: Path) -> dict[str, Any]:
    """The tables of a TOML file. Raises FileNotFoundError, and NotToml for whatever else."""
    try:
        with file.open("rb") as opened:
            data = opened.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise
    except OSError as trouble:
        raise NotToml(f"it cannot be read ({trouble.strerror}); look at its permissions") from None
    if len(data) > MAX_BYTES:
        raise NotToml(f"it is over {MAX_BYTES // 1024} KiB long; take out what is not needed")
    try:
        text = data.decode("utf-8")
        for number, line in enumerate(text.split("\n"), start=1):
            if len(line) > MAX_LINE:
                raise NotToml(f"line {number} has more than {MAX_LINE} characters; cut it up")
        found = tomllib.loads(text)
        hidden = _hidden(found)
    except RecursionError:
        raise NotToml("it has too many levels; take out what is not needed") from None
    except NotToml:
        raise
    except ValueError as trouble:  # tomllib's own, UTF-8's, and whole numbers of endless figures
        raise NotToml(f"this is not TOML text: {trouble}") from None
    if hidden:
        raise NotToml(
            f"a text holds a character that cannot be seen ({quoted(hidden)}); type it again"
        )
    return found


def _hidden(value: Any) -> str:
    """The first character in any text or key that cannot be seen; "" for none.

    Line ends are seen in a text of several lines.
    """
    if isinstance(value, str):
        return unseen(value.replace("\n", ""))
    if isinstance(value, dict):
        value = [part for pair in value.items() for part in pair]
    if isinstance(value, list):
        return next((found for one in value if (found := _hidden(one))), "")
    return ""
