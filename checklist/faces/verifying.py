"""`checklist trail verify`: the trail looked over from inside, and beside heads kept elsewhere."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer

from checklist.anchor import Stored
from checklist.faces import notarial
from checklist.faces.leaving import DAMAGED, DONE, WANTING, message
from checklist.faces.notarial import Comparison
from checklist.faces.saying import harmless
from checklist.faces.workplace import quoted, trail_to_read
from checklist.note import VerifierKey
from checklist.signature_report import Signatures
from checklist.trail import Trail, Verification

LOOKS = 3
"""How often a trail is read beside its heads before a difference counts."""
MOST_NAMED = 10
"""Most entries of one kind that a sentence names."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """All that was found: inside the trail, beside heads kept elsewhere, and of its signatures.

    `signatures` is None where the trail is not whole, so that they were not looked at.
    """

    inside: Verification
    beside: tuple[Comparison, ...]
    signatures: Signatures | None

    @property
    def first(self) -> int | None:
        """The first entry that is not as it was; None where all of them are."""
        found = [one.first for one in self.beside if one.sentence]
        found += [self.inside.first_break.seq] if self.inside.first_break else []
        found += [seq for seq, _ in self.signatures.faults] if self.signatures else []
        return min(found, default=None)

    @property
    def damaged(self) -> bool:
        """Whether anything is not as it was recorded."""
        amiss = any(one.sentence for one in self.beside)
        return not self.inside.whole or amiss or bool(self.signatures and self.signatures.faults)

    @property
    def wanting(self) -> bool:
        """Whether a trail with signatures holds acts that ask for one and have none."""
        found = self.signatures
        return found is not None and found.held > 0 and bool(found.unsigned)


def verify(
    *,
    trail: Path | None,
    ward: Path | None,
    against: Sequence[Path],
    key: Sequence[str],
    as_json: bool,
) -> int:
    """Verify a trail and tell what was found; the command's exit code."""
    path = trail_to_read(trail, ward)
    found = looked_over(path, against, notarial.named_keys(key))
    if as_json:
        typer.echo(json.dumps(_data(path, found)))
    else:
        _say(path, found)
    _warn(found)
    return DAMAGED if found.damaged else WANTING if found.wanting else DONE


def looked_over(
    path: Path, against: Sequence[Path] = (), given: Sequence[VerifierKey] = ()
) -> Verified:
    """Everything that can be found of a trail: inside it, beside kept heads, of its signatures.

    A head that is seen and holds is remembered for the next look. It reads the whole file, on
    connections of its own, and holds up nobody who writes.
    """
    inside = Trail.examine(path)
    for _ in range(LOOKS):
        stored = Stored(path)
        beside = tuple(notarial.comparisons(path, stored, against, given))
        # While work goes on a head can be kept between the two reads: then it is newer than what
        # was read of the trail. A trail whose end is gone is still without it at the next look.
        if not any(one.sentence for one in beside):
            break
    signatures = notarial.signatures(path, given) if inside.whole else None
    found = Verified(inside=inside, beside=beside, signatures=signatures)
    if not found.damaged:
        notarial.remember(stored)
    return found


def _say(path: Path, found: Verified) -> None:
    typer.echo(harmless(f"trail: {path}"))
    state = "not as it was recorded" if found.damaged else "whole"
    typer.echo(f"{found.inside.entries} entries, {state}")
    if found.inside.head is not None:
        typer.echo(f"head: entry {found.inside.head.seq}, {found.inside.head.digest.hex()}")
    for one in found.beside:
        if not one.sentence:
            newer = found.inside.entries - one.head.size
            typer.echo(
                harmless(f"goes on from {one.what}: {one.head.size} entries, {newer} since then")
            )
    signed = found.signatures
    if signed is not None and (signed.held or signed.unsigned):
        typer.echo(f"signatures: {signed.held} hold")
        if signed.strangers:
            typer.echo(
                f"{len(signed.strangers)} of the keys are known from the trail alone; name the"
                " station's key with --key."
            )
    if not found.damaged:
        if not found.beside:
            typer.echo("A cut-off end is seen only beside a head that was kept elsewhere.")
        typer.echo(f"next: checklist list --trail {quoted(path)}")


def _warn(found: Verified) -> None:
    signed = found.signatures
    if signed is not None and signed.unsigned and signed.held:
        named = ", ".join(map(str, signed.unsigned[:MOST_NAMED]))
        message(f"Acts that ask for a signature and have none: {len(signed.unsigned)}: {named}.")
    if not found.damaged:
        return
    if found.inside.first_break is not None:
        broken = found.inside.first_break
        message(f"First entry that is not as recorded: {broken.seq}. {broken.sentence}")
    for one in found.beside:
        if one.sentence:
            message(f"Beside {one.what}: {one.sentence}")
    for _, sentence in signed.faults[:MOST_NAMED] if signed else ():
        message(sentence)
    for fault in found.inside.faults:
        message(fault)
    message("Stop using this trail, leave the file as it is, and call IT.")


def _data(path: Path, found: Verified) -> dict[str, Any]:
    inside, signed = found.inside, found.signatures
    head, broken = inside.head, inside.first_break
    return {
        "trail": str(path),
        "whole": not found.damaged,
        "entries": inside.entries,
        "head": None if head is None else {"seq": head.seq, "digest": head.digest.hex()},
        "first": found.first,
        "first_break": None if broken is None else {"seq": broken.seq, "sentence": broken.sentence},
        "faults": list(inside.faults),
        "beside": [
            {
                "what": one.what,
                "size": one.head.size,
                "holds": not one.sentence,
                "sentence": one.sentence,
            }
            for one in found.beside
        ],
        "signatures": None
        if signed is None
        else {
            "held": signed.held,
            "faults": [sentence for _, sentence in signed.faults],
            "unsigned": signed.unsigned,
            "unknown_keys": signed.strangers,
        },
    }
