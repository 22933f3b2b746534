"""The record of one preparation on paper: one who was not there can read what was done, and why."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer

from checklist.checks import REASONS
from checklist.faces.blocks import dose_of, short
from checklist.faces.covering import Covered, covered
from checklist.faces.leaving import CannotGoOn
from checklist.faces.notarial import named_keys
from checklist.faces.paper import at_hand, clear, put, say, signed_in, suffix_of
from checklist.faces.record import Told, entered_at, in_words, label_of, said_what, told_of
from checklist.faces.saying import harmless
from checklist.faces.workplace import preparation_of, quoted
from checklist.label import ITEMS
from checklist.permission import Action
from checklist.preparation import ITEM, Entry
from checklist.printing import press
from checklist.printing.face import pieces
from checklist.screen import told as reason
from checklist.station import NotAllowed, Station
from checklist.timing import said_date, said_span

MOST_PAGES = 2
"""More are printed only where even the brief form does not go on two: nothing is cut."""
VERIFY = (
    "To verify: `checklist trail verify` works out every digest anew. The entries of this"
    " preparation are whole when the digest above stands at its number there."
)
AFTER = "What was recorded of this preparation after that entry is not under this checkpoint."
EVENTS = (
    "cautioned", "proceeded", "refused", "remedied", "interrupted", "explained", "resumed", "ended",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The record of a preparation as a PDF of A4 pages, as it stood at `turn`."""

    preparation: str
    turn: int
    file: bytes
    pages: int

    def printed(self, station: Station, by: str) -> None:
        """Record that a person who is signed in put it on paper, with names.

        Raises MovedOn when something was recorded meanwhile, NotAllowed.
        """
        digest = hashlib.sha256(self.file).hexdigest()
        what = {"what": "record", "names": "yes", "file": "pdf", "digest": digest}
        station.printed(self.preparation, what, by, turn=self.turn)


def print_record(
    named: str,
    out: Path,
    *,
    by: str,
    names: bool,
    checkpoint: Path | None,
    keys: Sequence[str],
    trail: Path | None,
    ward: Path | None,
) -> None:
    """Print the record of a preparation into a PDF file.

    `names` prints the patient's name and what was kept apart, which is recorded. `checkpoint` is a
    file with a signed checkpoint of this trail, else the newest one kept is taken; `keys` are those
    of other devices that may have signed it.
    """
    suffix_of(out, ("pdf",))
    with clear(), at_hand(trail, ward, write=names) as (station, path):
        if names:
            permitted(station, signed_in(station, by).code)
        id_ = preparation_of(station.trail, named).id
        head = covered(station.trail, station.trail.of(id_), checkpoint, named_keys(keys))
        made = sheet_of(station, id_, names=names, head=head)
        put(out, made.file, lambda: made.printed(station, by) if names else None)
    pages = "1 page" if made.pages == 1 else f"{made.pages} pages"
    say(f"Record of {short(id_)}: {out}, {pages} of A4")
    if names:
        say("It names the patient: keep it as you keep the notes. Printing it is recorded.")
    else:
        say("It names nobody. Names are printed with --names, which is recorded.")
    if head is None:
        say("No signed head of this trail covers it yet: checklist trail checkpoint makes one.")
    typer.echo(harmless(f"next: checklist trail verify --trail {quoted(path)}"))


def sheet_of(station: Station, id_: str, *, names: bool, head: Covered | None) -> Sheet:
    """The record of a preparation; `names` lets names through, which the caller has to permit.

    Raises NotHere, NeedsExtra.
    """
    told = told_of(station.trail, id_, station.ward, names=names)
    file, pages = press.sheet(_data(told, station, head))
    if pages > MOST_PAGES:
        file, pages = press.sheet(_data(told, station, head, brief=True))
    return Sheet(preparation=id_, turn=told.prep.turn, file=file, pages=pages)


def permitted(station: Station, by: str) -> None:
    """Raise CannotGoOn for a person who may not read names; that they asked is recorded."""
    try:
        station.permit(by, Action.READ_NAMES)
    except NotAllowed as fault:
        raise CannotGoOn(f"Nothing was printed: {fault}.") from fault


def _data(
    told: Told, station: Station, head: Covered | None, *, brief: bool = False
) -> Mapping[str, Any]:
    """What the template is given: plain data; `brief` leaves out what was entered, and says so."""
    prep, unit = told.prep, station.ward.unit
    made = label_of(told)
    dose = {} if made is None else made.items
    shown = [
        (ITEMS[name], pieces(dose[name]))
        for name in ITEMS
        if dose.get(name) and made is not None and (told.names or name not in made.private)
    ]
    printed = [
        one
        for one in told.entries
        if one.event.kind == "printed" and one.event.body["what"] == "label"
    ]
    return {
        "title": "Record of a preparation",
        "place": f"{unit.hospital}, {unit.name}" if unit.hospital else unit.name,
        "whose": _whose(told),
        "foot": f"preparation {prep.id}, unit {unit.code}",
        "facts": [(name, pieces(text)) for name, text in _facts(told)],
        "label": shown,
        "no-label": "No label: nothing was drawn up.",
        "printed": [pieces(f"{_at(told, one)} {said_what(told, one)}") for one in printed],
        "working": [] if made is None else [pieces(line) for line in made.back],
        "events": [_event(told, one) for one in told.entries if one.event.kind in EVENTS],
        "entries": [_entry(told, one, brief=brief) for one in told.entries],
        "brief": (
            "What was entered at each step is left out for want of room; `checklist show` tells it."
            if brief
            else ""
        ),
        "trail": [(name, pieces(text)) for name, text in _trail(told, station)],
        "checkpoint": [] if head is None else str(head.note).strip().splitlines(),
        "proof": [] if head is None else list(head.lines()),
        "after": "" if head is None or not head.after else AFTER,
        "verify": VERIFY,
    }


def _whose(told: Told) -> str:
    """Whose preparation it is, for the head of each page."""
    order, patient = told.prep.order, told.ward and told.ward.patients.get(told.prep.order.patient)
    named = f" {patient.name}, record {patient.record_number}" if told.names and patient else ""
    return f"order {order.id}, patient {order.patient}{named}"


def _facts(told: Told) -> Iterator[tuple[str, str]]:
    prep, opened = told.prep, told.entries[0].event.body
    patient = told.ward.patients.get(prep.order.patient) if told.ward else None
    second = prep.order.second
    more = "" if second is None else f" and {second.drug} {second.dose}"
    yield "order", f"{prep.order.id}: {' '.join(dose_of(prep.order).split())}{more}"
    yield "patient", prep.order.patient
    if told.names and patient:
        born = f"born {said_date(patient.birth_date)}"
        yield "name", f"{patient.name}, {born}, record {patient.record_number}"
    way = in_words(opened["name"]).replace(".", ", ")
    yield "made from", f"{way}, version {opened['version']}"
    yield "prepared by", told.person(prep.preparer)
    checker = prep.person_of("checker_volume")
    if checker:
        yield "checked by", told.person(checker)
    last = [one for one in told.entries if one.event.kind not in ("printed", "noted")][-1].event.at
    began, ended = told.local(prep.opened_at), told.local(last)
    yield "begun", f"{said_date(began.date())} {began:%H:%M:%S}"
    yield "ended" if prep.closed else "last act", f"{said_date(ended.date())} {ended:%H:%M:%S}"
    yield "took", said_span(last - prep.opened_at)
    yield "stands at", in_words(prep.place)
    if prep.ended_because:
        yield "ended because", in_words(prep.ended_because)
    breaks = sum(one.event.kind == "interrupted" for one in told.entries)
    stops = f"stops {prep.refusals}, cautions {prep.cautions}, breaks {breaks}"
    yield "on the way", f"{stops}, begun anew {prep.restarts}"


def _trail(told: Told, station: Station) -> Iterator[tuple[str, str]]:
    head, last = station.trail.head(), told.entries[-1]
    now = told.local(station.now())
    yield "trail", f"{station.trail.origin.id} of unit {station.trail.origin.unit}"
    yield "entries", f"number {told.entries[0].seq} to {last.seq} of the trail"
    yield "digest of the last", last.digest.hex()
    yield "trail when printed", f"{head.seq} entries"
    yield "its head", head.digest.hex()
    yield "workflow", told.prep.workflow
    yield "software", str(told.entries[0].event.body["software"])
    yield "printed", f"{said_date(now.date())} {now:%H:%M:%S}"


def _at(told: Told, entry: Entry) -> str:
    return f"{told.local(entry.event.at):%H:%M:%S}"


def _event(told: Told, entry: Entry) -> Mapping[str, Any]:
    return {
        "at": _at(told, entry),
        "by": entry.event.by,
        "step": pieces(_step(entry)),
        "what": pieces(_reasoned(told, entry)),
    }


def _reasoned(told: Told, entry: Entry) -> str:
    """What was done, with the words of each reason that stood."""
    if entry.event.kind not in ("cautioned", "refused"):
        return said_what(told, entry)
    head = "STOP" if entry.event.kind == "refused" else "CAUTION"
    return f"{head}: " + " ".join(
        f"{reason(one['code'], one['tier'], one['facts']).found} ({one['code']})"
        if one["code"] in REASONS
        else f"({one['code']})"
        for one in entry.event.body["reasons"]
    )


def _entry(told: Told, entry: Entry, *, brief: bool) -> Mapping[str, Any]:
    found = [] if brief else entered_at(told, entry)
    entered = "; ".join(f"{in_words(name)} {value}" for name, value in found)
    text = f"{_step(entry)}: {said_what(told, entry)}{f' ({entered})' if entered else ''}"
    return {
        "turn": str(entry.event.turn),
        "at": _at(told, entry),
        "by": entry.event.by,
        "what": pieces(text),
    }


def _step(entry: Entry) -> str:
    step, _, item = (entry.event.place or entry.event.lands).partition("/")[0].partition(ITEM)
    return f"{in_words(step)} ({item})" if item else in_words(step)
