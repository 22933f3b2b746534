"""Readers of the trail, each with a connection of its own, so that no look holds up the writer."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

from checklist.trail import Trail

_T = TypeVar("_T")
THREADS = 2
"""Reading threads. Python runs one at a time, so more of them only wait for each other."""


class Reader:
    """A few threads that read one trail, and the server's own thread for what is read at once."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._pool = ThreadPoolExecutor(THREADS, thread_name_prefix="reader")
        self._own = threading.local()

    async def read(self, work: Callable[[Trail], _T]) -> _T:
        """Do some work with the trail, open for reading only. Raises what it raised."""
        return await asyncio.get_running_loop().run_in_executor(self._pool, self._with, work)

    def at_once(self, work: Callable[[Trail], _T]) -> _T:
        """Do some work of a millisecond here and now. Raises what it raised.

        To hand it to another thread and come back costs more than that: with fifty tablets the
        slowest forms took half as long again.
        """
        return self._with(work)

    async def aside(self, work: Callable[[], _T]) -> _T:
        """Do some slow work that needs no trail."""
        return await asyncio.get_running_loop().run_in_executor(self._pool, work)

    def stop(self) -> None:
        """Close each thread's connection in that thread, this one's too, and end them."""
        together = threading.Barrier(THREADS)

        def close() -> None:
            together.wait()
            self._close()

        for _ in range(THREADS):
            self._pool.submit(close)
        self._pool.shutdown()
        self._close()

    def _close(self) -> None:
        trail: Trail | None = self._own.__dict__.pop("trail", None)
        if trail is not None:
            trail.close()

    def _with(self, work: Callable[[Trail], _T]) -> _T:
        if not hasattr(self._own, "trail"):
            self._own.trail = Trail.open(self._path, read_only=True)
        return work(self._own.trail)
