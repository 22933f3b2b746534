"""The one thread that writes: the trail's writing connection, and a station for each tablet.

Acts that wait together share one transaction: each is done in turn at its own tablet's station, all
are brought to the disk by one commit, and only then is anybody told. So fifty tablets wait for the
disk once and not fifty times, and what was said to be recorded is recorded.

If the commit fails, everybody in the group is told so, and every station is made anew: what a
station remembers is never ahead of the trail.
"""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Callable
from contextlib import ExitStack
from typing import Any, TypeVar

from checklist.faces.web.ward_files import WardFiles
from checklist.faces.workplace import STATION_STOPPED
from checklist.station import Station
from checklist.trail import Trail, TrailFault, TrailUnwritable

MOST = 64
"""Acts in one group at most, so that nobody waits long for the others."""
_T = TypeVar("_T")
MakeStation = Callable[[Trail, str], Station]
"""Makes the station of a place over the writing connection."""


class _Asked:
    """An act that waits, and what came of it."""

    def __init__(self, work: Callable[[], Any]) -> None:
        self._work = work
        self._loop = asyncio.get_running_loop()
        self.told: asyncio.Future[Any] = self._loop.create_future()
        self._value: Any = None
        self.fault: BaseException | None = None

    def do(self) -> None:
        try:
            self._value = self._work()
        except Exception as fault:
            self.fault = fault

    def settle(self) -> None:
        if self.told.done():
            return
        if self.fault is None:
            self.told.set_result(self._value)
        else:
            self.told.set_exception(self.fault)

    def tell(self) -> None:
        self._loop.call_soon_threadsafe(self.settle)


class Writer:
    """Takes acts from the pages; an act is answered once it is on the disk.

    `opening` opens the trail for writing, `observations` the trail of what observers record.
    In the thread that writes, `head` is called when a head of the trail is wanted, once what it is
    to cover is on the disk, and `lost` when the stations were made anew.
    """

    def __init__(
        self,
        files: WardFiles,
        *,
        opening: Callable[[], Trail],
        station: MakeStation,
        observations: Callable[[], Trail],
        head: Callable[[], None],
        lost: Callable[[], None],
    ) -> None:
        self._files = files
        self._opening = opening
        self._station = station
        self._opening_observations = observations
        self._head = head
        self._lost = lost
        self._stations: dict[str, tuple[str, Station]] = {}
        self._observations: Trail | None = None
        self._waiting: queue.SimpleQueue[_Asked | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="writer")
        self._opened = threading.Event()
        self._fault: BaseException | None = None
        self._stopped = False
        self._halted: TrailFault | None = None
        self._trail: Trail | None = None

    # -- from the pages ------------------------------------------------------------------------

    async def act(self, tablet: str, place: str, work: Callable[[Station], _T]) -> _T:
        """Do an act at a tablet's own station; gives what it gave, or raises what it raised."""
        return await self.write(lambda trail: work(self._at(trail, tablet, place)))

    async def write(self, work: Callable[[Trail], _T]) -> _T:
        """Do an act on the writing connection itself."""

        def bound() -> _T:
            assert self._trail is not None
            return work(self._trail)

        return await self._ask(bound)

    async def observe(self, work: Callable[[Trail], _T]) -> _T:
        """Do an act on the trail of observations, which is opened or made for it."""

        def beside() -> _T:
            if self._observations is None:
                self._observations = self._opening_observations()
            return work(self._observations)

        return await self._ask(beside)

    async def forget(self, tablet: str) -> None:
        """Give up the station of a tablet at which nobody is any more."""
        await self._ask(lambda: self._stations.pop(tablet, None))

    async def _ask(self, work: Callable[[], _T]) -> _T:
        if self._stopped:
            raise TrailUnwritable(
                "The server is stopping. What was entered is not recorded; sign in again once it"
                " is back.",
                recorded=False,
            )
        asked = _Asked(work)
        self._waiting.put(asked)
        value: _T = await asked.told
        return value

    # -- from outside --------------------------------------------------------------------------

    def start(self) -> None:
        """Open the trail for writing. Raises the trail's own faults."""
        self._thread.start()
        self._opened.wait()
        if self._fault is not None:
            self._thread.join()
            raise self._fault

    def stop(self) -> None:
        """Do what waits, close the trail, and end the thread; whoever asks later is told."""
        self._stopped = True
        self._waiting.put(None)
        self._thread.join()

    def halt(self, fault: TrailFault) -> None:
        """Take nothing more: the trail is not what it was. Each act is answered with this."""
        self._halted = fault

    @property
    def halted(self) -> TrailFault | None:
        """What stopped the work for good, if anything did."""
        return self._halted

    # -- the thread ----------------------------------------------------------------------------

    def _run(self) -> None:
        with ExitStack() as closing:
            try:
                self._trail = closing.enter_context(self._opening())
                _interrupted(self._trail, self._station)
                _looked_through(self._trail, self._station)
            except BaseException as fault:
                self._fault = fault
                return
            finally:
                self._opened.set()
            going = True
            while going:
                group, going = self._gathered()
                self._together(group)
            if self._observations is not None:
                self._observations.close()

    def _gathered(self) -> tuple[list[_Asked], bool]:
        """Those who wait by now, and whether more may come."""
        first = self._waiting.get()
        group: list[_Asked] = []
        while first is not None:
            group.append(first)
            if len(group) == MOST or self._waiting.empty():
                return group, True
            first = self._waiting.get()
        return group, False

    def _together(self, group: list[_Asked]) -> None:
        """Do these acts, bring them to the disk, and only then tell whoever asked."""
        assert self._trail is not None
        try:
            if self._halted is not None:
                raise self._halted
            with self._trail.together():
                for asked in group:
                    asked.do()
        except Exception as fault:
            for asked in group:
                asked.fault = fault
            self._stations.clear()
            self._lost()
        else:
            self._heads_due()
        for asked in group:
            asked.tell()

    def _heads_due(self) -> None:
        due = [s.notary for _, s in self._stations.values() if s.notary and s.notary.due]
        for notary in due:
            notary.due = False
        if due:
            self._head()

    def _at(self, trail: Trail, tablet: str, place: str) -> Station:
        named, station = self._stations.get(tablet, ("", None))
        if station is None or named != place:
            station = self._station(trail, place)
            self._stations[tablet] = (place, station)
        station.ward = self._files.last
        return station


def _interrupted(trail: Trail, station: MakeStation) -> None:
    """Count all that was in the middle as interrupted: nobody knows what became of it meanwhile.

    So whatever was in hand when the last server stopped, or was killed, is gone on with behind its
    re-verification.
    """
    for one in trail.open_preparations():
        there = station(trail, one.station)
        screen = there.screen(one.id)
        if screen.stands != "interrupted" and screen.prep.turn > 0:
            there.interrupt(one.id, STATION_STOPPED, one.opened_by)


def _looked_through(trail: Trail, station: MakeStation) -> None:
    """Look once through all that came before, which would else be in somebody's step."""
    trail.opened_for("")
    for _ in station(trail, "").uses():
        pass
