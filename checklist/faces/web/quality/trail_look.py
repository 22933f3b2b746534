"""Is the trail whole: what was looked at and found, its head, and what a trail cannot prove."""

from __future__ import annotations

import asyncio
import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from starlette.responses import RedirectResponse, Response

from checklist.faces import notarial
from checklist.faces.leaving import CannotGoOn
from checklist.faces.web.quality.figures import Figures
from checklist.faces.web.quality.page import PROVE, Seat
from checklist.faces.web.quality.refusals import DAYS, refusals
from checklist.faces.web.quality.wishing import short
from checklist.inclusion import NotCovered, proof_of
from checklist.note import Checkpoint, Note, NoteFault, note_in
from checklist.permission import Action
from checklist.report import UNKNOWN
from checklist.trail import Trail

WAITS, WAIT_S = 150, 0.1
"""How often, and how long apart in seconds, it is looked for a head that was asked for."""
HOLDS, NOT_SO, OPEN, NOTE = "holds", "does not hold", "open", "note"
"""What a look came to, in words."""
NOT_SHOWN = (
    (
        "A cut-off end, an older file put back and a chain made anew: those are seen only beside a"
        " head that was kept elsewhere, and only for what that head covers."
    ),
    "Entries that were made by whoever has the file and the key.",
    "Who typed a PIN that was lent or watched.",
    *UNKNOWN[:2],
)
"""What no look at a trail can show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One thing that was looked at, what was found, and what that comes to, in a word."""

    what: str
    found: str
    word: str


async def looked(seat: Seat) -> Response:
    """The last look over the trail, and what was recorded since."""
    figures = seat.figures
    if figures.verified is None and not figures.looking.ended:
        figures.look_over()
    entries, origin = await seat.desk.read(lambda trail: (trail.head().seq, trail.origin.id))
    since = seat.desk.clock() - timedelta(days=DAYS)
    refused = await seat.desk.read(lambda trail: refusals(trail, since))
    head, trouble = _kept(seat, origin)
    found = figures.verified
    return seat.page(
        "trail",
        task=figures.looking,
        verified=found,
        lines=_lines(figures, entries, head),
        entries=entries,
        head=head,
        trouble=trouble,
        digest=_fours(found.inside.head.digest.hex()) if found and found.inside.head else "",
        root=_fours(head.root.hex()) if head else "",
        not_shown=NOT_SHOWN,
        refused=refused,
        days=DAYS,
        took=_took(figures.looking.started, figures.looking.ended),
        local=seat.desk.ward.unit.local,
        may_sign=seat.may(Action.CHECKPOINT),
        may_prove=seat.may(*PROVE),
        many=entries_said,
        file=seat.desk.trail_path.name,
    )


def _lines(figures: Figures, entries: int, head: Checkpoint | None) -> list[Line]:
    """What was looked at, a line for each."""
    found = figures.verified
    lines = []
    if found is not None:
        inside, broken = found.inside, found.inside.first_break
        lines.append(
            Line(
                what="Chain",
                found=broken.sentence
                if broken
                else f"Entries 1 to {inside.entries}, each joins the one before it.",
                word=NOT_SO if broken else HOLDS,
            )
        )
        lines.append(
            Line(
                what="File and form",
                found=" ".join(inside.faults) or "As they are made.",
                word=NOT_SO if inside.faults else HOLDS,
            )
        )
        for one in found.beside:
            newer = inside.entries - one.head.size
            lines.append(
                Line(
                    what=f"Beside {one.what}",
                    found=one.sentence or f"{entries_said(one.head.size)} then, {newer} since.",
                    word=NOT_SO if one.sentence else HOLDS,
                )
            )
        if (signed := found.signatures) is not None:
            faults = " ".join(sentence for _, sentence in signed.faults[:5])
            asked = signed.held or signed.unsigned
            missing = f" {len(signed.unsigned)} acts have none." if signed.unsigned else ""
            lines.append(
                Line(
                    what="Signatures",
                    found=faults
                    or (f"{signed.held} hold.{missing}" if asked else "No act here asks for one."),
                    word=NOT_SO if faults else OPEN if found.wanting else HOLDS,
                )
            )
        if figures.backwards:
            lines.append(
                Line(
                    what="Clock",
                    found=f"{figures.backwards} steps back are recorded; the order is by number.",
                    word=NOTE,
                )
            )
    since = entries - head.size if head else entries
    kept = (
        f"{entries_said(head.size)} stand under the newest head kept"
        if head
        else "No head is kept yet"
    )
    lines.append(
        Line(
            what="Signed head",
            found=f"{kept}; {entries_said(since)} since then, not vouched for outside.",
            word=OPEN if since else HOLDS,
        )
    )
    return lines


async def look(seat: Seat) -> Response:
    """Begin to look the trail over once more."""
    seat.figures.look_over()
    return RedirectResponse("/quality/trail", 303)


async def sign(seat: Seat) -> Response:
    """Sign the trail's head now and keep it."""
    await _signed(seat)
    return RedirectResponse("/quality/trail", 303)


async def head(seat: Seat) -> Response:
    """The newest head that is kept, to be carried elsewhere."""
    note = await seat.desk.read(_newest)
    return Response(
        str(note),
        media_type="text/plain; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="head.note"'},
    )


async def proof(seat: Seat) -> Response:
    """One preparation with its proof. Its entries stand in it as they are, staff codes and all."""
    id_ = short("the preparation", seat.params.get("preparation", ""))
    await _signed(seat)
    found = await seat.desk.read(lambda trail: _proved(trail, id_))
    return Response(
        json.dumps(found, indent=1) + "\n",
        media_type="application/json",
        headers={"Content-Disposition": 'attachment; filename="proof.json"'},
    )


def _proved(trail: Trail, id_: str) -> dict[str, Any]:
    if not id_ or not trail.of(id_):
        raise CannotGoOn(f"This trail holds no preparation {id_[:40]!r}. Give its whole id.")
    try:
        return proof_of(trail, id_, _newest(trail), notarial.key_of(trail.origin.id))
    except NotCovered as fault:
        raise CannotGoOn(str(fault)) from fault


async def _signed(seat: Seat) -> None:
    """Have the head signed by the thread that keeps heads, and wait until it is. Raises CannotGoOn.

    It covers every entry that stands in the trail now.
    """
    entries, origin = await seat.desk.read(lambda trail: (trail.head().seq, trail.origin.id))
    seat.desk.heads.want()
    for _ in range(WAITS):
        newest, trouble = _kept(seat, origin)
        if newest is not None and newest.size >= entries:
            return
        await asyncio.sleep(WAIT_S)
    raise CannotGoOn(
        trouble or "The head was not kept in time; the server says why at its own screen. Call IT."
    )


def _newest(trail: Trail) -> Note:
    kept = notarial.heads_of(trail.path, trail.origin.id).newest()
    if kept is None:
        raise CannotGoOn("No head of this trail is kept yet. Sign one first.")
    return note_in(kept[1].read_text("utf-8"))


def _kept(seat: Seat, origin: str) -> tuple[Checkpoint | None, str]:
    """The newest head that is kept, or what stands in the way of reading it."""
    try:
        newest = notarial.heads_of(seat.desk.trail_path, origin).newest()
        return newest[0] if newest else None, ""
    except (NoteFault, OSError, ValueError) as fault:
        return None, f"The head that is kept cannot be read: {fault}"


def entries_said(count: int) -> str:
    """So many entries, in words."""
    return "1 entry" if count == 1 else f"{count} entries"


def _fours(digest: str) -> str:
    return " ".join(digest[at : at + 4] for at in range(0, min(len(digest), 32), 4))


def _took(started: datetime | None, ended: datetime | None) -> str:
    return f"{(ended - started).total_seconds():.1f} s" if started and ended else ""
