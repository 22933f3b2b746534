"""Proofs of the ward's workflows, worked out beside the server and remembered.

A proof takes seconds of computing. In the server's own process it would hold up the nurses' steps,
so it is done in one process beside it, one workflow at a time, and kept by the digest of the
workflow and of what is required of it.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool

from checklist.proof import Proof, prove_all
from checklist.requirement import Required
from checklist.workflow import Workflow


class Proofs:
    """What has been proved so far; `digest` gives that of a workflow."""

    def __init__(self, digest: Callable[[Workflow], str]) -> None:
        self._digest = digest
        self._required: tuple[Required, int] | None = None
        self._found: dict[tuple[str, int], Proof] = {}
        self._pool: ProcessPoolExecutor | None = None
        self._turn = asyncio.Lock()
        self._task: asyncio.Task[None] | None = None

    def known(self, flow: Workflow, required: Required) -> Proof | None:
        """The proof of a workflow, where it has been worked out."""
        return self._found.get(self._key(flow, required))

    async def of(self, flow: Workflow, required: Required) -> Proof:
        """The proof of a workflow, worked out now where it has not been."""
        if (found := self.known(flow, required)) is not None:
            return found
        async with self._turn:
            if (found := self.known(flow, required)) is None:
                found = await self._prove(flow, required)
                self._found[self._key(flow, required)] = found
        return found

    def begin(self, flows: Iterable[Workflow], required: Required) -> None:
        """Work out what is not known yet, one after the other, while others go on."""
        wanting = [flow for flow in flows if self.known(flow, required) is None]
        if wanting and (self._task is None or self._task.done()):
            self._task = asyncio.create_task(self._all(wanting, required))

    def stop(self) -> None:
        """Let go of the process beside the server; called in the server's own loop."""
        if self._task is not None:
            self._task.cancel()
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None

    def _key(self, flow: Workflow, required: Required) -> tuple[str, int]:
        if self._required is None or self._required[0] is not required:
            self._required = required, hash(required.rows)
        return self._digest(flow), self._required[1]

    async def _all(self, flows: list[Workflow], required: Required) -> None:
        for flow in flows:
            await self.of(flow, required)

    async def _prove(self, flow: Workflow, required: Required) -> Proof:
        for last in (False, True):
            if self._pool is None:
                beside = multiprocessing.get_context("spawn")
                self._pool = ProcessPoolExecutor(1, mp_context=beside, initializer=_behind)
            try:
                work = self._pool.submit(prove_all, flow, required)
                return await asyncio.wrap_future(work)
            except BrokenProcessPool:  # the process was ended from outside: once more in a new one
                self._pool = None
                if last:
                    raise
        raise AssertionError("a proof was neither given nor refused")


def _behind() -> None:
    """Let the server go before the proofs."""
    os.nice(10)
