"""Raw answers into readings, and what of them may stand in the chain."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from checklist.gate import OutOfSequence
from checklist.intake.codes import CodeBook
from checklist.intake.entry import EntryFault, read, unsure
from checklist.observation import (
    Channel,
    Kind,
    Observation,
    ProductRead,
    Reading,
    Sealed,
    Unread,
    Value,
)
from checklist.trail import SealedText
from checklist.unit import Unit
from checklist.workflow import Field

# What was typed where a number was wanted may stand in the chain; anything else that could not be
# read might be a name or a wristband, so its text goes to the erasable table.
_NUMBER_LIKE = re.compile(r"[0-9.,:;/+ _-]{1,16}\s?[A-Za-z%µμ]{0,12}")
SHORT = 8
"""Figures of this length and more may be somebody's number, so their text is sealed as well."""
SEALED = "sealed:"
"""Stands before the reference to a text that is kept apart."""
BY_HAND = " Scan another code on the label, or type it as printed: (01)...(17)...(10)..."
"""How to go on where a code cannot be read."""
_FIGURES = (Kind.QUANTITY, Kind.COUNT, Kind.CONCENTRATION, Kind.DATE, Kind.TIME)


@dataclass(frozen=True, slots=True)
class Answer:
    """One raw answer as a face hands it in."""

    raw: str
    channel: Channel = Channel.TYPED


def read_answers(
    asked: Sequence[Field],
    answers: Mapping[str, Answer],
    unit: Unit,
    at: datetime,
    codes: CodeBook,
) -> dict[str, Reading]:
    """The readings of the fields asked, in their order; an empty answer counts as none.

    `codes` is what the ward knows of codes and of this station's scanner. What cannot be read comes
    as Unread with its sentence. Raises OutOfSequence for an answer that the step does not ask for.
    """
    today = unit.local(at).date()
    fields = {f.name: f for f in asked}
    seen: dict[str, Reading] = {}
    for name, answer in answers.items():
        field = fields.get(name)
        if field is None:
            raise OutOfSequence(f"this step does not ask for {name}")
        if answer.raw.strip():
            value = _value(field, answer.raw, today, unit, codes)
            seen[name] = Reading(answer.raw, value, answer.channel)
    for field in fields.values():
        if field.carried and field.name not in seen:
            carried = _carried(field, seen, today, codes)
            if carried is not None:
                seen[field.name] = carried
    return {name: seen[name] for name in fields if name in seen}


def _value(field: Field, raw: str, today: date, unit: Unit, codes: CodeBook) -> Value:
    try:
        return read(
            field.kind,
            raw,
            unit=field.unit,
            answers=field.answers,
            today=today,
            zone=unit.timezone,
            settings=unit,
            codes=codes,
        )
    except EntryFault as fault:
        plain = field.kind in _FIGURES and _NUMBER_LIKE.fullmatch(raw.strip())
        kept = plain or (field.kind is Kind.CHOICE and raw.strip() in field.answers)
        if kept:
            return Unread(str(fault))
        by_hand = BY_HAND if field.kind is Kind.PRODUCT else ""
        return Unread(f"this cannot be read as a {field.kind.value}.{by_hand}")


def guarded(
    asked: Sequence[Field], seen: Mapping[str, Reading], identifiers: Collection[str]
) -> dict[str, Reading]:
    """The readings, with a patient's identifier given where none was wanted made unreadable.

    A record number typed for a volume, or a wristband scanned for a product, would else stand in
    the chain. `identifiers` are the data that identify this ward's patients.
    """
    private = {f.name for f in asked if f.private}

    def slipped(name: str, reading: Reading) -> bool:
        text = reading.raw.casefold()
        return name not in private and any(i.casefold() in text for i in identifiers)

    slip = Unread("this identifies a patient, and is not what is asked for here.")
    return {
        name: replace(reading, value=slip) if slipped(name, reading) else reading
        for name, reading in seen.items()
    }


def sealed(
    asked: Sequence[Field], seen: Mapping[str, Reading], new_id: Callable[[], str], person: str
) -> tuple[Observation, tuple[SealedText, ...]]:
    """What is recorded of the readings, and the texts that go to the erasable table.

    `person` is the code of the patient whom the texts are about.
    """
    private = {f.name for f in asked if f.private}
    recorded, texts = dict(seen), []
    for name, reading in seen.items():
        unread = isinstance(reading.value, Unread)
        short = reading.raw.strip()
        plain = unread and len(short) < SHORT and _NUMBER_LIKE.fullmatch(short)
        if name not in private and not (unread and not plain):
            continue
        reference = new_id()
        text = _storable(reading.raw)
        texts.append(SealedText(reference=reference, field=name, text=text, person=person))
        value = reading.value if unread else Sealed(reference)
        recorded[name] = replace(reading, raw=f"{SEALED}{reference}", value=value)
    return recorded, tuple(texts)


def sealed_note(
    note: str, new_id: Callable[[], str], person: str
) -> tuple[str, tuple[SealedText, ...]]:
    """What is recorded of words that somebody typed, and the text for the erasable table."""
    if not note.strip():
        return "", ()
    reference = new_id()
    text = SealedText(reference=reference, field="note", text=_storable(note), person=person)
    return f"{SEALED}{reference}", (text,)


def channel_of(seen: Observation) -> Channel:
    """The channel that an entry is marked with: the least sure one that a reading came by."""
    channels = {r.channel for r in seen.values()}
    for channel in (Channel.LINES, Channel.SCANNED, Channel.TYPED):
        if channel in channels:
            return channel
    return Channel.CHOSEN


def _carried(
    field: Field, seen: Mapping[str, Reading], today: date, codes: CodeBook
) -> Reading | None:
    """Lot or expiry, when the scan of the product brought it along.

    A lot that the code cannot tell for sure comes as Unread, so that it is asked for in words.
    """
    for reading in seen.values():
        if isinstance(reading.value, ProductRead):
            value = getattr(reading.value, field.carried, None)
            if value:
                return Reading(str(value), value, reading.channel)
            if field.carried == "lot" and (why := unsure(reading.raw, today=today, codes=codes)):
                return Reading(reading.raw, Unread(why), reading.channel)
    return None


def _storable(raw: str) -> str:
    return raw.encode("utf-8", "backslashreplace").decode().replace("\x00", "\\x00")[:500]
