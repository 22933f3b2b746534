"""The one thread that writes: the trail's writing connection, and a station for each tablet."""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from checklist.station import Station
from checklist.trail import Trail

_T = TypeVar("_T")
MakeStation = Callable[[Trail, str], Station]
"""Makes the station of a place over the writing connection."""


@dataclass(frozen=True, slots=True)
class _Asked:
    work: Callable[[], Any]
    loop: asyncio.AbstractEventLoop
    told: asyncio.Future[Any]

    def answer(self, value: Any, fault: BaseException | None) -> None:
        def settle() -> None:
            if self.told.done():
                return
            if fault is None:
                self.told.set_result(value)
            else:
                self.told.set_exception(fault)

        self.loop.call_soon_threadsafe(settle)


class Writer:
    """Takes acts from the pages one after the other; an act is answered once it is on the disk."""

    def __init__(
        self,
        opening: Callable[[], Trail],
        station: MakeStation,
        observations: Callable[[], Trail],
    ) -> None:
        self._opening = opening
        self._opening_observations = observations
        self._observations: Trail | None = None
        self._station = station
        self._stations: dict[str, tuple[str, Station]] = {}
        self._waiting: queue.SimpleQueue[_Asked | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="writer")
        self._opened = threading.Event()
        self._fault: BaseException | None = None
        self._trail: Trail | None = None

    def start(self) -> None:
        """Open the trail for writing. Raises the trail's own faults."""
        self._thread.start()
        self._opened.wait()
        if self._fault is not None:
            self._thread.join()
            raise self._fault

    def stop(self) -> None:
        """Do what waits, close the trail, and end the thread."""
        self._waiting.put(None)
        self._thread.join()

    async def act(self, tablet: str, place: str, work: Callable[[Station], _T]) -> _T:
        """Do an act at a tablet's own station; gives what it gave, or raises what it raised."""
        return await self.write(lambda trail: work(self._at(trail, tablet, place)))

    async def write(self, work: Callable[[Trail], _T]) -> _T:
        """Do an act on the writing connection itself."""
        loop = asyncio.get_running_loop()
        told: asyncio.Future[_T] = loop.create_future()

        def bound() -> _T:
            assert self._trail is not None
            return work(self._trail)

        self._waiting.put(_Asked(bound, loop, told))
        return await told

    async def observe(self, work: Callable[[Trail], _T]) -> _T:
        """Do an act on the trail of observations."""

        def beside(trail: Trail) -> _T:
            if self._observations is None:
                self._observations = self._opening_observations()
            return work(self._observations)

        return await self.write(beside)

    def _at(self, trail: Trail, tablet: str, place: str) -> Station:
        named, station = self._stations.get(tablet, ("", None))
        if station is None or named != place:
            station = self._station(trail, place)
            self._stations[tablet] = (place, station)
        return station

    def _run(self) -> None:
        try:
            self._trail = self._opening()
        except BaseException as fault:
            self._fault = fault
            return
        finally:
            self._opened.set()
        try:
            while (asked := self._waiting.get()) is not None:
                try:
                    value = asked.work()
                except BaseException as fault:
                    asked.answer(None, fault)
                else:
                    asked.answer(value, None)
        finally:
            self._trail.close()
            if self._observations is not None:
                self._observations.close()
