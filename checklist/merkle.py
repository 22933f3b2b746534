"""The Merkle tree over a trail's entries: its root at any size, and proofs that leaves are in it.

The tree is that of RFC 6962 section 2.1: a node is SHA-256 over the byte 1 and its two children,
and n leaves split at the largest power of two below n. The leaves are the digests of the entries,
see `chain`. The two verifying functions follow RFC 9162 sections 2.1.3.2 and 2.1.4.2.

A proof of inclusion does not always pin the size of its tree: size and root are taken together
from one checkpoint, never from whoever brings the proof.
"""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256

HASH_BYTES = 32
EMPTY = sha256(b"").digest()
"""The root of a tree without leaves."""
LARGEST = 2**63 - 1
"""The largest size of a tree that a checkpoint can state."""


def leaf(content: bytes) -> bytes:
    """The hash of a leaf: SHA-256 over a zero byte and the content."""
    return sha256(b"\x00" + content).digest()


def node(left: bytes, right: bytes) -> bytes:
    """The hash of a node: SHA-256 over the byte 1 and the hashes of its two children."""
    return sha256(b"\x01" + left + right).digest()


class Frontier:
    """The whole subtrees at the right edge of a tree: all it takes to go on and to tell the root.

    `peaks` are their roots, the largest subtree first: one for each one in the binary form of
    `size`. Adding a leaf costs two hashes on average, the root at most one for each peak.
    """

    def __init__(self, size: int = 0, peaks: Sequence[bytes] = ()) -> None:
        if size < 0 or len(peaks) != size.bit_count() or any(len(p) != HASH_BYTES for p in peaks):
            raise ValueError(f"{len(peaks)} peaks do not make the edge of a tree of {size} leaves")
        self.size = size
        self.peaks = list(peaks)

    def add(self, leaf_hash: bytes) -> None:
        """Put one more leaf at the end, given by its hash."""
        self.peaks.append(leaf_hash)
        whole = self.size
        while whole & 1:
            right = self.peaks.pop()
            self.peaks[-1] = node(self.peaks[-1], right)
            whole >>= 1
        self.size += 1

    def root(self) -> bytes:
        """The root of the tree as it is now."""
        if not self.peaks:
            return EMPTY
        found = self.peaks[-1]
        for peak in reversed(self.peaks[:-1]):
            found = node(peak, found)
        return found

    def copy(self) -> Frontier:
        """Another frontier of the same tree, which grows apart."""
        return Frontier(self.size, self.peaks)


class Tree:
    """A whole tree, kept level by level, from which every root and proof can be told.

    `leaves` are the hashes of the leaves, one after the other without anything between. Building
    costs one hash for each leaf, and twice the room of the leaves.
    """

    def __init__(self, leaves: bytes | bytearray) -> None:
        if len(leaves) % HASH_BYTES:
            raise ValueError(f"{len(leaves)} bytes are no whole number of hashes")
        self.size = len(leaves) // HASH_BYTES
        level = bytes(leaves)
        self._levels = [level]
        while len(level) >= 2 * HASH_BYTES:
            level = _parents(level)
            self._levels.append(level)

    def leaf(self, index: int) -> bytes:
        """The hash of the leaf at an index from 0."""
        self._within(index + 1, least=1)
        return self._levels[0][index * HASH_BYTES : (index + 1) * HASH_BYTES]

    def root(self, size: int | None = None) -> bytes:
        """The root of the first `size` leaves, or of all. Raises ValueError beyond the tree."""
        size = self.size if size is None else size
        self._within(size, least=0)
        return self._root(0, size) if size else EMPTY

    def inclusion(self, index: int, size: int | None = None) -> tuple[bytes, ...]:
        """The proof that the leaf at `index` is in the tree of `size`: RFC 9162 section 2.1.3.1."""
        size = self.size if size is None else size
        self._within(index + 1, least=1)
        self._within(size, least=index + 1)
        path, start, end = [], 0, size
        while end - start > 1:
            middle = start + _split(end - start)
            if index < middle:
                path.append(self._root(middle, end))
                end = middle
            else:
                path.append(self._root(start, middle))
                start = middle
        return tuple(reversed(path))

    def consistency(self, first: int, second: int | None = None) -> tuple[bytes, ...]:
        """The proof that the tree of `first` begins that of `second`: RFC 9162 section 2.1.4.1.

        A first size of 0 proves nothing and raises ValueError.
        """
        second = self.size if second is None else second
        self._within(second, least=first)
        self._within(first, least=1)
        path, start, end, whole = [], 0, second, True
        while first != end:
            middle = start + _split(end - start)
            if first <= middle:
                path.append(self._root(middle, end))
                end = middle
            else:
                path.append(self._root(start, middle))
                start, whole = middle, False
        if not whole:
            path.append(self._root(start, end))
        return tuple(reversed(path))

    def _root(self, start: int, end: int) -> bytes:
        """The root of the leaves from `start`, which is a multiple of the split of the rest."""
        count = end - start
        if count & (count - 1) == 0:
            height = count.bit_length() - 1
            at = (start >> height) * HASH_BYTES
            return self._levels[height][at : at + HASH_BYTES]
        middle = start + _split(count)
        return node(self._root(start, middle), self._root(middle, end))

    def _within(self, size: int, *, least: int) -> None:
        if not 0 <= least <= size <= self.size:
            raise ValueError(f"{size} of at least {least} leaves, in a tree of {self.size}")


def included(index: int, size: int, leaf_hash: bytes, proof: Sequence[bytes], root: bytes) -> bool:
    """Whether a proof shows that the leaf stands at `index` in the tree with this size and root."""
    if not 0 <= index < size <= LARGEST or not _hashes(leaf_hash, root, *proof):
        return False
    at, last, found = index, size - 1, leaf_hash
    for step in proof:
        if last == 0:
            return False
        if at & 1 or at == last:
            found = node(step, found)
            while not at & 1 and at:
                at, last = at >> 1, last >> 1
        else:
            found = node(found, step)
        at, last = at >> 1, last >> 1
    return last == 0 and found == root


def consistent(
    first: int, second: int, first_root: bytes, second_root: bytes, proof: Sequence[bytes]
) -> bool:
    """Whether a proof shows that the tree of `first` leaves begins the tree of `second`.

    False for a first size of 0: nothing is an extension of nothing in particular.
    """
    if not 0 < first <= second <= LARGEST or not _hashes(first_root, second_root, *proof):
        return False
    if first == second:
        return not proof and first_root == second_root
    steps = list(proof)
    if first & (first - 1) == 0:
        steps.insert(0, first_root)
    if not steps:
        return False
    at, last = first - 1, second - 1
    while at & 1:
        at, last = at >> 1, last >> 1
    old = new = steps[0]
    for step in steps[1:]:
        if last == 0:
            return False
        if at & 1 or at == last:
            old, new = node(step, old), node(step, new)
            while not at & 1 and at:
                at, last = at >> 1, last >> 1
        else:
            new = node(new, step)
        at, last = at >> 1, last >> 1
    return last == 0 and old == first_root and new == second_root


def _parents(level: bytes) -> bytes:
    """The whole parents of one level; a last hash without a sister has none."""
    pair = 2 * HASH_BYTES
    ends = range(0, len(level) - len(level) % pair, pair)
    return b"".join([sha256(b"\x01" + level[at : at + pair]).digest() for at in ends])


def _split(count: int) -> int:
    """The largest power of two below a count of at least two."""
    return 1 << (count - 1).bit_length() - 1


def _hashes(*values: bytes) -> bool:
    return all(len(value) == HASH_BYTES for value in values)
