"""The libraries that only some installations have, asked for when they are needed."""

from __future__ import annotations

import importlib
from typing import Any


class NeedsExtra(Exception):
    """A library is not installed. The message names the extra that brings it."""


def wanted(module: str, extra: str) -> Any:
    """The module, imported now; raises NeedsExtra, naming what to install, where it is missing."""
    try:
        return importlib.import_module(module)
    except ImportError as fault:
        raise NeedsExtra(
            f"This needs the extra `{extra}`, which is not installed here ({module} is missing)."
            f" Install it: python -m pip install 'checklist[{extra}]'"
        ) from fault
