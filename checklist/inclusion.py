"""One preparation with the proof that it stands in a trail, to be checked without the trail.

The data hold the exact content that each entry's digest is made over, its path to the root, the
signed checkpoint with that root, and the signatures over its entries. Nothing of any other
preparation is in them but hashes. `independent/check_proof.py` checks them.
"""

from __future__ import annotations

from typing import Any

from checklist import chain, signature
from checklist import trail_row as stored
from checklist.chain import Row
from checklist.merkle import Tree
from checklist.note import Checkpoint, Note, VerifierKey, checkpoint_in
from checklist.preparation import Entry
from checklist.trail import Trail, TrailDamaged

FORM = "checklist inclusion 1"


class NotCovered(Exception):
    """The checkpoint does not reach to the end of the preparation, or is not of this trail."""


def proof_of(trail: Trail, preparation: str, note: Note, key: VerifierKey) -> dict[str, Any]:
    """The preparation's entries with their proof under a signed head, as JSON data.

    Raises NotCovered when the head does not reach to its last entry, TrailDamaged when an entry or
    the trail is not as it was recorded.
    """
    head = checkpoint_in(note.text)
    entries = with_signatures(trail, trail.of(preparation))
    if not entries or entries[-1].seq > head.size:
        raise NotCovered(
            f"The head covers {head.size} entries; this preparation ends with entry"
            f" {entries[-1].seq if entries else 0}. Make a new checkpoint first."
        )
    tree = _tree(trail, head)
    return {
        "form": FORM,
        "trail": trail.origin.id,
        "preparation": preparation,
        "key": str(key),
        "checkpoint": str(note),
        "entries": [
            {
                "seq": one.seq,
                "content": content(trail.origin.id, one).decode("utf-8"),
                "path": [step.hex() for step in tree.inclusion(one.seq - 1)],
            }
            for one in entries
        ],
    }


def path_to(trail: Trail, head: Checkpoint, seq: int) -> tuple[bytes, ...]:
    """The hashes that lead from the digest of an entry to the root of a head that covers it.

    Raises TrailDamaged when the trail does not go on from that head.
    """
    return _tree(trail, head).inclusion(seq - 1)


def signatures_of(trail: Trail, entries: tuple[Entry, ...]) -> dict[int, Entry]:
    """The entries `signed` that speak of some of these, by the number of the one spoken of."""
    found = with_signatures(trail, entries)
    return {one.seq - 1: one for one in found if one.event.kind == signature.KIND}


def with_signatures(trail: Trail, entries: tuple[Entry, ...]) -> list[Entry]:
    """The entries, each signed one followed by its signature."""
    found = []
    for one in entries:
        found.append(one)
        if signature.asks(one.event.kind, one.event.body):
            after = next(trail.since(one.seq), None)
            if after is not None and after.event.kind == signature.KIND:
                found.append(after)
    return found


def content(trail_id: str, entry: Entry) -> bytes:
    """What the entry's digest is made over. Raises TrailDamaged where it is not its digest's."""
    row = Row._make((entry.seq, *stored.columns(entry.event), entry.previous, entry.digest))
    made = chain.entry_bytes(trail_id, row)
    if chain.digest(made) != entry.digest:
        raise TrailDamaged(f"Entry {entry.seq} does not have the content that was recorded.")
    return made


def _tree(trail: Trail, head: Checkpoint) -> Tree:
    leaves = bytearray()
    for seq, digest in trail.digests(0):
        if seq > head.size:
            break
        leaves += digest
    tree = Tree(leaves)
    if tree.size != head.size or tree.root() != head.root:
        raise TrailDamaged(
            "The trail does not go on from the head that was signed. `checklist trail verify`"
            " names the entry."
        )
    return tree
