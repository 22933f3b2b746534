"""The stock of controlled products: what the register says, less what the trail says was used."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from checklist import codec
from checklist.gate import Rules
from checklist.observation import Observation, ProductRead
from checklist.preparation import ABANDONED, CLOSED, ITEM, Entry
from checklist.quantity import Quantity
from checklist.verdict import Remedy

COUNTED = ("count_taken", "witness_count_after")
"""Fields by which a preparation takes containers out of a counted stock."""


def digest(register: Mapping[str, int]) -> str:
    """What tells one count of the stock from the next: SHA-256 over products and figures."""
    return hashlib.sha256(json.dumps(sorted(register.items())).encode()).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """What one preparation used up: the containers that are `gone` for good, by product code, those
    `in_hand` while it is under way, and of an open bottle the product and all that was `drawn`,
    drawn again included, in mL.
    """

    gone: Mapping[str, int]
    in_hand: Mapping[str, int]
    source: str
    drawn: Quantity


Told = Iterable[tuple[str, Use]]
"""Preparations: the id of each, and what it used up."""


class Uses:
    """What preparations used up; of one that is over it is worked out once, since it never changes
    again.
    """

    def __init__(self) -> None:
        self._over: dict[str, Use] = {}

    def of(self, id_: str, told: Callable[[], Sequence[Entry]], rules: Rules) -> Use:
        """What one used up, by its entries, which are asked for only where they are needed."""
        known = self._over.get(id_)
        if known is None:
            entries = told()
            known = use(entries, rules)
            if any(one.event.lands in CLOSED for one in entries):
                self._over[id_] = known
        return known

    def forget(self) -> None:
        """Work all out anew: what was written may have been taken back."""
        self._over.clear()


def concerns(rules: Rules, liquids: Iterable[str]) -> bool:
    """Whether a preparation under these rules can take from what the register counts.

    `liquids` are the containers that controlled liquids come in.
    """
    workflow = rules.workflow
    fields = {one.name for spot in rules.layout.spots.values() for one in spot.step.fields}
    comes_in = {workflow.container, *workflow.sources}
    return not fields.isdisjoint(COUNTED) or not comes_in.isdisjoint(liquids)


def booked(stock: Mapping[str, int], told: Told, *, own: str) -> Mapping[str, int]:
    """The containers left of each product, after what these preparations used.

    Whoever counts anew for their `own` preparation has put an unopened container back first.
    """
    left = Counter(stock)
    for id_, one in told:
        left.subtract(one.gone)
        if id_ != own:
            left.subtract(one.in_hand)
    return left


def levels(stock: Mapping[str, Quantity], told: Told, *, own: str) -> Mapping[str, Quantity]:
    """What is left in each open bottle, after what the other preparations drew."""
    left = dict(stock)
    for id_, one in told:
        if id_ != own and one.source in left:
            left[one.source] = left[one.source] - one.drawn
    return left


def use(entries: Iterable[Entry], rules: Rules) -> Use:
    """What one preparation used up.

    Taken containers are gone once something was opened, or when they were set aside for the
    pharmacy; a vial for many doses goes back, and is gone only when it was set aside. While the
    preparation is under way, what was taken is out of the cupboard too.
    """
    order, opens = rules.layout.order, rules.layout.order[rules.workflow.opens]
    gone: Counter[str] = Counter()
    codes: dict[str, str] = {}
    taken: dict[str, int] = {}
    waiting: dict[str, bool] = {}
    closed, goes_back = False, "multi_dose" in rules.workflow.kind
    source, drawn = "", Quantity.of(0, "mL")
    now = drawn
    for entry in entries:
        event = entry.event
        stem, item = event.lands.partition("/")[0], _item(event.place)
        if event.kind in ("passed", "cautioned"):
            seen = codec.observation_in(event.body["seen"]) if "seen" in event.body else {}
            code = _code(seen)
            source = code or source
            codes[item] = code or codes.get(item, "")
            taken[item] = _taken(seen) or taken.get(item, 0)
            waiting[item] = waiting.get(item, False) or "witness_count_after" in seen
            reading = seen.get("drawn_volume")
            if reading is not None and isinstance(reading.value, Quantity):
                now = reading.value.to("mL")
        if event.lands == rules.workflow.restart:
            drawn, now = drawn + now, Quantity.of(0, "mL")
        set_aside = event.kind == "remedied" and event.body["remedy"] == Remedy.QUARANTINE
        reached = order.get(stem, opens) >= opens and event.lands != ABANDONED and not goes_back
        for one in list(waiting) if reached else [item] if set_aside else []:
            if waiting.pop(one, False):
                gone[codes[one]] += taken[one]
        closed = event.lands in CLOSED
    in_hand = Counter[str]()
    for one in () if closed else (item for item, waits in waiting.items() if waits):
        in_hand[codes[one]] += taken[one]
    return Use(gone=gone, in_hand=in_hand, source=source, drawn=drawn + now)


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
