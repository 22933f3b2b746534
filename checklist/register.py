"""The stock of controlled products: what the register says, less what the trail says was used."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Mapping

from checklist import codec
from checklist.gate import Rules
from checklist.observation import Observation, ProductRead
from checklist.preparation import ABANDONED, CLOSED, Entry
from checklist.quantity import Quantity
from checklist.verdict import Remedy


def digest(register: Mapping[str, int]) -> str:
    """What tells one count of the stock from the next: SHA-256 over products and figures."""
    return hashlib.sha256(json.dumps(sorted(register.items())).encode()).hexdigest()


def used(entries: Iterable[Entry], rules: Rules, *, own: bool) -> Counter[str]:
    """Containers that one preparation took out of the stock for good, by product code.

    Taken containers are used once something was opened, or when they were set aside for the
    pharmacy. While the preparation is under way, what was taken is out of the cupboard too; but
    whoever counts anew for their `own` preparation has put an unopened container back first.
    """
    order, opens = rules.layout.order, rules.layout.order[rules.workflow.opens]
    total: Counter[str] = Counter()
    code, taken, waiting = "", 0, False
    closed = False
    for entry in entries:
        event = entry.event
        stem = event.lands.partition("/")[0]
        seen = codec.observation_in(event.body["seen"]) if "seen" in event.body else {}
        if event.kind in ("passed", "cautioned"):
            code = _code(seen) or code
            taken = _taken(seen) or taken
            waiting = waiting or "witness_count_after" in seen
        set_aside = event.kind == "remedied" and event.body["remedy"] == Remedy.QUARANTINE
        reached = order.get(stem, opens) >= opens and event.lands != ABANDONED
        if waiting and (set_aside or reached):
            total[code] += taken
            waiting = False
        closed = event.lands in CLOSED
    if waiting and not closed and not own:
        total[code] += taken
    return total


def _code(seen: Observation) -> str:
    reading = seen.get("product")
    value = reading.value if reading else None
    return value.code if isinstance(value, ProductRead) else ""


def _taken(seen: Observation) -> int:
    reading = seen.get("count_taken")
    value = reading.value if reading else None
    return int(value.magnitude) if isinstance(value, Quantity) else 0
