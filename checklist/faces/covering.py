"""The signed head that covers a preparation, with the proof that the preparation is under it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from checklist.faces.leaving import CannotGoOn
from checklist.faces.notarial import heads_of, note_at
from checklist.inclusion import path_to
from checklist.note import Checkpoint, Note, NoteFault, VerifierKey, checkpoint_in, origin_of
from checklist.preparation import Entry
from checklist.trail import Trail


@dataclass(frozen=True, slots=True, kw_only=True)
class Covered:
    """A signed head and the way to its root from the last entry of a preparation that it covers.

    `path` are the hashes of RFC 9162 section 2.1.3, the first next to the entry's digest. Each
    entry's digest is made over the one before it, so the last stands for all. `after` is how many
    entries of the preparation came after the head.
    """

    note: Note
    head: Checkpoint
    entry: Entry
    path: tuple[bytes, ...]
    after: int

    def lines(self) -> Iterator[tuple[str, str]]:
        """What is told about it: words and their values, hashes in hexadecimal figures."""
        yield "proves entry", f"{self.entry.seq}, leaf {self.entry.seq - 1} of {self.head.size}"
        yield "its digest", self.entry.digest.hex()
        for number, step in enumerate(self.path, start=1):
            yield f"hash {number}", step.hex()


def covered(
    trail: Trail, entries: Sequence[Entry], named: Path | None, given: Sequence[VerifierKey]
) -> Covered | None:
    """The head in a file, or the newest one kept; None where none is kept that covers an entry.

    Raises CannotGoOn for a file that is no head of this trail that can be relied on, or that covers
    nothing of the preparation; TrailDamaged when the trail does not go on from it.
    """
    path = named or _newest(trail)
    if path is None:
        return None
    note = note_at(path, trail.origin.id, given)
    head = checkpoint_in(note.text)
    if head.origin != origin_of(trail.origin.id):
        raise CannotGoOn(f"{path} is a head of another trail. Nothing was printed.")
    reached = [one for one in entries if one.seq <= head.size]
    if not reached and named is not None:
        raise CannotGoOn(
            f"{path} covers {head.size} entries; this preparation begins with entry"
            f" {entries[0].seq}. Make a new checkpoint first: checklist trail checkpoint."
        )
    if not reached:
        return None
    return Covered(
        note=note,
        head=head,
        entry=reached[-1],
        path=path_to(trail, head, reached[-1].seq),
        after=len(entries) - len(reached),
    )


def _newest(trail: Trail) -> Path | None:
    heads = heads_of(trail.path, trail.origin.id)
    try:
        newest = heads.newest()
    except (NoteFault, OSError, ValueError) as fault:
        raise CannotGoOn(f"The head kept in {heads.folder} cannot be read: {fault}") from fault
    return None if newest is None else newest[1]
