"""A preparation told from its trail: what happened when, by whom, and the label it came to."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import typer

from checklist import codec, library
from checklist.answer import SEALED
from checklist.beside import CAUSES
from checklist.definition import from_text
from checklist.engine import GO_ON
from checklist.faces.blocks import dose_of, short
from checklist.faces.errand import errand
from checklist.faces.saying import WIDEST, harmless, lines
from checklist.faces.workplace import preparation_of, prepared_in, quoted, real_clock, ward_of
from checklist.fold import replay
from checklist.gate import Rules
from checklist.inclusion import signatures_of
from checklist.intake.ward import Ward
from checklist.label import Label, label
from checklist.observation import Identifier, ProductRead, Reading, Sealed, Unread
from checklist.people import StaffMember
from checklist.permission import Action
from checklist.preparation import Entry, Preparation
from checklist.printing.job import AGAIN
from checklist.signature import WORDS
from checklist.station import Station
from checklist.timing import said_date, said_span
from checklist.trail import Trail
from checklist.verdict import REMEDY_WORDS, Remedy


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A preparation with all that is needed to tell it. `names` lets names and texts through.

    `signed` are the signatures by the number of the entry that each speaks of.
    """

    trail: Trail
    entries: tuple[Entry, ...]
    signed: Mapping[int, Entry]
    rules: Rules
    prep: Preparation
    ward: Ward | None
    names: bool

    def local(self, at: datetime) -> datetime:
        """A moment on the ward's own clock; in UTC where the ward is not at hand."""
        return self.ward.unit.local(at) if self.ward else at

    def person(self, code: str) -> str:
        """A staff code, with its name where names are let through."""
        known = self.ward.staff.get(code) if self.ward else None
        return f"{code} {known.name}" if self.names and known else code


def show(
    named: str,
    *,
    trail: Path | None,
    ward: Path | None,
    as_json: bool,
    names: bool,
    by: str = "",
) -> None:
    """Tell one preparation on stdout. With `names` it is recorded before that `by` asked."""
    path = prepared_in(trail, ward)
    if names:
        with errand(path, ward, by, Action.READ_NAMES) as here:
            of = preparation_of(here.trail, named).id
            here.record("names_shown", {"preparation": of, "what": "show"})
    with Trail.open(path, read_only=True) as kept:
        id_ = preparation_of(kept, named).id
        told = told_of(kept, id_, ward_of(ward, kept, path), names=names)
        if as_json:
            typer.echo(json.dumps(_data(told)))
            return
        for line in _head(told):
            _say(line)
        entries = told.entries
        for one, before in zip(entries, (entries[0], *entries), strict=False):
            _tell(told, one, before)
        _foot(told)
        _next(f"trail verify --trail {quoted(path)}")


def told_of(trail: Trail, id_: str, ward: Ward | None, *, names: bool) -> Told:
    """A preparation of a trail, folded from its entries under the workflow of its day."""
    entries = trail.of(id_)
    rules = Rules.of(from_text(trail.definition(entries[0].event.body["workflow"])))
    prep = replay(entries, rules)
    return Told(
        trail=trail,
        entries=entries,
        signed=signatures_of(trail, entries),
        rules=rules,
        prep=prep,
        ward=ward,
        names=names,
    )


def listing(*, trail: Path | None, ward: Path | None, as_json: bool) -> None:
    """List the preparations of a trail on stdout, in the order of their opening."""
    path = prepared_in(trail, ward)
    with Trail.open(path, read_only=True) as kept:
        here = ward_of(ward, kept, path)
        rows = [
            {
                "preparation": one.id,
                "order": (order := codec.order_in(kept.of(one.id)[0].event.body["order"])).id,
                "patient": order.patient,
                "dose": dose_of(order),
                "place": one.place,
                "opened_at": codec.time_out(one.opened_at),
                "opened_by": one.opened_by,
                "last_at": codec.time_out(one.last_at),
                "entries": one.turn + 1,
            }
            for one in kept.preparations()
        ]
        times = [one.opened_at for one in kept.preparations()]
    if as_json:
        typer.echo(json.dumps({"trail": str(path), "preparations": rows}))
        return
    _say(f"trail: {path}")
    for row, at in zip(rows, times, strict=True):
        began = here.unit.local(at) if here else at
        head = f"{short(str(row['preparation']))}  {said_date(began.date())} {began:%H:%M}  "
        place = in_words(str(row["place"]))
        _say(f"{row['order']}  {row['patient']}  {row['dose']}  {row['opened_by']}: {place}", head)
    newest = short(str(rows[-1]["preparation"])) if rows else ""
    after = f"show {newest}" if rows else "prepare"
    _next(f"{after} --trail {quoted(path)}")


# -- in words ------------------------------------------------------------------------------------


def _say(text: str = "", first: str = "") -> None:
    width = min(shutil.get_terminal_size().columns, WIDEST)
    for line in lines(text, width, first=first):
        typer.echo(line)


def _next(command: str) -> None:
    """What to type next, never broken, so that it can be copied."""
    typer.echo(harmless(f"next: checklist {command}"))


def in_words(name: str) -> str:
    """A name of the trail as words."""
    return name.replace("_", " ").replace("/", ", ")


def _head(told: Told) -> Iterator[str]:
    prep, opened = told.prep, told.entries[0].event
    began = told.local(prep.opened_at)
    yield f"Preparation {short(prep.id)}   {said_date(began.date())}   {prep.station}"
    name, version = opened.body["name"], opened.body["version"]
    yield f"{in_words(name)} version {version}, software {opened.body['software']}"
    yield f"Order {prep.order.id}: {prep.order.patient}   {dose_of(prep.order)}"
    patient = told.ward.patients.get(prep.order.patient) if told.ward else None
    if told.names and patient:
        born = said_date(patient.birth_date)
        yield f"Patient: {patient.name}, born {born}, record {patient.record_number}"
    yield f"Prepared by {told.person(prep.preparer)}; stands at: {in_words(prep.place)}"
    if told.ward is None:
        yield "Times are UTC: the files of this ward are not at hand (name them with --ward)."
    yield ""


def _tell(told: Told, entry: Entry, before: Entry) -> None:
    event = entry.event
    passed = int((event.at - before.event.at).total_seconds())
    at = told.local(event.at)
    head = f"{event.turn:>3}  {at:%H:%M:%S}  {passed:>5} s  {event.by:<6}  "
    step = in_words((event.place or event.lands).partition("/")[0])
    _say(f"{step}: {said_what(told, entry)}", head)
    if entered := entered_at(told, entry):
        _say("; ".join(f"{name} {value}" for name, value in entered), " " * len(head))
    if (signed := told.signed.get(entry.seq)) is not None:
        _say(_signature(told, signed), " " * len(head))


def _signature(told: Told, signed: Entry) -> str:
    """Who signed an entry, when, and what that means."""
    meaning = signed.event.body["meaning"]
    at = told.local(signed.event.at)
    who = told.person(signed.event.by)
    return f"signed by {who}, {said_date(at.date())} {at:%H:%M:%S}: {WORDS.get(meaning, meaning)}"


def entered_at(told: Told, entry: Entry) -> list[tuple[str, str]]:
    """What was entered, by field, without the lines that were merely looked at and found so."""
    body = entry.event.body
    readings = codec.observation_in(body["seen"]) if "seen" in body else {}
    return [(name, _value(told, one)) for name, one in readings.items() if _telling(one)]


def said_what(told: Told, entry: Entry) -> str:
    """What an entry says was done."""
    kind, body = entry.event.kind, entry.event.body
    codes = ", ".join(one["code"] for one in body.get("reasons", []))
    notes = ", ".join(one["code"] for one in body.get("notes", []))
    beside = f": {_raw(told, body['note'])}" if body.get("note") else ""
    match kind:
        case "opened":
            return "opened"
        case "passed":
            return f"kept; NOTE {notes}" if notes else "kept"
        case "cautioned":
            return f"CAUTION {codes}"
        case "refused":
            return f"STOP {codes}"
        case "proceeded":
            return f"went on: {GO_ON.get(body['because'], body['because'])}{beside}"
        case "remedied":
            return f"way on: {REMEDY_WORDS[Remedy(body['remedy'])]}{beside}"
        case "interrupted":
            return f"interrupted: {body['cause']}"
        case "explained":
            return f"what came between: {CAUSES.get(body['cause'], body['cause'])}"
        case "resumed":
            return "came back"
        case "ended":
            return f"ended: {in_words(body['because'])}{beside}"
        case "noted":
            return f"note: {_raw(told, body['text'])}"
        case "printed":
            return f"printed: {said_print(body)}"
        case _:
            return "the working was shown"


def said_print(body: Mapping[str, str]) -> str:
    """What was put on paper, in words."""
    if body["what"] != "label":
        return "the record, with names"
    of = f"label {body['number']} of the {body['of']}, {body['size']}, {body['form']}"
    because = body["because"]
    return f"{of}: {AGAIN.get(because, because)}" if because else of


def _telling(reading: Reading) -> bool:
    return reading.value is not True


def _value(told: Told, reading: Reading) -> str:
    match reading.value:
        case Sealed(reference=reference):
            text = told.trail.unsealed(reference) if told.names else "(kept apart)"
            return "(erased)" if text is None else text
        case Unread():
            return f"not readable: {_raw(told, reading.raw)}"
        case ProductRead(code=code, lot=lot):
            return f"item {code}{f', lot {lot}' if lot else ''} {reading.channel.value}"
        case Identifier():
            return "(kept apart)"
        case False:
            return "not so"
        case datetime() as at:
            return f"{told.local(at):%H:%M}"
        case value:
            return f"{value} {reading.channel.value}"


def _raw(told: Told, raw: str) -> str:
    """What was typed; where it is kept apart, only for one who asked for names."""
    if not raw.startswith(SEALED):
        return raw
    text = told.trail.unsealed(raw.removeprefix(SEALED)) if told.names else ""
    return "(erased)" if text is None else text or "(kept apart)"


def _foot(told: Told) -> None:
    prep = told.prep
    breaks = sum(one.event.kind == "interrupted" for one in told.entries)
    _say()
    _say(
        f"stops {prep.refusals}   cautions {prep.cautions}   breaks {breaks}   begun anew"
        f" {prep.restarts}   time {said_span(prep.last_at - prep.opened_at)}"
    )
    first, last = told.entries[0].seq, told.entries[-1].seq
    _say(f"entries {first} to {last} of the trail, last digest {told.entries[-1].digest.hex()}")
    made = label_of(told)
    _say()
    if made is None:
        _say("Label: not made; nothing was drawn up, or the ward's files are not at hand.")
        return
    _say("Label")
    for line in made.lines(private=told.names):
        _say(line, "  ")
    if not told.names:
        _say("patient name and second identifier: on the label, not shown here", "  ")
    _say()
    if made.vial:
        _say("On the vial that stays in use")
        for line in made.vial:
            _say(line, "  ")
        _say()
    if made.back:
        _say("Working")
        for line in made.back:
            _say(line, "  ")
        _say()


def label_of(told: Told) -> Label | None:
    """The label of the drawn dose; None before one was read, or without the ward's files."""
    if told.ward is None or told.prep.latest("drawn_volume") is None:
        return None
    station = Station(
        told.trail,
        told.ward,
        workflows={},
        limits=library.limits(),
        required=library.required(),
        name=told.prep.station,
        clock=real_clock,
        new_id=str,
    )
    nobody = StaffMember(code="", name="")
    spot = told.rules.layout.spots[told.rules.workflow.steps[0].name]
    return label(told.prep, station.surroundings(told.prep, nobody, spot))


# -- as data -------------------------------------------------------------------------------------


def _data(told: Told) -> dict[str, Any]:
    prep, opened = told.prep, told.entries[0].event.body
    made = label_of(told)
    patient = told.ward.patients.get(prep.order.patient) if told.ward else None
    return {
        "preparation": prep.id,
        "order": prep.order.id,
        "patient": prep.order.patient,
        "dose": dose_of(prep.order),
        "workflow": {"name": opened["name"], "version": opened["version"]},
        "place": prep.place,
        "closed": prep.closed,
        "refusals": prep.refusals,
        "cautions": prep.cautions,
        "entries": [
            {
                "seq": one.seq,
                "turn": one.event.turn,
                "at": codec.time_out(one.event.at),
                "kind": one.event.kind,
                "place": one.event.place,
                "lands": one.event.lands,
                "by": one.event.by,
                "station": one.event.station,
                "channel": one.event.channel,
                "digest": one.digest.hex(),
                "body": one.event.body,
                "signature": _signed_data(told.signed.get(one.seq)),
            }
            for one in told.entries
        ],
        "label": None if made is None else list(made.lines(private=told.names)),
        "vial_label": None if made is None else list(made.vial),
        "working": [] if made is None else list(made.back),
        **(_named(told, patient.name if patient else "") if told.names else {}),
    }


def _signed_data(signed: Entry | None) -> dict[str, Any] | None:
    if signed is None:
        return None
    event = signed.event
    meaning = event.body["meaning"]
    return {
        "seq": signed.seq,
        "by": event.by,
        "at": codec.time_out(event.at),
        "meaning": meaning,
        "words": WORDS.get(meaning, meaning),
        "key": event.body["key"],
    }


def _named(told: Told, patient: str) -> dict[str, Any]:
    """Names and the texts kept apart, for one who asks for them."""
    sealed = {
        reference: told.trail.unsealed(reference)
        for one in told.entries
        for reference in _references(one.event.body)
    }
    staff = {
        one.event.by: told.ward.staff[one.event.by].name
        for one in told.entries
        if told.ward and one.event.by in told.ward.staff
    }
    return {"names": {"patient": patient, "staff": staff, "kept_apart": sealed}}


def _references(body: Mapping[str, Any]) -> Iterator[str]:
    seen = codec.observation_in(body.get("seen", {}))
    for raw in (*(one.raw for one in seen.values()), body.get("note", ""), body.get("text", "")):
        if raw.startswith(SEALED):
            yield raw.removeprefix(SEALED)
