"""A preparation, the events proposed for it and the entries that record them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from checklist.compatibility import Compatibility
from checklist.formulary import Formulary
from checklist.limits import Limits
from checklist.observation import Observation, Reading
from checklist.order import Order, Patient
from checklist.people import StaffMember
from checklist.quantity import Quantity
from checklist.unit import Unit

GIVEN = "given"
DISCARDED = "discarded"
ABANDONED = "abandoned"
CLOSED = (GIVEN, DISCARDED, ABANDONED)
ITEM = "@"
"""Stands between a step's name and the item it is for: "draw_up@second"."""
FIRST, SECOND = "first", "second"
"""The two drugs of one syringe, in the order in which they are drawn."""

KINDS = (
    "opened",
    "passed",
    "cautioned",
    "proceeded",
    "refused",
    "remedied",
    "interrupted",
    "resumed",
    "ended",
    "noted",
    "revealed",
    "printed",
    "explained",
)
"""What can happen to a preparation."""
BESIDE = frozenset(("noted", "revealed", "printed", "explained"))
"""The kinds that move nothing: what a page showed before them still holds."""

WORKPLACE_KINDS = (
    "signed_in",
    "not_signed_in",
    "signed_out",
    "locked",
    "unlocked",
    "secret_changed",
    "person_added",
    "person_changed",
    "not_allowed",
    "turned_away",
    "signed",
    "checkpointed",
    "clock_moved",
    "scanner_tried",
    "names_shown",
    "exported",
    "erased",
    "backed_up",
    "restored",
    "migrated",
    "archived",
    "continued",
    "disposed",
)
"""What can happen at a place of work beside any preparation."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something proposed to the trail; nothing has happened until the trail gives an Entry.

    `turn` counts the entries of this preparation from 0. `at` is an aware UTC time. `by` is a
    staff code, `station` the place of work. `body` is plain JSON data, all numbers as text.
    """

    id: str
    preparation: str
    turn: int
    kind: str
    place: str
    lands: str
    at: datetime
    by: str
    station: str
    channel: str
    body: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """Something that belongs to no preparation, proposed to the trail: a sign-in, an erasure.

    Its fields are those of an Event. The trail counts the turns of such acts itself, so that two
    stations never stand in each other's way over them.
    """

    id: str
    kind: str
    at: datetime
    by: str
    station: str
    channel: str
    body: Mapping[str, Any]

    def event(self, turn: int) -> Event:
        """The act as an event of no preparation, at this turn of its own thread."""
        return Event(
            id=self.id,
            preparation="",
            turn=turn,
            kind=self.kind,
            place="",
            lands="",
            at=self.at,
            by=self.by,
            station=self.station,
            channel=self.channel,
            body=self.body,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """An event as recorded. Only `Trail` makes one; `seq` has no gaps within a trail."""

    seq: int
    event: Event
    previous: bytes
    digest: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A reason that waits for its remedy, or for a recorded reason to go on."""

    code: str
    tier: str
    facts: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Preparation:
    """One patient, one order line, one drug: the fold of its entries.

    `place` is where it stands. `seen` maps a step's name to what was accepted there; going back
    forgets what was seen from that step on. `standing` holds the reasons that wait at a refused
    or cautioned place, `pending` what was seen at a caution until it is released. `tries` counts
    the refusals per (place, code) since the step was entered. `passed_at` and `passed_by` say when
    and by whom each step was last passed. `cause` is what the last break was put down to.
    `sources` are the containers that the drug, or each item of a mixture, was to come in, where the
    workflow leaves that to the order; `turned` says that the drug which the line names second is
    drawn first. `item` is the item whose view this is, see `of`, and `whole` the order line of
    which `order` is then a part.
    """

    id: str
    turn: int
    order: Order
    workflow: str
    place: str
    opened_at: datetime
    last_at: datetime
    preparer: str
    station: str
    seen: Mapping[str, Observation] = field(default_factory=dict)
    passed_at: Mapping[str, datetime] = field(default_factory=dict)
    passed_by: Mapping[str, str] = field(default_factory=dict)
    standing: tuple[Standing, ...] = ()
    pending: Observation = field(default_factory=dict)
    pending_by: str = ""
    tries: Mapping[tuple[str, str], int] = field(default_factory=dict)
    refusals: int = 0
    cautions: int = 0
    restarts: int = 0
    revealed: tuple[str, ...] = ()
    interrupted_at: datetime | None = None
    cause: str = ""
    ended_because: str = ""
    sources: Mapping[str, str] = field(default_factory=dict)
    turned: bool = False
    item: str = ""
    whole: Order | None = None

    @property
    def closed(self) -> bool:
        """True once nothing more can happen except notes."""
        return self.place in CLOSED

    @property
    def items(self) -> tuple[str, ...]:
        """The items for which something has been reported, in the order of their steps."""
        found = (step.partition(ITEM)[2] for step in self.seen)
        return tuple(dict.fromkeys(item for item in found if item))

    def of(self, item: str) -> Preparation:
        """The preparation as one item sees it: its readings before the shared ones, its order.

        The items `first` and `second` are the two drugs of an order line that asks for two in one
        syringe; each sees an order for its own drug and dose alone. Any other item has the order
        as it stands.
        """
        whole = self.whole or self.order
        return replace(self, item=item, order=self._part(whole, item), whole=whole)

    def _part(self, whole: Order, item: str) -> Order:
        second = whole.second
        if second is None or item not in (FIRST, SECOND):
            return whole
        if self.turned is (item == SECOND):
            return replace(whole, second=None)
        return replace(
            whole,
            drug=second.drug,
            dose=second.dose,
            dose_per_weight=None,
            strength=second.strength,
            form="",
            second=None,
        )

    def joined(self, seen: Observation) -> Preparation:
        """The preparation as it would be with what is reported at the present step."""
        return replace(self, seen={**self.seen, f"{ITEM}{self.item}": seen})

    def _newest_first(self) -> Iterator[tuple[str, Observation]]:
        """What was seen for this item, then what is shared; of each the newest first."""
        for owner in dict.fromkeys((self.item, "")):
            for step, observation in reversed(list(self.seen.items())):
                if step.partition(ITEM)[2] == owner:
                    yield step, observation

    def latest(self, name: str) -> Reading | None:
        """The newest accepted reading of the field `name`, whichever step asked for it."""
        return next((o[name] for _, o in self._newest_first() if name in o), None)

    def time_of(self, name: str) -> datetime | None:
        """When the step that last took the field `name` was passed."""
        found = next((step for step, o in self._newest_first() if name in o), "")
        return self.passed_at.get(found)

    def person_of(self, name: str) -> str:
        """The staff code of whoever gave the newest reading of the field `name`, or ''."""
        found = next((step for step, o in self._newest_first() if name in o), "")
        return self.passed_by.get(found, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What a check may look at besides the observation and the preparation so far.

    Everything that changes with time or place is in here and handed in, so that a check stays a
    pure function. `order_now` is the order line as the medication record has it at this moment,
    None when it is gone. `others_open` are the other open preparations of this person or station.
    `given_before` are the times of doses of this line that the trail holds. `container` is the
    container that the workflow in force is for; `critical_break` says that the step which was
    interrupted is a critical one. `booked` is the stock of controlled products that the register
    leaves after what the trail says was taken, `liquids` the level in the open bottle of controlled
    ones. `record` are this patient's order lines as they stand now. `compatibility` is what the
    ward's pharmacy has looked up about things put together. `practice` says that nothing counts.
    """

    at: datetime
    by: StaffMember
    station: str
    unit: Unit
    formulary: Formulary
    limits: Limits
    staff: Mapping[str, StaffMember]
    patient: Patient | None
    order_now: Order | None
    others_open: tuple[str, ...] = ()
    given_before: tuple[datetime, ...] = ()
    similar_name: bool = False
    container: str = ""
    critical_break: bool = False
    booked: Mapping[str, int] = field(default_factory=dict)
    liquids: Mapping[str, Quantity] = field(default_factory=dict)
    record: Mapping[str, Order] = field(default_factory=dict)
    compatibility: Compatibility = field(default_factory=Compatibility)
    practice: bool = False
