"""How much is tried: by default what two cores do in minutes, with CHECKLIST_FULL=1 all of it."""

from __future__ import annotations

import os

FULL = os.environ.get("CHECKLIST_FULL") == "1"


def tries(many: int) -> int:
    """How many drawn cases: `many` in the full run, a quarter of them otherwise."""
    return many if FULL else max(10, many // 4)
