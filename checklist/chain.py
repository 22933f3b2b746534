"""The hash chain of a trail: how an entry's digest is made, and where a chain breaks.

An entry is hashed over this array, written as JSON without spaces and encoded as UTF-8:

    [trail id, seq, event id, preparation, turn, kind, place, lands, at, by, station, channel,
     body, previous]

`seq` and `turn` are JSON numbers, all else is text. `body` is the JSON text exactly as stored, as
one string; `previous` is the digest of the entry before as 64 lower-case hexadecimal figures. So
every column of an entry but its own digest is covered, and no two different entries give the same
bytes. The digest is SHA-256 over one zero byte and these bytes. That is the leaf hash of RFC 6962
section 2.1, so the same digests can be the leaves of a Merkle tree.

Before entry 1 stands the genesis, SHA-256 over one zero byte and the array
["trail", 1, trail id, unit, created at], which ties the chain to its trail; 1 is the format of
what is hashed. It outlives the form of the file, so that an old digest never changes.

A chain shows any change, loss or swap of entries before a known head. It cannot show that the
newest entries were cut off, nor that all of it was made anew: that takes a head kept elsewhere.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

FORMAT = 1
DIGEST_BYTES = 32
QUOTE, ESCAPED = '"', '\\"'


class Row(NamedTuple):
    """An entry exactly as stored, its columns in the order of the table and of the hash."""

    seq: int
    id: str
    preparation: str
    turn: int
    kind: str
    place: str
    lands: str
    at: str
    by: str
    station: str
    channel: str
    body: str
    previous: bytes
    digest: bytes


class Head(NamedTuple):
    """The last entry of a chain: its number, 0 for an empty trail, and its digest."""

    seq: int
    digest: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Break:
    """The first entry that is not as it was recorded, and what was found there."""

    seq: int
    sentence: str


def genesis(trail_id: str, unit: str, created_at: str) -> bytes:
    """The digest that stands before entry 1; `created_at` is the text as stored."""
    return digest(_array(["trail", FORMAT, trail_id, unit, created_at]))


def entry_bytes(trail_id: str, row: Row) -> bytes:
    """What an entry's digest is made over: all its stored fields but the digest itself."""
    return _array([trail_id, *row[:-2], row.previous.hex()])


def digest(content: bytes) -> bytes:
    """SHA-256 over a zero byte and the content: the leaf hash of RFC 6962 section 2.1."""
    return hashlib.sha256(b"\x00" + content).digest()


def first_break(rows: Iterable[Sequence[Any]], trail_id: str, *, after: Head) -> Break | None:
    """The first of the stored rows that does not follow, or None when all do.

    `after` is what stands before the first row: `Head(0, genesis(...))` for a whole trail. A row is
    a Row, or its columns in the same order. Bodies are hashed as they stand, never read and written
    again.

    A row is first put together without JSON's own writer, which takes most of the time. Where no
    text holds a backslash, only the quotation marks of a body need one; so if the digest that was
    recorded comes out of such a row, it is that of its array and of no other. Whatever does not
    come out so is put together in full before anything is said of it.
    """
    seq, before = after
    start = f"\0[{json.dumps(trail_id, ensure_ascii=False)},"
    join, sha256 = '","'.join, hashlib.sha256
    for row in rows:
        found, id_, prep, turn, kind, place, lands, at, by, station, channel, body, last, own = row
        seq += 1
        try:
            names, rest = join((id_, prep)), join((kind, place, lands, at, by, station, channel))
            front = f'{start}{found},"{names}",{turn},"{rest}","'
            plain = "\\" not in front and "\\" not in body
            content = f'{front}{body.replace(QUOTE, ESCAPED)}","{before.hex()}"]'
            ours = type(found) is int and type(turn) is int and found == seq and last == before
            if ours and plain and sha256(content.encode()).digest() == own:
                before = own
                continue
        except (AttributeError, TypeError):  # a column of another type
            pass
        fault = _fault(Row._make(row), trail_id, Head(seq - 1, before))
        if fault is not None:
            return Break(seq=seq, sentence=fault)
        before = own
    return None


def altered(row: Row, trail_id: str) -> bool:
    """Whether a row does not have the digest of its own content, whatever stands before it."""
    if not all(isinstance(value, kind) for value, kind in zip(row, _TYPES, strict=True)):
        return True
    return digest(entry_bytes(trail_id, row)) != row.digest


_TYPES = (int, str, str, int, str, str, str, str, str, str, str, str, bytes, bytes)


def _fault(row: Row, trail_id: str, last: Head) -> str | None:
    expected = last.seq + 1
    if row.seq != expected:
        return f"Entry {expected} is missing; entry {row.seq} stands in its place."
    if altered(row, trail_id):
        return f"Entry {expected} does not have the content that was recorded."
    if row.previous != last.digest:
        return f"Entry {expected} does not follow the entry before it."
    return None


def _array(fields: list[str | int]) -> bytes:
    text = json.dumps(fields, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode("utf-8")
