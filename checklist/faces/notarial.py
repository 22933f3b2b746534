"""Where keys, signed heads and a reader's memory are kept, and what is compared with them."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from checklist.anchor import Stored, compared
from checklist.faces.leaving import CannotGoOn
from checklist.faces.workplace import DEMONSTRATION, data_folder, preparation_of
from checklist.heads import DIGESTS, Heads, NotKeptOutside
from checklist.inclusion import NotCovered, proof_of
from checklist.notary import Notary
from checklist.note import (
    Checkpoint,
    Note,
    NoteFault,
    VerifierKey,
    checkpoint_in,
    key_in,
    note_in,
    origin_of,
)
from checklist.signature_report import Signatures, report
from checklist.signing import Keys, verified
from checklist.trail import Trail


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A head that a trail was compared with: where it came from, and what was found amiss, if any.

    `first` is the first entry that is not as it was; 0 for another trail, or where all holds.
    """

    what: str
    head: Checkpoint
    first: int
    sentence: str


def keys() -> Keys:
    """The keys of this device: in CHECKLIST_KEYS, else in the data folder of this user."""
    named = os.environ.get("CHECKLIST_KEYS")
    return Keys(Path(named) if named else data_folder() / "keys")


def heads_of(path: Path, trail_id: str) -> Heads:
    """The kept heads of the trail at a path: in CHECKLIST_CHECKPOINTS, else in a folder beside it.

    Beside it they show whatever happens to the file alone. Against whoever may write to both, name
    a folder on another machine.
    """
    name = f"{path.name}.checkpoints"
    named = os.environ.get("CHECKLIST_CHECKPOINTS")
    folder = Path(named) / name if named else path.absolute().with_name(name)
    return Heads(folder, origin_of(trail_id))


def notary_of(trail: Trail) -> Notary:
    """The notary of a station that works with this trail."""
    return Notary(trail, keys(), heads_of(trail.path, trail.origin.id))


def key_of(trail_id: str) -> VerifierKey:
    """The public key that verifies this device's heads of a trail."""
    return keys().device().key(origin_of(trail_id))


def named_keys(texts: Sequence[str]) -> tuple[VerifierKey, ...]:
    """Keys given as text, or as a file that holds one. Raises CannotGoOn."""
    found = []
    for text in texts:
        try:
            path = Path(text)
            found.append(key_in((path.read_text("utf-8") if path.is_file() else text).strip()))
        except (NoteFault, OSError, ValueError) as fault:
            raise CannotGoOn(
                f"{fault} Give the line that `checklist trail key` prints, or a file with it."
            ) from fault
    return tuple(found)


def comparisons(
    path: Path, stored: Stored, against: Sequence[Path], given: Sequence[VerifierKey]
) -> Iterator[Comparison]:
    """The trail beside each head at hand: those named, the newest kept one, the last one seen."""
    origin = origin_of(stored.origin.id)
    heads = heads_of(path, stored.origin.id)
    public = keys().known()
    ours = [VerifierKey(name=origin, type=1, key=key) for key in public]
    known, good = _digests(heads), tuple(_heads_kept(heads))
    for one in against:
        head = _head_in(one, [*given, *ours, *_named_alike(one, public)])
        yield _comparison(str(one), stored, head, _digests_beside(one) or known, good)
    try:
        newest = heads.newest()
    except (NoteFault, OSError, ValueError) as fault:
        raise CannotGoOn(f"The head kept in {heads.folder} cannot be read: {fault}") from fault
    if newest is not None and not any(one.samefile(newest[1]) for one in against):
        if ours or given:
            _head_in(newest[1], [*given, *ours, *_named_alike(newest[1], public)])
        yield _comparison("the newest head kept", stored, newest[0], known, good)
    if stored.origin.id != DEMONSTRATION and (seen := _seen(origin)) is not None:
        theirs = _seen_path(origin).with_suffix(".digests")
        before = theirs.read_bytes() if theirs.is_file() else known
        yield _comparison("the head seen here last", stored, seen, before, good)


def remember(stored: Stored) -> None:
    """Keep the head just seen and its digests, so that the next look can tell what became of it."""
    if stored.origin.id == DEMONSTRATION:
        return
    origin, tree = origin_of(stored.origin.id), stored.tree
    head = Checkpoint(origin=origin, size=tree.size, root=tree.root())
    path = _seen_path(origin)
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.with_suffix(".digests").write_bytes(stored.leaves)
        path.write_text(head.text, "utf-8")
    except OSError as fault:
        raise CannotGoOn(
            f"The head that was seen cannot be kept in {path.parent} ({fault.strerror})."
        ) from fault


def signatures(path: Path, given: Sequence[VerifierKey]) -> Signatures:
    """What is found of the signatures in the trail at a path."""
    with Trail.open(path, read_only=True) as trail:
        known = {*keys().known(), *(key.key for key in given)}
        return report(trail.rows(), trail.origin.id, known)


def proved(path: Path, named: str) -> dict[str, Any]:
    """A preparation with its proof under a head made now, or under the newest one kept.

    Raises CannotGoOn where no head reaches to its last entry.
    """
    with Trail.open(path, read_only=True) as trail:
        preparation = preparation_of(trail, named).id
        notary, heads = notary_of(trail), heads_of(path, trail.origin.id)
        note = notary.checkpoint()
        if note is None:
            newest = heads.newest()
            if newest is None:
                raise CannotGoOn(notary.trouble or "Nothing is recorded in this trail yet.")
            note = note_in(newest[1].read_text("utf-8"))
        try:
            return proof_of(trail, preparation, note, key_of(trail.origin.id))
        except NotCovered as fault:
            raise CannotGoOn(f"{fault} {notary.trouble}") from fault


def written(path: Path, text: str) -> None:
    """Write a new file; one that is there already is left as it is. Raises CannotGoOn."""
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as fault:
        raise CannotGoOn(f"There is a file {path} already. Name another with --to.") from fault
    except OSError as fault:
        raise CannotGoOn(f"{path} cannot be written ({fault.strerror}).") from fault


def _comparison(
    what: str, stored: Stored, head: Checkpoint, known: bytes, good: Sequence[Checkpoint]
) -> Comparison:
    found = compared(stored, head, known=known, good=good)
    first, sentence = (found.seq, found.sentence) if found else (0, "")
    return Comparison(what=what, head=head, first=first, sentence=sentence)


def note_at(path: Path, trail_id: str, given: Sequence[VerifierKey]) -> Note:
    """The signed checkpoint in a file, once a key given or one of this device's own holds for it.

    Raises CannotGoOn.
    """
    public = keys().known()
    ours = [VerifierKey(name=origin_of(trail_id), type=1, key=key) for key in public]
    return _note_in(path, [*given, *ours])


def _head_in(path: Path, known: Sequence[VerifierKey]) -> Checkpoint:
    """The checkpoint in a file, once its signature by a known key holds."""
    return checkpoint_in(_note_in(path, known).text)


def _note_in(path: Path, known: Sequence[VerifierKey]) -> Note:
    """The note in a file that holds a checkpoint, once its signature by a known key holds."""
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        why = getattr(fault, "strerror", None) or "it is no text"
        raise CannotGoOn(f"The head {path} cannot be read ({why}).") from fault
    try:
        note = note_in(text)
        verified(note, known)
        checkpoint_in(note.text)
    except NoteFault as fault:
        raise CannotGoOn(
            f"{path} cannot be relied on as a head: {fault} If another device signed it, name that"
            " device's key with --key."
        ) from fault
    return note


def _named_alike(path: Path, public: Sequence[bytes]) -> list[VerifierKey]:
    """This device's keys under the origin that a note bears: it may be of another trail."""
    try:
        origin = checkpoint_in(note_in(path.read_text("utf-8")).text).origin
    except (NoteFault, OSError, ValueError):
        return []
    return [VerifierKey(name=origin, type=1, key=key) for key in public]


def _heads_kept(heads: Heads) -> Iterator[Checkpoint]:
    for path in heads.notes():
        try:
            yield checkpoint_in(note_in(path.read_text("utf-8")).text)
        except (NoteFault, OSError, ValueError):
            continue


def _digests(heads: Heads) -> bytes:
    try:
        return heads.digests()
    except NotKeptOutside:
        return b""


def _digests_beside(path: Path) -> bytes:
    for folder in (path.parent, path.parent.parent):
        if (folder / DIGESTS).is_file():
            return (folder / DIGESTS).read_bytes()
    return b""


def _seen_path(origin: str) -> Path:
    return data_folder() / "seen" / f"{sha256(origin.encode()).hexdigest()[:32]}.head"


def _seen(origin: str) -> Checkpoint | None:
    path = _seen_path(origin)
    try:
        return checkpoint_in(path.read_text("utf-8")) if path.exists() else None
    except (NoteFault, OSError, ValueError):
        return None
