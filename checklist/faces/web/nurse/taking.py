"""What a nurse's form says: answers to hand in, sentences at the fields, what is read back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from checklist.answer import Answer
from checklist.faces.answering import is_scan, said_back
from checklist.gate import OutOfSequence
from checklist.intake.codes import CodeBook
from checklist.intake.entry import EntryFault, read, unsure
from checklist.interop.scanner import Prefix, Scanner
from checklist.observation import KEYED, Channel, Kind, ProductRead, Value
from checklist.unit import Unit
from checklist.workflow import Field

NONE = ".none"
"""Ends the name of the tick that says that nothing is there to be read."""
SAID = ".said"
"""Ends the name under which the text stands whose words were shown."""
KEYED_END = ".keyed"
"""Ends the name under which stands why a code was typed in place of a scan."""
SCANNED = "scanned"
"""Stands there where it was a scan after all, of a scanner that sends no prefix."""
NUMBERS = (Kind.QUANTITY, Kind.COUNT, Kind.CONCENTRATION)
"""The kinds that are said back in words before they count."""
NO_ANSWER = "No answer yet. Look, then answer."
SAY_WHY = "This code came without a scanner's marks. Choose why it was typed."
_BOTH = "There is an answer, and a tick that nothing is there. Leave one of them."


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A form as it came in.

    `typed` and `missing` are what stands in the fields and which are said to have nothing there.
    `faults` are sentences by field, `unread` those that were answered and could not be read.
    `words` are numbers in words that were not yet shown for the text that stands there. `chosen`
    are the reasons that were picked for typed codes, `keyed` those that count.
    """

    answers: Mapping[str, Answer] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=dict)
    missing: frozenset[str] = frozenset()
    faults: Mapping[str, str] = field(default_factory=dict)
    unread: tuple[tuple[Field, str], ...] = ()
    words: Mapping[str, str] = field(default_factory=dict)
    chosen: Mapping[str, str] = field(default_factory=dict)
    keyed: Mapping[str, str] = field(default_factory=dict)

    @property
    def ready(self) -> bool:
        """Whether the answers can be handed in as they are."""
        return not self.faults and not self.words


def taken(
    fields: Sequence[Field],
    form: Mapping[str, str],
    prefix: str,
    *,
    unit: Unit,
    at: datetime,
    codes: CodeBook,
) -> Taken:
    """Read a form whose names begin with `prefix` and a point, at a place with these codes.

    An empty field is told at the field; only a tick that nothing is there hands in nothing. A code
    without a scanner's marks is handed in with the reason why it was typed. Raises OutOfSequence
    for an answer that the step does not ask for.
    """
    _strangers(fields, form, prefix)
    typed = {f.name: form.get(f"{prefix}.{f.name}", "") for f in fields}
    missing = frozenset(f.name for f in fields if form.get(f"{prefix}.{f.name}{NONE}"))
    answers: dict[str, Answer] = {}
    values: dict[str, Value] = {}
    faults: dict[str, str] = {}
    unread: list[tuple[Field, str]] = []
    words: dict[str, str] = {}
    chosen = {f.name: form.get(f"{prefix}.{f.name}{KEYED_END}", "") for f in fields}
    keyed: dict[str, str] = {}
    for one in fields:
        raw = typed[one.name]
        if not raw.strip():
            if not (one.optional or one.name in missing or _carried(one, values)):
                faults[one.name] = _doubt(one, answers, unit, at, codes) or NO_ANSWER
            continue
        if one.name in missing:
            faults[one.name] = _BOTH
            continue
        try:
            value = value_of(one, raw, unit, at, codes)
        except EntryFault as fault:
            faults[one.name] = str(fault)
            if one.kind is not Kind.SEEN:
                unread.append((one, raw))
            continue
        values[one.name] = value
        channel = channel_of(one, raw, unit, at, codes)
        if one.kind is Kind.PRODUCT and channel is Channel.TYPED:
            why = chosen[one.name]
            if why == SCANNED and may_be_a_scan(codes.scanner):
                channel = Channel.SCANNED
            elif why in KEYED:
                keyed[one.name] = why
            else:
                faults[one.name] = SAY_WHY
        answers[one.name] = Answer(raw, channel)
        if one.kind in NUMBERS and form.get(f"{prefix}.{one.name}{SAID}") != raw:
            words[one.name] = said_back(one, value)
    return Taken(
        answers=answers,
        typed=typed,
        missing=missing,
        faults=faults,
        unread=tuple(unread),
        words=words,
        chosen=chosen,
        keyed=keyed,
    )


def may_be_a_scan(scanner: Scanner) -> bool:
    """Whether a scan may look like typing here, so that the person tells which it was."""
    return scanner.prefix is not Prefix.SENT


def value_of(field: Field, raw: str, unit: Unit, at: datetime, codes: CodeBook) -> Value:
    """What an answer means. Raises EntryFault with the sentence."""
    return read(
        field.kind,
        raw,
        unit=field.unit,
        answers=field.answers,
        today=unit.local(at).date(),
        zone=unit.timezone,
        settings=unit,
        codes=codes,
    )


def channel_of(field: Field, raw: str, unit: Unit, at: datetime, codes: CodeBook) -> Channel:
    """How an answer came as far as its text tells: chosen, scanned or typed."""
    if field.kind in (Kind.CHOICE, Kind.SEEN):
        return Channel.CHOSEN
    scanned = is_scan(raw, today=unit.local(at).date(), scanner=codes.scanner)
    return Channel.SCANNED if scanned else Channel.TYPED


def _carried(field: Field, values: Mapping[str, Value]) -> bool:
    """Whether a code that was read above brought this field along."""
    return bool(field.carried) and any(
        isinstance(value, ProductRead) and getattr(value, field.carried, None)
        for value in values.values()
    )


def _doubt(
    field: Field, answers: Mapping[str, Answer], unit: Unit, at: datetime, codes: CodeBook
) -> str:
    """Why the lot in a code above is not taken from it; "" where there is no doubt."""
    if field.carried != "lot":
        return ""
    today = unit.local(at).date()
    said = (unsure(one.raw, today=today, codes=codes) for one in answers.values())
    return next(filter(None, said), "")


def _strangers(fields: Sequence[Field], form: Mapping[str, str], prefix: str) -> None:
    known = {f"{prefix}.{f.name}{end}" for f in fields for end in ("", NONE, SAID, KEYED_END)}
    for name in form:
        if "." in name and name not in known:
            raise OutOfSequence("this form is for another step; look at where it stands now")
