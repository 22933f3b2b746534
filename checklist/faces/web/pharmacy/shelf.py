"""The ward's files as they lie there now, read again only where one of them has changed."""

from __future__ import annotations

import asyncio
from pathlib import Path
from threading import Lock

from checklist.faces.looking_over import LookedOver, looked_over
from checklist.workflow import Workflow

_Stamp = tuple[tuple[str, int, int], ...]


class Shelf:
    """One ward's folder, and what was last read from it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock = Lock()
        self._last: tuple[_Stamp, LookedOver] | None = None
        self._digests: dict[str, tuple[Workflow, str]] = {}

    async def now(self) -> LookedOver:
        """The files as they are, read in a worker thread. Raises as `looked_over`."""
        return await asyncio.to_thread(self._read)

    def _read(self) -> LookedOver:
        with self._lock:
            stamp = self._stamp()
            if self._last is None or self._last[0] != stamp:
                found = looked_over(self.folder)
                for flow in found.flows.values():
                    self.digest(flow)
                self._last = stamp, found
            return self._last[1]

    def digest(self, flow: Workflow) -> str:
        """The digest of a workflow; working one out takes a moment, so it is kept."""
        kept = self._digests.get(flow.name)
        if kept is None or kept[0] is not flow:
            kept = self._digests[flow.name] = flow, flow.digest
        return kept[1]

    def _stamp(self) -> _Stamp:
        files = [
            file
            for folder in (self.folder, self.folder / "workflows", self.folder / "workflows/phases")
            if folder.is_dir()
            for file in sorted(folder.iterdir())
            if file.suffix in (".toml", ".json", ".csv")
        ]
        found = [(str(file), file.stat()) for file in files]
        return tuple((name, stat.st_mtime_ns, stat.st_size) for name, stat in found)
