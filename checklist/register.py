"""The stock of controlled products: what the register says, less what the trail says was used."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Mapping

from checklist import codec
from checklist.gate import Rules
from checklist.observation import Observation, ProductRead
from checklist.preparation import ABANDONED, CLOSED, ITEM, Entry
from checklist.quantity import Quantity
from checklist.verdict import Remedy


def digest(register: Mapping[str, int]) -> str:
    """What tells one count of the stock from the next: SHA-256 over products and figures."""
    return hashlib.sha256(json.dumps(sorted(register.items())).encode()).hexdigest()


Told = Iterable[tuple[str, Iterable[Entry], Rules]]
"""Preparations: the id of each, its entries and its rules."""


def booked(stock: Mapping[str, int], told: Told, *, own: str) -> Mapping[str, int]:
    """The containers left of each product, after what these preparations used."""
    left = Counter(stock)
    for id_, entries, rules in told:
        left.subtract(used(entries, rules, own=id_ == own))
    return left


def levels(stock: Mapping[str, Quantity], told: Told, *, own: str) -> Mapping[str, Quantity]:
    """What is left in each open bottle, after what the other preparations drew."""
    left = dict(stock)
    for id_, entries, rules in told:
        code, volume = drawn(entries, rules)
        if id_ != own and code in left:
            left[code] = left[code] - volume
    return left


def used(entries: Iterable[Entry], rules: Rules, *, own: bool) -> Counter[str]:
    """Containers that one preparation took out of the stock for good, by product code.

    Taken containers are used once something was opened, or when they were set aside for the
    pharmacy; a vial for many doses goes back, and is used only when it was set aside. While the
    preparation is under way, what was taken is out of the cupboard too; but whoever counts anew
    for their `own` preparation has put an unopened container back first.
    """
    order, opens = rules.layout.order, rules.layout.order[rules.workflow.opens]
    total: Counter[str] = Counter()
    codes: dict[str, str] = {}
    taken: dict[str, int] = {}
    waiting: dict[str, bool] = {}
    closed, goes_back = False, "multi_dose" in rules.workflow.kind
    for entry in entries:
        event = entry.event
        stem, item = event.lands.partition("/")[0], _item(event.place)
        seen = codec.observation_in(event.body["seen"]) if "seen" in event.body else {}
        if event.kind in ("passed", "cautioned"):
            codes[item] = _code(seen) or codes.get(item, "")
            taken[item] = _taken(seen) or taken.get(item, 0)
            waiting[item] = waiting.get(item, False) or "witness_count_after" in seen
        set_aside = event.kind == "remedied" and event.body["remedy"] == Remedy.QUARANTINE
        reached = order.get(stem, opens) >= opens and event.lands != ABANDONED and not goes_back
        for one in list(waiting) if reached else [item] if set_aside else []:
            if waiting.pop(one, False):
                total[codes[one]] += taken[one]
        closed = event.lands in CLOSED
    if not closed and not own:
        for one in (item for item, waits in waiting.items() if waits):
            total[codes[one]] += taken[one]
    return total


def _item(place: str) -> str:
    """The item of a mixture that a place is for; "" where there is only one."""
    return place.partition("/")[0].partition(ITEM)[2]


def _code(seen: Observation) -> str:
    reading = seen.get("product")
    value = reading.value if reading else None
    return value.code if isinstance(value, ProductRead) else ""


def _taken(seen: Observation) -> int:
    reading = seen.get("count_taken")
    value = reading.value if reading else None
    return int(value.magnitude) if isinstance(value, Quantity) else 0


def drawn(entries: Iterable[Entry], rules: Rules) -> tuple[str, Quantity]:
    """The product of one preparation and all that was drawn of it, drawn again included, in mL."""
    total = Quantity.of(0, "mL")
    code, now = "", total
    for entry in entries:
        event = entry.event
        seen = codec.observation_in(event.body["seen"]) if "seen" in event.body else {}
        if event.kind in ("passed", "cautioned"):
            code = _code(seen) or code
            reading = seen.get("drawn_volume")
            if reading is not None and isinstance(reading.value, Quantity):
                now = reading.value.to("mL")
        if event.lands == rules.workflow.restart:
            total, now = total + now, Quantity.of(0, "mL")
    return code, total + now
