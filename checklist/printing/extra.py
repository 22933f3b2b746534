"""The libraries that printing needs beyond the core, brought in only when something is printed."""

from __future__ import annotations

from importlib import import_module
from typing import Any

EXTRA = "labels"


class ExtraMissing(Exception):
    """A library of the extra is not installed. The message says how to get it."""


def needed(name: str) -> Any:
    """The library of that name. Raises ExtraMissing."""
    try:
        return import_module(name)
    except ImportError:
        raise ExtraMissing(
            f"Printing needs the extra `{EXTRA}`, which is not installed here ({name} is missing)."
            f" Install it: python -m pip install 'checklist[{EXTRA}]'."
        ) from None
