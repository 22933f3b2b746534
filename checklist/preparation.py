"""A preparation, the events proposed for it and the entries that record them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from checklist.compatibility import Compatibility
from checklist.formulary import Formulary
from checklist.limits import Limits
from checklist.observation import Observation, Reading
from checklist.order import Order, Patient
from checklist.people import StaffMember
from checklist.unit import Unit

GIVEN = "given"
DISCARDED = "discarded"
ABANDONED = "abandoned"
CLOSED = (GIVEN, DISCARDED, ABANDONED)

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
)


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
    or cautioned place, `pending` what was seen at a caution until it is released. `tries` counts the refusals per (step, code) since the step was entered.
    `passed_at` and `passed_by` say when and by whom each step was last passed.
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
    ended_because: str = ""

    @property
    def closed(self) -> bool:
        """True once nothing more can happen except notes."""
        return self.place in CLOSED

    def latest(self, name: str) -> Reading | None:
        """The newest accepted reading of the field `name`, whichever step asked for it."""
        for observation in reversed(list(self.seen.values())):
            if name in observation:
                return observation[name]
        return None

    def time_of(self, name: str) -> datetime | None:
        """When the step that last took the field `name` was passed."""
        for step, observation in reversed(list(self.seen.items())):
            if name in observation:
                return self.passed_at.get(step)
        return None

    def person_of(self, name: str) -> str:
        """The staff code of whoever gave the newest reading of the field `name`, or ''."""
        for step, observation in reversed(list(self.seen.items())):
            if name in observation:
                return self.passed_by.get(step, "")
        return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What a check may look at besides the observation and the preparation so far.

    Everything that changes with time or place is in here and handed in, so that a check stays a
    pure function. `order_now` is the order line as the medication record has it at this moment,
    None when it is gone. `others_open` are the other open preparations of this person or station.
    `given_before` are the times of doses of this line that the trail holds. `container` is the
    container that the workflow in force is for; `critical_break` says that the step which was
    interrupted is a critical one. `booked` is the stock of controlled products that the register
    leaves after what the trail says was taken. `compatibility` is what the ward's pharmacy has
    looked up about things put together.
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
    compatibility: Compatibility = field(default_factory=Compatibility)
