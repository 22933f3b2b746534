"""Event bodies to JSON text and back, exactly: no float, no guess, no unknown part."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, fields
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Any, NamedTuple, NoReturn, TypeVar

from checklist.observation import (
    Channel,
    Identifier,
    IdentifierKind,
    Observation,
    ProductRead,
    Reading,
    Sealed,
    Unread,
)
from checklist.order import Component, HoldRule, Infusion, Order
from checklist.quantity import Concentration, DimensionMismatch, Quantity

_T = TypeVar("_T")

DEEPEST = 32
GREATEST_INTEGER = 2**53 - 1
"""Integers beyond this are changed by programs that read JSON numbers as binary floats."""


class CodecFault(ValueError):
    """A value that cannot be stored, or stored text that this program does not know."""


def text(body: Mapping[str, Any]) -> str:
    """The one JSON text of a body: keys sorted, no spaces, characters as they are.

    A body is made of mappings with text keys, lists or tuples, text, whole numbers within
    GREATEST_INTEGER, true, false and None. Raises TypeError for a float or any other type,
    CodecFault for text that cannot be stored (a null character, half of a surrogate pair), for a
    number too great and for nesting beyond DEEPEST.
    """
    plain = _plain(body, "body", 0)
    if not isinstance(plain, dict):
        raise TypeError(f"A body is a mapping, never {type(body).__name__}.")
    return json.dumps(
        plain, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":")
    )


def body(stored: str) -> dict[str, Any]:
    """The body that a stored text holds; CodecFault when `text` cannot have written it."""
    try:
        read = json.loads(
            stored,
            parse_float=_no_float,
            parse_constant=_no_float,
            object_pairs_hook=_no_key_twice,
        )
    except CodecFault:
        raise
    except (ValueError, RecursionError) as fault:
        raise CodecFault(f"A stored body cannot be read as JSON: {fault}.") from fault
    plain = _plain(read, "body", 0)
    if not isinstance(plain, dict):
        raise CodecFault("A stored body is not a JSON object.")
    return plain


def storable(value: str, place: str) -> str:
    """The same text, once it is sure that it can be stored; `place` names it in the fault."""
    if "\x00" in value:
        raise CodecFault(f"{place} holds a null character, which cannot be stored. Enter it anew.")
    try:
        value.encode("utf-8")
    except UnicodeEncodeError as fault:
        half = f"U+{ord(value[fault.start]):04X}"
        raise CodecFault(
            f"{place} holds half of a character ({half}), which cannot be stored. Enter it anew."
        ) from fault
    return str.__str__(value)


def time_out(at: datetime) -> str:
    """An aware time as UTC text with microseconds: "2026-11-25T14:00:00.000000Z"."""
    if not isinstance(at, datetime):
        raise TypeError(f"A time is a datetime, never {type(at).__name__}.")
    if at.utcoffset() is None:
        raise CodecFault(f"The time {at} does not say in which time zone it is. Give it in UTC.")
    try:
        utc = at.astimezone(UTC)
    except OverflowError as fault:
        raise CodecFault(f"The time {at} is out of the years that can be stored.") from fault
    return utc.replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def time_in(stored: Any) -> datetime:
    """The aware UTC time of a text that `time_out` wrote; CodecFault for any other form."""
    return _again(stored, lambda s: datetime.fromisoformat(s).astimezone(UTC), time_out, "a time")


def observation_out(observation: Observation) -> dict[str, Any]:
    """An observation as plain JSON data: field name to raw text, tagged value and channel."""
    return {storable(name, "a field's name"): _READING.out(r) for name, r in observation.items()}


def observation_in(data: Any) -> Observation:
    """The observation that `observation_out` wrote; CodecFault for an unknown tag or key."""
    if not isinstance(data, dict):
        raise CodecFault(f"An observation is stored as an object; {_shown(data)} was found.")
    return {name: _READING.into(value) for name, value in data.items()}


def order_out(order: Order) -> dict[str, Any]:
    """An order as plain JSON data, all fields; the patient is the opaque code only."""
    stored: dict[str, Any] = _ORDER.out(order)
    return stored


def order_in(data: Any) -> Order:
    """The order that `order_out` wrote; CodecFault for an unknown key or a missing id."""
    order: Order = _ORDER.into(data)
    return order


class _Form(NamedTuple):
    """How one kind of value is stored: the two directions."""

    out: Callable[[Any], Any]
    into: Callable[[Any], Any]


def _plain(value: Any, place: str, depth: int) -> Any:
    """The value as plain JSON data, each part looked at; see `text` for what is refused."""
    if depth > DEEPEST:
        raise CodecFault(f"{place} is nested too deep to be stored.")
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return storable(value, place)
    if isinstance(value, int):
        if not -GREATEST_INTEGER <= value <= GREATEST_INTEGER:
            raise CodecFault(f"{place} is too great for a stored number. Store it as text.")
        return int(value)
    if isinstance(value, Mapping):
        return dict(_items(value, place, depth))
    if isinstance(value, (list, tuple)):
        return [_plain(each, f"{place}[{n}]", depth + 1) for n, each in enumerate(value)]
    kind = type(value).__name__
    raise TypeError(f"{place} is {kind}, which is never stored. Store amounts and times as text.")


def _items(value: Mapping[Any, Any], place: str, depth: int) -> Iterator[tuple[str, Any]]:
    for key, each in value.items():
        if not isinstance(key, str):
            raise TypeError(f"{place} has the key {key!r}, which is not text.")
        storable(key, f"a key in {place}")
        yield str.__str__(key), _plain(each, f"{place}.{key}", depth + 1)


def _no_float(figures: str) -> NoReturn:
    raise CodecFault(f"A stored body holds the number {figures}; amounts are stored as text.")


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    read = dict(pairs)
    if len(read) != len(pairs):
        raise CodecFault("A stored body names the same key twice.")
    return read


def _shown(data: Any) -> str:
    shown = repr(data)
    return shown if len(shown) <= 60 else f"{shown[:57]}..."


def _again(stored: Any, read: Callable[[str], _T], write: Callable[[_T], str], what: str) -> _T:
    """Read a text and accept it only if the same value would be written as the same text."""
    if not isinstance(stored, str):
        raise CodecFault(f"{_shown(stored)} stands where {what} was expected.")
    try:
        value = read(stored)
        if write(value) == stored:
            return value
    except (ValueError, ArithmeticError, DimensionMismatch) as fault:
        raise CodecFault(f"{_shown(stored)} cannot be read as {what}: {fault}") from fault
    raise CodecFault(f"{_shown(stored)} is not in the form in which {what} is stored.")


def _exactly(kind: type, write: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """The writer of one type, which refuses a value of any other."""

    def out(value: Any) -> Any:
        if type(value) is not kind:
            found = type(value).__name__
            raise TypeError(f"{_shown(value)} is {found} where {kind.__name__} was expected.")
        return write(value)

    return out


def _coded(kind: type, read: Callable[[str], Any], write: Callable[[Any], str], what: str) -> _Form:
    """A value stored as one text, which is read back before it is given out."""

    def out(value: Any) -> str:
        written = write(value)
        _again(written, read, write, what)
        return written

    return _Form(out=_exactly(kind, out), into=lambda stored: _again(stored, read, write, what))


def _text_out(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{_shown(value)} is {type(value).__name__} where text was expected.")
    return storable(value, "text")


def _text_in(data: Any) -> str:
    if not isinstance(data, str):
        raise CodecFault(f"{_shown(data)} stands where text was expected.")
    return storable(data, "text")


def _truth_in(data: Any) -> bool:
    if not isinstance(data, bool):
        raise CodecFault(f"{_shown(data)} stands where true or false was expected.")
    return data


def _choice(kind: type[StrEnum]) -> _Form:
    return _coded(kind, kind, lambda value: str(value.value), kind.__name__)


def _maybe(form: _Form) -> _Form:
    return _Form(
        out=lambda value: None if value is None else form.out(value),
        into=lambda data: None if data is None else form.into(data),
    )


def _texts_out(value: Any) -> dict[str, str]:
    return {_text_out(key): _text_out(each) for key, each in value.items()}


def _texts_in(data: Any) -> dict[str, str]:
    if not isinstance(data, dict):
        raise CodecFault(f"{_shown(data)} stands where texts by name were expected.")
    return {_text_in(key): _text_in(each) for key, each in data.items()}


def _record(kind: type, /, **forms: _Form) -> _Form:
    """A dataclass as an object of its fields.

    On reading, a field with a default may be missing, so that what was stored before the field
    existed can still be read.
    """
    needed = {
        each.name
        for each in fields(kind)
        if each.default is MISSING and each.default_factory is MISSING
    }

    def into(data: Any) -> Any:
        if not isinstance(data, dict):
            raise CodecFault(f"{_shown(data)} stands where {kind.__name__} was expected.")
        if unknown := data.keys() - forms.keys():
            raise CodecFault(f"A stored {kind.__name__} has {sorted(unknown)}, not known here.")
        if missing := needed - data.keys():
            raise CodecFault(f"A stored {kind.__name__} has no {sorted(missing)}.")
        return kind(**{name: forms[name].into(each) for name, each in data.items()})

    def write(value: Any) -> dict[str, Any]:
        return {name: form.out(getattr(value, name)) for name, form in forms.items()}

    return _Form(out=_exactly(kind, write), into=into)


def _tagged(tags: Mapping[str, tuple[type, _Form]]) -> _Form:
    """A value of one of several types, as an object with one key: its tag."""
    by_type = {kind: tag for tag, (kind, _) in tags.items()}

    def out(value: Any) -> dict[str, Any]:
        kind = str if isinstance(value, str) else type(value)
        if kind not in by_type:
            raise TypeError(f"{_shown(value)} is {kind.__name__}, which no reading can hold.")
        tag = by_type[kind]
        return {tag: tags[tag][1].out(value)}

    def into(data: Any) -> Any:
        if not isinstance(data, dict) or len(data) != 1:
            raise CodecFault(f"{_shown(data)} stands where one tagged value was expected.")
        ((tag, stored),) = data.items()
        if tag not in tags:
            raise CodecFault(f"A stored value is marked {tag!r}, which is not known here.")
        return tags[tag][1].into(stored)

    return _Form(out=out, into=into)


_TEXT = _Form(out=_text_out, into=_text_in)
_TEXTS = _Form(out=_texts_out, into=_texts_in)
_TRUTH = _Form(out=_exactly(bool, lambda value: value), into=_truth_in)
_DATE = _coded(date, date.fromisoformat, date.isoformat, "a date")
_TIME = _Form(out=time_out, into=time_in)
_QUANTITY = _coded(Quantity, Quantity.from_code, lambda value: value.code, "an amount")
_STRENGTH = _coded(Concentration, Concentration.from_code, lambda value: value.code, "a strength")
_PRODUCT = _record(ProductRead, code=_TEXT, lot=_TEXT, expiry=_maybe(_DATE), serial=_TEXT)

_READING = _record(
    Reading,
    raw=_TEXT,
    value=_tagged(
        {
            "quantity": (Quantity, _QUANTITY),
            "concentration": (Concentration, _STRENGTH),
            "product": (ProductRead, _PRODUCT),
            "identifier": (
                Identifier,
                _record(Identifier, kind=_choice(IdentifierKind), text=_TEXT),
            ),
            "sealed": (Sealed, _record(Sealed, reference=_TEXT)),
            "unread": (Unread, _record(Unread, sentence=_TEXT)),
            "truth": (bool, _TRUTH),
            "text": (str, _TEXT),
            "date": (date, _DATE),
            "time": (datetime, _TIME),
        }
    ),
    channel=_choice(Channel),
)

_HOLD = _record(
    HoldRule,
    what=_TEXT,
    unit=_TEXT,
    lowest=_maybe(_QUANTITY),
    highest=_maybe(_QUANTITY),
    max_age=_maybe(_QUANTITY),
)
_INFUSION = _record(
    Infusion,
    into=_TEXT,
    carrier=_TEXT,
    carrier_strength=_maybe(_STRENGTH),
    volume=_maybe(_QUANTITY),
    duration=_maybe(_QUANTITY),
    rate=_maybe(_QUANTITY),
    first_out=_TRUTH,
    gravity=_TRUTH,
)
_COMPONENT = _record(Component, drug=_TEXT, dose=_QUANTITY, strength=_maybe(_STRENGTH))
_ORDER = _record(
    Order,
    id=_TEXT,
    patient=_TEXT,
    drug=_TEXT,
    dose=_maybe(_QUANTITY),
    dose_per_weight=_maybe(_QUANTITY),
    route=_TEXT,
    site=_TEXT,
    strength=_maybe(_STRENGTH),
    form=_TEXT,
    frequency=_TEXT,
    interval=_maybe(_QUANTITY),
    due=_maybe(_TIME),
    starts=_maybe(_TIME),
    stops=_maybe(_TIME),
    status=_TEXT,
    prescriber=_TEXT,
    indication=_TEXT,
    time_critical=_TRUTH,
    verbal=_TRUTH,
    read_back=_TRUTH,
    reviewed_by=_TEXT,
    double_check=_TRUTH,
    hold=_maybe(_HOLD),
    last_given=_maybe(_TIME),
    infusion=_maybe(_INFUSION),
    second=_maybe(_COMPONENT),
    called=_TRUTH,
    written=_TEXTS,
    unreadable=_TEXTS,
)
