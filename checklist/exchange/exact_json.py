"""JSON whose numbers are figures as they are written: in a file, and out of one."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from checklist.intake.fault import Bare

_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?")
_LONGEST = 64
"""Figures in a number that is handed on to a library."""


def written(value: Any, indent: str = "") -> str:
    """The value as JSON text with two spaces for each level. A Bare is a number, as it stands.

    Raises TypeError for a float, or anything else that has no one form.
    """
    deeper = f"{indent}  "
    match value:
        case Bare(text=text):
            if not _NUMBER.fullmatch(text):
                raise TypeError(f"{text!r} is not a number of JSON.")
            return text
        case None | bool() | str():
            return json.dumps(value, ensure_ascii=False)
        case int():
            return str(value)
        case Mapping():
            rows = [
                f"{deeper}{json.dumps(key, ensure_ascii=False)}: {written(each, deeper)}"
                for key, each in value.items()
            ]
            return "{\n" + ",\n".join(rows) + f"\n{indent}}}" if rows else "{}"
        case list() | tuple():
            rows = [f"{deeper}{written(each, deeper)}" for each in value]
            return "[\n" + ",\n".join(rows) + f"\n{indent}]" if rows else "[]"
        case _:
            raise TypeError(f"{type(value).__name__} is not written as JSON here.")


def plain(value: Any) -> Any:
    """The value as a library takes it: each Bare an int or a Decimal, which lose nothing.

    A number that is none, or has more than 64 characters, stays the text that it is.
    """
    match value:
        case Bare(text=text):
            if len(text) > _LONGEST or not _NUMBER.fullmatch(text):
                return text
            return int(text) if text.lstrip("-").isdigit() else Decimal(text)
        case Mapping():
            return {key: plain(each) for key, each in value.items()}
        case list() | tuple():
            return [plain(each) for each in value]
        case _:
            return value
