"""One look at a preparation as the trail has it, made without holding up whoever writes."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from checklist import library
from checklist.faces.workplace import new_id
from checklist.gate import Rules
from checklist.intake.fault import Faults
from checklist.intake.ward import Ward
from checklist.people import StaffMember
from checklist.preparation import CLOSED, Entry, Preparation, Surroundings
from checklist.screen import Screen
from checklist.station import NotHere, Station
from checklist.trail import Trail
from checklist.workflow import Spot

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Where a preparation stands: its screen, rules, entries, and what is around it.

    `others` are the ids of this person's other open preparations. `readable` says whether the
    ward's files could be read just now.
    """

    screen: Screen
    rules: Rules
    entries: tuple[Entry, ...]
    around: Surroundings
    others: tuple[str, ...] = ()
    readable: bool = True

    @property
    def prep(self) -> Preparation:
        """The preparation itself."""
        return self.screen.prep

    @property
    def spot(self) -> Spot:
        """The step where it stands; the first one once it is closed."""
        layout = self.rules.layout
        return self.screen.spot or layout.spots[self.rules.workflow.steps[0].name]

    @property
    def at(self) -> datetime:
        """The moment of the look, in UTC."""
        return self.around.at


class Looking:
    """Looks at preparations, with one station for each reading thread.

    Such a station keeps what it has folded, so that a page costs what is new in the trail. It can
    write nothing: the trail under it is open for reading only.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._own = threading.local()

    def station(self, trail: Trail) -> Station:
        """The reading station of this thread, with the ward as it is now."""
        desk, kept = self._desk, getattr(self._own, "station", None)
        ward, self._own.readable = self._ward()
        if kept is None or kept.trail is not trail:
            kept = Station(
                trail,
                ward,
                workflows=library.of_ward(desk.folder)[0],
                limits=library.limits(),
                required=library.required(),
                name="",
                clock=desk.clock,
                new_id=new_id,
                practice=desk.practice,
                compiled=desk.compiled,
                used=desk.used,
            )
            self._own.station, self._own.entries = kept, {}
        kept.ward = ward
        return kept

    def _ward(self) -> tuple[Ward, bool]:
        """The ward as its files say now; the last one they said, where they cannot be read."""
        try:
            return self._desk.files.now(), True
        except Faults:
            return self._desk.ward, False

    def _entries(self, trail: Trail, id_: str) -> tuple[Entry, ...]:
        """All entries of a preparation; those of an open one are kept, since none ever changes."""
        known: tuple[Entry, ...] = self._own.entries.pop(id_, ())
        entries = (*known, *trail.of(id_, after=len(known) - 1))
        if not entries:
            raise NotHere(f"there is no preparation {id_!r} in this trail")
        if entries[-1].event.lands not in CLOSED:
            self._own.entries[id_] = entries
        return entries

    def at(self, trail: Trail, id_: str, by: StaffMember) -> Look:
        """Look at one preparation for this person. Raises NotHere where there is none."""
        station = self.station(trail)
        entries = self._entries(trail, id_)
        screen = station.screen(id_)
        rules = station.rules_of(screen.prep.workflow)
        spot = screen.spot or rules.layout.spots[rules.workflow.steps[0].name]
        others = (one for one in trail.open_preparations() if one.id != id_)
        return Look(
            screen=screen,
            rules=rules,
            entries=entries,
            around=station.surroundings(screen.prep, by, spot),
            others=tuple(one.id for one in others if one.opened_by == by.code),
            readable=self._own.readable,
        )
