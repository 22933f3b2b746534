"""Bodies to text and back: exact round trips, one text for one body, and what is refused."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from enum import IntEnum
from fractions import Fraction
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist import codec
from checklist.codec import CodecFault
from checklist.observation import (
    Channel,
    Identifier,
    IdentifierKind,
    ProductRead,
    Reading,
    Sealed,
    Unread,
    Value,
)
from checklist.order import HoldRule, Order
from checklist.quantity import Concentration, Quantity

AT = datetime(2026, 11, 25, 14, 5, 6, 70, tzinfo=UTC)

VALUES: list[tuple[Value, Any]] = [
    (Quantity.of("0.75", "mL"), {"quantity": "0.75 mL"}),
    (Quantity.of(Fraction(2, 3), "mL"), {"quantity": "2/3 mL"}),
    (Quantity.of(12500, "{unit}"), {"quantity": "12500 {unit}"}),
    (
        Concentration(amount=Quantity.of(20, "mg"), per=Quantity.of(2, "mL")),
        {"concentration": "20 mg in 2 mL"},
    ),
    (
        ProductRead(code="09521234500014", lot="Ab-7", expiry=date(2027, 8, 31)),
        {
            "product": {
                "code": "09521234500014",
                "lot": "Ab-7",
                "expiry": "2027-08-31",
                "serial": "",
            }
        },
    ),
    (
        ProductRead(code="LK-1"),
        {"product": {"code": "LK-1", "lot": "", "expiry": None, "serial": ""}},
    ),
    (
        Identifier(IdentifierKind.BAND_NUMBER, "B-1"),
        {"identifier": {"kind": "wristband number", "text": "B-1"}},
    ),
    (Sealed("s-1"), {"sealed": {"reference": "s-1"}}),
    (Unread("Type it again."), {"unread": {"sentence": "Type it again."}}),
    (True, {"truth": True}),
    (False, {"truth": False}),
    ("left deltoid", {"text": "left deltoid"}),
    (date(2027, 8, 31), {"date": "2027-08-31"}),
    (AT, {"time": "2026-11-25T14:05:06.000070Z"}),
]


def through_text(data: Mapping[str, Any]) -> dict[str, Any]:
    return codec.body(codec.text(data))


@pytest.mark.parametrize(("value", "stored"), VALUES, ids=[str(s) for _, s in VALUES])
def test_each_kind_of_value_is_stored_in_its_one_form_and_comes_back(
    value: Value, stored: Any
) -> None:
    seen = {"field": Reading("as typed", value, Channel.TYPED)}
    out = codec.observation_out(seen)
    assert out == {"field": {"raw": "as typed", "value": stored, "channel": "typed"}}
    back = codec.observation_in(through_text(out))["field"]
    assert type(back.value) is type(value)
    assert repr(back) == repr(seen["field"])


units = st.sampled_from(["mL", "mg", "ug", "[iU]", "{unit}", "mg/mL", "ug/kg/min", "[lb_av]", "1"])
amounts = st.builds(
    Quantity,
    magnitude=st.fractions(min_value=-(10**9), max_value=10**9, max_denominator=10**6),
    unit=units,
)
strengths = st.builds(
    Concentration,
    amount=st.builds(
        Quantity,
        magnitude=st.fractions(min_value=Fraction(1, 1000), max_value=10**6),
        unit=st.sampled_from(["mg", "ug", "[iU]", "{unit}", "mmol"]),
    ),
    per=st.builds(
        Quantity,
        magnitude=st.fractions(min_value=Fraction(1, 1000), max_value=1000),
        unit=st.sampled_from(["mL", "L"]),
    ),
)
texts = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=20)
zones = st.sampled_from(
    [UTC, timezone(timedelta(hours=5, minutes=45)), timezone(-timedelta(hours=9))]
)
times = st.datetimes(
    min_value=datetime.fromisoformat("0001-01-03"),
    max_value=datetime.fromisoformat("9999-12-28"),
    timezones=zones,
)
products = st.builds(
    ProductRead, code=texts, lot=texts, expiry=st.none() | st.dates(), serial=texts
)
values: st.SearchStrategy[Value] = st.one_of(
    amounts,
    strengths,
    products,
    st.builds(Identifier, st.sampled_from(IdentifierKind), texts),
    st.builds(Sealed, texts),
    st.builds(Unread, texts),
    st.booleans(),
    texts,
    st.dates(),
    times,
)
observations = st.dictionaries(
    texts, st.builds(Reading, texts, values, st.sampled_from(Channel)), max_size=4
)


@settings(max_examples=150, deadline=None)
@given(observations)
def test_any_observation_comes_back_exactly(seen: dict[str, Reading]) -> None:
    back = codec.observation_in(through_text(codec.observation_out(seen)))
    assert back == seen
    assert codec.text(codec.observation_out(back)) == codec.text(codec.observation_out(seen))
    for name, reading in seen.items():
        if isinstance(reading.value, (Quantity, Concentration)):
            assert repr(back[name].value) == repr(reading.value)


maybe_amount, maybe_time = st.none() | amounts, st.none() | times
holds = st.builds(
    HoldRule,
    what=texts,
    unit=texts,
    lowest=maybe_amount,
    highest=maybe_amount,
    max_age=maybe_amount,
)
ORDER_FORMS: list[tuple[str, st.SearchStrategy[Any]]] = [
    ("id patient drug route site form frequency status prescriber indication reviewed_by", texts),
    ("dose dose_per_weight interval", maybe_amount),
    ("due starts stops last_given", maybe_time),
    ("time_critical verbal read_back double_check", st.booleans()),
    ("strength", st.none() | strengths),
    ("hold", st.none() | holds),
    ("written unreadable", st.dictionaries(texts, texts, max_size=3)),
]
orders = st.builds(Order, **{name: form for names, form in ORDER_FORMS for name in names.split()})


@settings(max_examples=100, deadline=None)
@given(orders)
def test_any_order_comes_back_exactly(order: Order) -> None:
    out = codec.order_out(order)
    back = codec.order_in(through_text(out))
    assert back == order
    assert codec.order_out(back) == out


def test_an_order_is_stored_with_every_field_it_has() -> None:
    out = codec.order_out(Order(id="O-1", patient="P-7"))
    assert set(out) == {each.name for each in fields(Order)}
    held = codec.order_out(Order(id="O-1", patient="P-7", hold=HoldRule(what="pulse", unit="/min")))
    assert set(held["hold"]) == {each.name for each in fields(HoldRule)}


def test_an_order_stored_before_a_field_existed_takes_its_default() -> None:
    assert codec.order_in({"id": "O-1", "patient": "P-7"}) == Order(id="O-1", patient="P-7")


REFUSED_OBSERVATIONS: list[tuple[Any, str]] = [
    ([], "An observation is stored as an object"),
    ({"f": "text"}, "stands where Reading was expected"),
    ({"f": {"raw": "", "value": {"text": ""}}}, "A stored Reading has no ['channel']"),
    ({"f": {"raw": "", "value": {"text": ""}, "channel": "typed", "x": 1}}, "has ['x'], not known"),
    ({"f": {"raw": "", "value": {"text": ""}, "channel": "smoke"}}, "cannot be read as Channel"),
    ({"f": {"raw": 5, "value": {"text": ""}, "channel": "typed"}}, "where text was expected"),
]

REFUSED_VALUES: list[tuple[Any, str]] = [
    ({"weight": "5 kg"}, "marked 'weight', which is not known here"),
    ({}, "where one tagged value was expected"),
    ({"text": "a", "date": "2027-01-01"}, "where one tagged value was expected"),
    ("5 mL", "where one tagged value was expected"),
    ({"text": None}, "where text was expected"),
    ({"truth": "yes"}, "where true or false was expected"),
    ({"truth": 1}, "where true or false was expected"),
    ({"quantity": 5}, "where an amount was expected"),
    ({"quantity": "0.750 mL"}, "not in the form in which an amount is stored"),
    ({"quantity": "0.75 ml"}, "cannot be read as an amount"),
    ({"quantity": "1e3 mL"}, "cannot be read as an amount"),
    ({"quantity": "NaN mL"}, "cannot be read as an amount"),
    ({"quantity": "0,5 mL"}, "cannot be read as an amount"),
    ({"quantity": "٥ mL"}, "cannot be read as an amount"),
    ({"quantity": "mL"}, "cannot be read as an amount"),
    ({"quantity": ""}, "cannot be read as an amount"),
    ({"concentration": "20 mg"}, "cannot be read as a strength"),
    ({"concentration": "20 mL in 2 mL"}, "cannot be read as a strength"),
    ({"concentration": "20 mg in 0 mL"}, "cannot be read as a strength"),
    ({"date": "20270831"}, "not in the form in which a date is stored"),
    ({"date": "2027-02-30"}, "cannot be read as a date"),
    ({"time": "2026-11-25T14:05:06Z"}, "not in the form in which a time is stored"),
    ({"time": "2026-11-25T14:05:06.000000"}, "not in the form in which a time is stored"),
    ({"time": "2026-11-25T14:05:06.000000+01:00"}, "not in the form in which a time is stored"),
    ({"time": "noon"}, "cannot be read as a time"),
    ({"sealed": "s-1"}, "where Sealed was expected"),
    ({"sealed": {"reference": "s-1", "text": "Ann"}}, "has ['text'], not known here"),
    ({"product": {"lot": "x"}}, "has no ['code']"),
    ({"identifier": {"kind": "face", "text": "x"}}, "cannot be read as IdentifierKind"),
]


@pytest.mark.parametrize(("data", "says"), REFUSED_OBSERVATIONS)
def test_an_observation_in_any_other_form_is_refused(data: Any, says: str) -> None:
    with pytest.raises(CodecFault) as fault:
        codec.observation_in(data)
    assert says in str(fault.value)


@pytest.mark.parametrize(("value", "says"), REFUSED_VALUES, ids=[str(v) for v, _ in REFUSED_VALUES])
def test_a_stored_value_in_any_other_form_is_refused(value: Any, says: str) -> None:
    with pytest.raises(CodecFault) as fault:
        codec.observation_in({"f": {"raw": "", "value": value, "channel": "typed"}})
    assert says in str(fault.value)


REFUSED_ORDERS: list[tuple[Any, str]] = [
    (None, "where Order was expected"),
    ({"id": "O-1"}, "has no ['patient']"),
    ({"id": "O-1", "patient": "P-7", "patient_name": "x"}, "has ['patient_name'], not known"),
    ({"id": "O-1", "patient": "P-7", "dose": 7.5}, "where an amount was expected"),
    ({"id": "O-1", "patient": "P-7", "verbal": 0}, "where true or false was expected"),
    ({"id": "O-1", "patient": "P-7", "written": ["x"]}, "where texts by name were expected"),
    ({"id": "O-1", "patient": "P-7", "written": {"dose": 5}}, "where text was expected"),
    ({"id": "O-1", "patient": "P-7", "hold": {"what": "pulse"}}, "has no ['unit']"),
]


@pytest.mark.parametrize(("data", "says"), REFUSED_ORDERS)
def test_an_order_in_any_other_form_is_refused(data: Any, says: str) -> None:
    with pytest.raises(CodecFault) as fault:
        codec.order_in(data)
    assert says in str(fault.value)


@pytest.mark.parametrize(
    "value", [0.5, 5, Fraction(1, 2), Decimal("0.5"), None, b"x", ["x"], float("nan")]
)
def test_no_reading_holds_a_float_or_any_type_that_is_not_listed(value: Any) -> None:
    with pytest.raises(TypeError, match="which no reading can hold"):
        codec.observation_out({"f": Reading("", value, Channel.TYPED)})


@pytest.mark.parametrize(
    "changed",
    [{"dose": 7.5}, {"dose": "7.5 mg"}, {"verbal": 1}, {"drug": 5}, {"due": date(2027, 1, 1)}],
)
def test_no_order_is_stored_with_a_field_of_another_type(changed: dict[str, Any]) -> None:
    with pytest.raises(TypeError):
        codec.order_out(Order(id="O-1", patient="P-7", **changed))


def test_a_time_without_a_zone_is_refused() -> None:
    with pytest.raises(CodecFault, match="does not say in which time zone"):
        codec.time_out(datetime(2026, 11, 25, 14))  # noqa: DTZ001
    with pytest.raises(CodecFault, match="out of the years"):
        codec.time_out(datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=2))))


def test_a_time_is_stored_in_utc_with_microseconds_and_z() -> None:
    # The form is a profile of ISO 8601, RFC 3339 section 5.6; worked by hand: 14:05 at +05:45 is
    # 08:20 UTC.
    nepal = timezone(timedelta(hours=5, minutes=45))
    assert codec.time_out(datetime(2026, 11, 25, 14, 5, tzinfo=nepal)) == (
        "2026-11-25T08:20:00.000000Z"
    )
    assert codec.time_in("2026-11-25T08:20:00.000000Z") == datetime(2026, 11, 25, 8, 20, tzinfo=UTC)


class Count(IntEnum):
    TWO = 2


BODIES: list[tuple[Mapping[str, Any], str]] = [
    ({}, "{}"),
    ({"b": 1, "a": [True, None, "x"]}, '{"a":[true,null,"x"],"b":1}'),
    ({"b": {"d": "1", "c": "2"}}, '{"b":{"c":"2","d":"1"}}'),
    ({"a": ("x", "y")}, '{"a":["x","y"]}'),
    (MappingProxyType({"a": MappingProxyType({"b": "c"})}), '{"a":{"b":"c"}}'),
    ({"a": Channel.TYPED, Channel.LINES: Count.TWO}, '{"a":"typed","lines":2}'),
    ({"a": "5 μg é"}, '{"a":"5 μg é"}'),
    ({"a": 'x"\\/\n\r\t\x1d\x7f'}, '{"a":"x\\"\\\\/\\n\\r\\t\\u001d\x7f"}'),
    ({"a": "\u202eabc\u2066\u200f"}, '{"a":"\u202eabc\u2066\u200f"}'),
    ({"a": "\u2028<script>"}, '{"a":"\u2028<script>"}'),
    ({"a": 2**53 - 1, "b": -(2**53 - 1)}, '{"a":9007199254740991,"b":-9007199254740991}'),
]


@pytest.mark.parametrize(("body", "stored"), BODIES, ids=[repr(s) for _, s in BODIES])
def test_a_body_has_one_text(body: Mapping[str, Any], stored: str) -> None:
    assert codec.text(body) == stored
    assert codec.text(codec.body(stored)) == stored
    assert codec.body(stored) == json.loads(stored)


plain_data = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(texts, plain_data, max_size=4))
def test_any_plain_body_comes_back_and_does_not_depend_on_the_order_of_keys(
    body: dict[str, Any],
) -> None:
    stored = codec.text(body)
    assert codec.body(stored) == body
    assert json.loads(stored) == body
    assert codec.text(dict(reversed(body.items()))) == stored


@pytest.mark.parametrize(
    "value", [0.5, 1.0, float("nan"), float("inf"), Decimal(1), Fraction(1, 2), b"x", {"x"}, AT]
)
@pytest.mark.parametrize("wrap", [lambda v: v, lambda v: [v], lambda v: {"k": [{"j": v}]}])
def test_a_float_or_another_type_is_refused_at_any_depth(value: Any, wrap: Any) -> None:
    with pytest.raises(TypeError, match="never stored"):
        codec.text({"a": wrap(value)})


def test_a_body_is_a_mapping_with_text_keys() -> None:
    with pytest.raises(TypeError, match="A body is a mapping"):
        codec.text(["a"])  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="not text"):
        codec.text({"a": {5: "x"}})


def nested(depth: int) -> dict[str, Any]:
    inner: dict[str, Any] = {}
    for _ in range(depth):
        inner = {"a": inner}
    return inner


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ({"seen": {"note": "a\x00b"}}, "body.seen.note holds a null character"),
        ({"seen": {"note": "a\ud83d"}}, r"body.seen.note holds half of a character \(U\+D83D\)"),
        ({"a": ["x", "\udc00"]}, r"body.a\[1\] holds half of a character \(U\+DC00\)"),
        ({"a\x00": "x"}, "a key in body holds a null character"),
        ({"a": 2**53}, "body.a is too great"),
        (nested(40), "nested too deep"),
    ],
)
def test_what_cannot_be_stored_is_refused_with_its_place(body: Any, says: str) -> None:
    with pytest.raises(CodecFault, match=says):
        codec.text(body)


@pytest.mark.parametrize(
    ("stored", "says"),
    [
        ("", "cannot be read as JSON"),
        ("{", "cannot be read as JSON"),
        ("[]", "not a JSON object"),
        ('"x"', "not a JSON object"),
        ('{"a":0.5}', "holds the number 0.5"),
        ('{"a":1e3}', "holds the number 1e3"),
        ('{"a":NaN}', "holds the number NaN"),
        ('{"a":-Infinity}', "holds the number -Infinity"),
        ('{"a":1,"a":2}', "names the same key twice"),
        ('{"a":9007199254740992}', "too great"),
        ('{"a":' + "9" * 5000 + "}", "cannot be read as JSON"),
        ('{"a":"\\u0000"}', "holds a null character"),
        ('{"a":"\\ud800"}', "holds half of a character"),
        ('{"a":' + "[" * 40 + "]" * 40 + "}", "nested too deep"),
        ('{"a":' + "[" * 100_000 + "]" * 100_000 + "}", "cannot be read as JSON"),
    ],
)
def test_a_stored_body_that_this_program_cannot_have_written_is_refused(
    stored: str, says: str
) -> None:
    with pytest.raises(CodecFault, match=says):
        codec.body(stored)
