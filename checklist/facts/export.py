"""The export of a trail into a folder of facts: in short reads, checked link by link, resumable."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from checklist.facts.folder import (
    Exported,
    FactsFault,
    File,
    Folder,
    Read,
    with_files,
    without,
)
from checklist.facts.gathering import Around, facts_of
from checklist.facts.kept_flow import KeptFlow
from checklist.facts.pseudonym import pseudonyms
from checklist.facts.row import TABLES, Facts
from checklist.preparation import CLOSED, Entry
from checklist.trail import NotKept, Trail, TrailDamaged

BATCH = 4_000
"""How many preparations that came to an end are written in one go."""

Progress = Callable[[int, int], None]
"""Told how many of how many entries are read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What an export came to: entries read and checked, preparations ended and still open."""

    unit: str
    entries: int
    ended: int
    open: int
    through: int
    digest: str


@dataclass(slots=True)
class _Reading:
    """What is under way while a trail is read."""

    trail: Trail
    giving: frozenset[str]
    classes: Mapping[str, str]
    named: Callable[[str, str], str]
    under_way: dict[str, list[Entry]] = field(default_factory=dict)
    flows: dict[str, KeptFlow] = field(default_factory=dict)
    clocks: dict[str, ZoneInfo] = field(default_factory=dict)

    def facts(self, entries: Sequence[Entry]) -> Facts:
        body = entries[0].event.body
        around = Around(
            unit=body["unit"]["code"] or self.trail.origin.unit,
            clock=self._clock(body["unit"]["digest"]),
            flow=self._flow(body["workflow"]),
            named=self.named,
            classes=self.classes,
        )
        return facts_of(entries, around)

    def _flow(self, digest: str) -> KeptFlow:
        if digest not in self.flows:
            self.flows[digest] = KeptFlow(self.trail.definition(digest), self.giving)
        return self.flows[digest]

    def _clock(self, digest: str) -> ZoneInfo:
        if digest not in self.clocks:
            self.clocks[digest] = clock_of(self.trail, digest)
        return self.clocks[digest]


def clock_of(trail: Trail, digest: str) -> ZoneInfo:
    """The time zone in the unit's settings that are kept in the trail; UTC where they are not."""
    try:
        kept = tomllib.loads(trail.definition(digest)) if digest else {}
        return ZoneInfo(kept.get("timezone", "UTC"))
    except (NotKept, tomllib.TOMLDecodeError, ZoneInfoNotFoundError):
        return ZoneInfo("UTC")


def export(
    trail: Trail,
    folder: Folder,
    *,
    giving: frozenset[str],
    classes: Mapping[str, str] | None = None,
    progress: Progress = lambda _done, _all: None,
    batch: int = BATCH,
) -> Done:
    """Bring a folder of facts up to the trail's last entry, and say what that came to.

    Only entries that were not read before are read, a thousand at a time, so that the trail is
    never held. Each must have the digest of its content and follow the one before it; the one
    where the last export ended must still stand. `giving` are the fields that are taken when a
    dose is in, `classes` maps drugs to their classes. Raises TrailDamaged, and FactsFault where
    the folder is of another history.
    """
    counts = folder.exported()
    origin, head = trail.origin, trail.head()
    read = counts.trails.get(origin.id) or Read(
        unit=origin.unit, through=0, digest=origin.genesis.hex()
    )
    _same_history(trail, read, head.seq)
    if read.through == head.seq and origin.id in counts.trails:
        return _done(read, 0, 0)
    work = _Reading(trail, giving, classes or {}, pseudonyms(folder.key()))
    for id_ in read.open:
        entries = trail.of(id_)
        work.under_way[id_] = [e for e in entries if e.seq <= read.through]
    start, ended = read.through, 0
    closed: list[Facts] = []
    for entry in linked(trail, read):
        done = _taken(work, entry)
        if done:
            closed.append(work.facts(done))
        read = Read(unit=origin.unit, through=entry.seq, digest=entry.digest.hex(), open=read.open)
        if len(closed) >= batch:
            counts = _written(folder, counts, work, closed, read, last=False)
            ended, closed = ended + len(closed), []
        if entry.seq % 1_000 == 0:
            progress(entry.seq - start, head.seq - start)
    counts = _written(folder, counts, work, closed, read, last=True)
    progress(read.through - start, max(read.through - start, 1))
    return _done(counts.trails[origin.id], read.through - start, ended + len(closed))


def _done(read: Read, entries: int, ended: int) -> Done:
    return Done(
        unit=read.unit,
        entries=entries,
        ended=ended,
        open=len(read.open),
        through=read.through,
        digest=read.digest,
    )


def _same_history(trail: Trail, read: Read, last: int) -> None:
    """The entry where the last export ended must stand as it did."""
    if not read.through:
        return
    if last < read.through:
        raise FactsFault(
            f"The facts were read up to entry {read.through}; the trail {trail.path.name} now ends"
            f" at {last}. It was cut off, or an older copy was put back. Call IT; nothing was"
            " exported."
        )
    found = next(trail.since(read.through - 1))
    if found.digest.hex() != read.digest:
        raise TrailDamaged(
            f"Entry {read.through} of {trail.path.name} is not the one that was exported before."
            " Call IT; nothing was exported."
        )


def linked(trail: Trail, read: Read) -> Iterator[Entry]:
    """The entries that were not read yet, each of which follows the one before it."""
    digest = read.digest
    for entry in trail.since(read.through):
        if entry.previous.hex() != digest:
            raise TrailDamaged(
                f"Entry {entry.seq} of {trail.path.name} does not follow the entry before it."
                " Nothing from there on was exported. Call IT."
            )
        digest = entry.digest.hex()
        yield entry


def _taken(work: _Reading, entry: Entry) -> list[Entry] | None:
    """The entries of a preparation once this one closes it."""
    event = entry.event
    if event.kind == "opened":
        work.under_way[event.preparation] = []
    under_way = work.under_way.get(event.preparation)
    if under_way is None:
        return None  # a remark on one that is at an end
    under_way.append(entry)
    return work.under_way.pop(event.preparation) if event.lands in CLOSED else None


def _written(
    folder: Folder,
    before: Exported,
    work: _Reading,
    closed: Sequence[Facts],
    read: Read,
    *,
    last: bool,
) -> Exported:
    """Write what came to an end, and at last what is still open; then let it count."""
    trail = work.trail.origin.id
    files: list[File] = []
    name = f"{read.through:012d}"
    for table in TABLES:
        rows = [row for one in closed for row in one.rows(table)]
        files += folder.write(table, rows, trail=trail, name=name)
    if last:
        under_way = [work.facts(entries) for entries in work.under_way.values()]
        for table in TABLES:
            rows = [row for one in under_way for row in one.rows(table)]
            files += folder.write(table, rows, trail=trail, name=f"{name}-open", still_open=True)
    reached = Read(
        unit=read.unit, through=read.through, digest=read.digest, open=tuple(work.under_way)
    )
    after = with_files(without(before, trail, only_open=True), files, trail, reached)
    folder.commit(before, after)
    return after
