"""The folder where the signed heads of one trail are kept, apart from the trail itself.

    latest.note     the newest checkpoint, a C2SP signed note
    notes/N.note    every checkpoint, N being its size in twelve figures
    digests         the digest of every entry covered, 32 bytes each: they tell which entry it is
                    that is not as it was, where a root tells only that one is not
    edge.json       the edge of the tree at the newest checkpoint, so that the next costs only the
                    entries since

A head is signed only when it extends the newest one that is kept here.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from itertools import islice
from pathlib import Path
from typing import NamedTuple, Protocol

from checklist.merkle import HASH_BYTES, Frontier
from checklist.note import Checkpoint, Note, NoteFault, checkpoint_in, note_in
from checklist.signing import Signer, verified
from checklist.trail_fault import TrailDamaged

LATEST, NOTES, DIGESTS, EDGE = "latest.note", "notes", "digests", "edge.json"


class HeadLost(TrailDamaged):
    """A trail does not go on from the head that was signed before: the loudest alarm there is."""


class NotKeptOutside(Exception):
    """A checkpoint could not be made or kept; the trail itself is untouched. Says what to do."""


class Trailing(Protocol):
    """What of a trail the heads ask for."""

    def digests(self, after: int = 0) -> Iterable[tuple[int, bytes]]:
        """The number and digest of the entries after a number, in order."""


class _Edge(NamedTuple):
    frontier: Frontier
    last: bytes


class Heads:
    """The heads of the trail with this origin, in a folder. Errors come as NotKeptOutside."""

    def __init__(self, folder: Path, origin: str) -> None:
        self.folder = folder
        self.origin = origin
        self._edge: _Edge | None = None

    def newest(self) -> tuple[Checkpoint, Path] | None:
        """The newest checkpoint kept here and its file, its signature not verified."""
        path = self.folder / LATEST
        if not path.exists():
            return None
        return checkpoint_in(note_in(_text(path)).text), path

    def notes(self) -> tuple[Path, ...]:
        """The files of all checkpoints, by size."""
        return tuple(sorted((self.folder / NOTES).glob("*.note")))

    def digests(self) -> bytes:
        """The digests of the entries that were covered, as they were; empty where none are kept."""
        path = self.folder / DIGESTS
        try:
            return path.read_bytes() if path.exists() else b""
        except OSError as fault:
            raise NotKeptOutside(f"{path} cannot be read ({fault.strerror}).") from fault

    def sign(self, entries: Trailing, signer: Signer) -> Note | None:
        """Sign the head of a trail, once it extends the newest one, and keep it here.

        None for a trail without an entry. Raises HeadLost when the trail does not extend the
        newest head that is kept here, NotKeptOutside when it cannot be kept.
        """
        try:
            return self._sign(entries, signer)
        except (OSError, NoteFault, ValueError) as fault:
            self._edge = None
            raise NotKeptOutside(
                f"The trail's head could not be kept in {self.folder} ({fault}). What is recorded"
                " is safe; call IT, so that it can also be shown to be so."
            ) from fault

    def _sign(self, entries: Trailing, signer: Signer) -> Note | None:
        known = self._known(signer)
        edge = self._edge_at(known, entries)
        new = list(entries.digests(edge.frontier.size))
        if not new:
            return None if known is None else note_in(_text(self.folder / LATEST))
        frontier, start = edge.frontier.copy(), edge.frontier.size
        for _, digest in new:
            frontier.add(digest)
        head = Checkpoint(origin=self.origin, size=frontier.size, root=frontier.root())
        note = signer.note(head)
        (self.folder / NOTES).mkdir(mode=0o700, parents=True, exist_ok=True)
        self._remember(start, b"".join(digest for _, digest in new))
        _replaced(self.folder / NOTES / f"{head.size:012d}.note", str(note))
        _replaced(self.folder / LATEST, str(note))
        self._edge = _Edge(frontier, new[-1][1])
        _replaced(self.folder / EDGE, _edge_text(self._edge))
        return note

    def _known(self, signer: Signer) -> Checkpoint | None:
        """The newest head that is kept here, which only this key can have signed."""
        if not (self.folder / LATEST).exists():
            return None
        note = note_in(_text(self.folder / LATEST))
        verified(note, [signer.key(self.origin)])
        head = checkpoint_in(note.text)
        if head.origin != self.origin:
            raise NoteFault(f"it keeps the heads of {head.origin}")
        return head

    def _edge_at(self, known: Checkpoint | None, entries: Trailing) -> _Edge:
        """The edge of the tree at the newest head, from which the trail is seen to go on."""
        if known is None:
            return _Edge(Frontier(), b"")
        edge = self._edge or self._edge_kept()
        if edge is None or not _is_of(edge, known):
            edge = _rebuilt(islice(entries.digests(0), known.size))
            if not _is_of(edge, known):
                raise self._lost(f"The head of {known.size} entries that was signed before")
        # Entry `size` stands just ahead of what is new: it has to be the one that was signed.
        if next(iter(entries.digests(known.size - 1)), None) != (known.size, edge.last):
            raise self._lost(f"Entry {known.size}, the last one that was signed before,")
        return edge

    def _edge_kept(self) -> _Edge | None:
        try:
            kept = json.loads(_text(self.folder / EDGE))
            peaks = [bytes.fromhex(peak) for peak in kept["peaks"]]
            return _Edge(Frontier(kept["size"], peaks), bytes.fromhex(kept["last"]))
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def _remember(self, start: int, digests: bytes) -> None:
        """Add digests behind the first `start`; those already there have to be the same."""
        handle = os.open(self.folder / DIGESTS, os.O_RDWR | os.O_CREAT, 0o600)
        with os.fdopen(handle, "r+b") as file:
            file.seek(0, os.SEEK_END)
            if file.tell() < start * HASH_BYTES:
                raise ValueError(f"{DIGESTS} was cut short")
            file.seek(start * HASH_BYTES)
            there = file.read(len(digests))
            whole = len(there) - len(there) % HASH_BYTES
            if there[:whole] != digests[:whole]:
                raise self._lost("An entry that was seen before")
            file.seek(start * HASH_BYTES)
            file.write(digests)
            file.flush()
            os.fsync(file.fileno())

    def _lost(self, what: str) -> HeadLost:
        return HeadLost(
            f"{what} is not in the trail as it was. No new head was signed. Stop using this trail,"
            " leave the file as it is, keep the folder"
            f" {self.folder}, and call IT: `checklist trail verify` names the entry."
        )


def _rebuilt(entries: Iterable[tuple[int, bytes]]) -> _Edge:
    frontier, last = Frontier(), b""
    for _, last in entries:
        frontier.add(last)
    return _Edge(frontier, last)


def _is_of(edge: _Edge, head: Checkpoint) -> bool:
    return edge.frontier.size == head.size and edge.frontier.root() == head.root


def _edge_text(edge: _Edge) -> str:
    peaks = [peak.hex() for peak in edge.frontier.peaks]
    return json.dumps({"size": edge.frontier.size, "peaks": peaks, "last": edge.last.hex()})


def _text(path: Path) -> str:
    return path.read_text("utf-8")


def _replaced(path: Path, text: str) -> None:
    """Write a file wholly or not at all, and bring it to the disk."""
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
