"""An event as the columns of a row, and back: what can be stored, and what never can."""

from __future__ import annotations

from dataclasses import dataclass

from checklist import codec
from checklist.chain import Row
from checklist.codec import CodecFault
from checklist.preparation import KINDS, WORKPLACE_KINDS, Event
from checklist.trail_fault import UnfitEvent
from checklist.trail_schema import LONGEST_BODY, LONGEST_NAME, LONGEST_TEXT

Columns = tuple[str, str, int, str, str, str, str, str, str, str, str]
"""The columns of a row that come from its event: from `id` to `body`."""
SealedColumns = tuple[str, str, str, str, str]
"""The columns of a sealed text: reference, preparation, field, person, text."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SealedText:
    """A text that identifies a person: kept beside the chain, where it can be erased.

    `reference` is what the event's body holds in its place; `field` says what it is, `person` is
    the code of whoever it is about, by which it is found when that person is to be forgotten.
    """

    reference: str
    field: str
    text: str
    person: str = ""


def columns(event: Event) -> Columns:
    """The event's columns; UnfitEvent with a sentence for one that can never be stored.

    Raises TypeError for a float, or any other type that is no JSON data, in the body.
    """
    turn: object = event.turn
    if not isinstance(turn, int) or isinstance(turn, bool) or not turn >= 0:
        raise UnfitEvent(f"A turn is a whole number from 0; {turn!r} was given.", recorded=False)
    if event.kind not in (KINDS if event.preparation else WORKPLACE_KINDS):
        raise UnfitEvent(f"{event.kind!r} is no kind of entry.", recorded=False)
    if event.preparation and (turn == 0) != (event.kind == "opened"):
        raise UnfitEvent(
            f"A preparation is opened at its turn 0 and only there; {event.kind} was given at"
            f" turn {turn}.",
            recorded=False,
        )
    try:
        at, body = codec.time_out(event.at), codec.text(event.body)
    except CodecFault as fault:
        raise UnfitEvent(str(fault), recorded=False) from fault
    return (
        short(event.id, "The event's id"),
        short(event.preparation, "The preparation", least=0),
        turn,
        event.kind,
        short(event.place, "The place", least=0),
        short(event.lands, "The place it leads to", least=1 if event.preparation else 0),
        at,
        short(event.by, "The person"),
        short(event.station, "The station", least=0),
        short(event.channel, "The channel", least=0),
        long(body, "The body", LONGEST_BODY),
    )


def event(row: Row) -> Event:
    """The event that a stored row holds; CodecFault for a row that this program cannot read."""
    return Event(
        id=row.id,
        preparation=row.preparation,
        turn=row.turn,
        kind=row.kind,
        place=row.place,
        lands=row.lands,
        at=codec.time_in(row.at),
        by=row.by,
        station=row.station,
        channel=row.channel,
        body=codec.body(row.body),
    )


def sealed(text: SealedText, preparation: str) -> SealedColumns:
    """The columns of a text sealed with an entry of this preparation; "" for none."""
    return (
        short(text.reference, "The reference of a sealed text"),
        short(preparation, "The preparation", least=0),
        short(text.field, "The field of a sealed text"),
        short(text.person, "The person of a sealed text", least=0),
        long(text.text, "A sealed text", LONGEST_BODY),
    )


def definition(text: str) -> str:
    """The text of a definition, once it is sure that it can be stored."""
    return long(text, "The text", LONGEST_TEXT)


def short(value: str, what: str, *, least: int = 1) -> str:
    """A name, code or place that can be stored; `what` opens the sentence when it cannot."""
    if not isinstance(value, str):
        raise TypeError(f"{what} is text, never {type(value).__name__}.")
    if not least <= len(value) <= LONGEST_NAME:
        raise UnfitEvent(
            f"{what} has {len(value)} characters; from {least} to {LONGEST_NAME} can be stored.",
            recorded=False,
        )
    return long(value, what, LONGEST_NAME)


def long(value: str, what: str, most: int) -> str:
    """A text of at most so many characters that can be stored."""
    if len(value) > most:
        raise UnfitEvent(
            f"{what} has {len(value):,} characters; at most {most:,} can be stored.",
            recorded=False,
        )
    try:
        return codec.storable(value, what)
    except CodecFault as fault:
        raise UnfitEvent(str(fault), recorded=False) from fault
