"""Whether the signatures in a trail hold, and whether each act that asks for one has one."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from checklist import signature
from checklist.chain import Row
from checklist.note import NoteFault, key_in
from checklist.signature import KIND, Signed
from checklist.signing import holds_in_text


@dataclass(slots=True, kw_only=True)
class Signatures:
    """What was found: how many hold, a sentence by entry for each that does not, the numbers of
    acts that ask for a signature and have none, and the keys used that are not known here."""

    held: int = 0
    faults: list[tuple[int, str]] = field(default_factory=list)
    unsigned: list[int] = field(default_factory=list)
    strangers: list[str] = field(default_factory=list)


def report(rows: Iterable[Row], trail_id: str, known: Collection[bytes]) -> Signatures:
    """Look at every signature among rows in their order; `known` are the public keys at hand."""
    found = Signatures()
    waiting: tuple[Row, str] | None = None
    for row in rows:
        if row.kind == KIND:
            _judge(found, row, waiting, trail_id, known)
            waiting = None
            continue
        if waiting is not None:
            found.unsigned.append(waiting[0].seq)
        waiting = None
        if row.kind in ("proceeded", "reviewed") or '"meaning":' in row.body:
            meaning = signature.asks(row.kind, _body(row))
            waiting = (row, meaning) if meaning else None
    if waiting is not None:
        found.unsigned.append(waiting[0].seq)
    return found


def _judge(
    found: Signatures,
    row: Row,
    before: tuple[Row, str] | None,
    trail_id: str,
    known: Collection[bytes],
) -> None:
    signed = signature.signed_in(row.seq, row.by, row.at, _body(row))
    if signed is None or before is None or _speaks_of(signed, *before) is False:
        found.faults.append((row.seq, f"Entry {row.seq} signs nothing that stands before it."))
        return
    content = signature.signed_bytes(
        trail_id, signed.of, signed.digest, signed.meaning, signed.person, signed.at
    )
    if not holds_in_text(signed.key, signed.value, content):
        found.faults.append((row.seq, f"The signature in entry {row.seq} does not hold."))
        return
    found.held += 1
    try:
        stranger = key_in(signed.key).key not in known
    except NoteFault:
        stranger = True
    if stranger and signed.key not in found.strangers:
        found.strangers.append(signed.key)


def _speaks_of(signed: Signed, row: Row, meaning: str) -> bool:
    told = (signed.of, signed.digest, signed.meaning, signed.person, signed.at)
    return told == (row.seq, row.digest.hex(), meaning, row.by, row.at)


def _body(row: Row) -> dict[str, object]:
    try:
        read = json.loads(row.body)
    except (ValueError, RecursionError):
        return {}
    return read if isinstance(read, dict) else {}
