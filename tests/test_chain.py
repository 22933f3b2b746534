"""The hash chain against SHA-256 over literal bytes, and where it says that a chain breaks."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.chain import Head, Row, altered, digest, entry_bytes, first_break, genesis

TRAIL = "7e-2026"
CREATED = "2026-11-25T14:00:00.000000Z"
START = Head(0, genesis(TRAIL, "W7E", CREATED))

GENESIS_BYTES = b'["trail",1,"7e-2026","W7E","2026-11-25T14:00:00.000000Z"]'
ENTRY_BYTES = (
    b'["7e-2026",1,"ev-1","prep-1",0,"opened","","identify.order",'
    b'"2026-11-25T14:00:05.250000Z","RN-12","S1","engine",'
    b'"{\\"note\\":\\"5 \\\\u03bcg \xe2\x80\xae\\"}",'
    b'"bb770e64a17d790597fa002c6822aa63b39ae4c88cf4847e9270dad8d4c637b8"]'
)
ENTRY_DIGEST = "8ca6d70396e33520e50d52f262f6c8259e3d6e987f49abadb47d471f99203c24"

PUBLISHED_LEAVES = [
    # transparency-dev/merkle, rfc6962 tests, commit 417fb0c (2026)
    (b"", "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"),
    (b"L123456", "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"),
    # google/certificate-transparency, merkle_test.py, commit 0fe5116 (2023)
    (bytes(range(16, 32)), "3bfb960453ebaebf33727da7a1f4db38acc051d381b6da20d6d4e88f0eabfd7a"),
]


def row(seq: int, last: Head, **changed: str | int) -> Row:
    fields: dict[str, str | int] = {
        "id": f"ev-{seq}",
        "preparation": "prep-1",
        "turn": seq - 1,
        "kind": "opened" if seq == 1 else "passed",
        "place": "" if seq == 1 else f"step-{seq - 1}",
        "lands": f"step-{seq}",
        "at": "2026-11-25T14:00:05.250000Z",
        "by": "RN-12",
        "station": "S1",
        "channel": "typed",
        "body": "{}",
    }
    fields.update(changed)
    return signed(Row._make((seq, *fields.values(), last.digest, b"")))


def signed(unsigned: Row) -> Row:
    return unsigned._replace(digest=digest(entry_bytes(TRAIL, unsigned)))


def changed(row: Row, column: str, value: object) -> Row:
    return Row._make(value if name == column else getattr(row, name) for name in Row._fields)


def chained(count: int) -> list[Row]:
    rows: list[Row] = []
    last = START
    for seq in range(1, count + 1):
        rows.append(row(seq, last))
        last = Head(seq, rows[-1].digest)
    return rows


def test_the_worked_example_is_sha_256_over_a_zero_byte_and_literal_bytes() -> None:
    # Recomputed with hashlib alone (SHA-256: FIPS 180-4).
    before = hashlib.sha256(b"\x00" + GENESIS_BYTES)
    assert START.digest == before.digest()
    assert before.hexdigest().encode() in ENTRY_BYTES
    example = Row(
        seq=1,
        id="ev-1",
        preparation="prep-1",
        turn=0,
        kind="opened",
        place="",
        lands="identify.order",
        at="2026-11-25T14:00:05.250000Z",
        by="RN-12",
        station="S1",
        channel="engine",
        body='{"note":"5 \\u03bcg \u202e"}',
        previous=before.digest(),
        digest=b"",
    )
    assert entry_bytes(TRAIL, example) == ENTRY_BYTES
    assert hashlib.sha256(b"\x00" + ENTRY_BYTES).hexdigest() == ENTRY_DIGEST
    assert digest(ENTRY_BYTES).hex() == ENTRY_DIGEST


@pytest.mark.parametrize(("content", "published"), PUBLISHED_LEAVES)
def test_a_digest_is_the_published_leaf_hash(content: bytes, published: str) -> None:
    # Leaf hash: RFC 6962 section 2.1.
    assert digest(content).hex() == published


def test_a_whole_chain_has_no_break_from_the_start_or_from_any_head() -> None:
    rows = chained(30)
    assert first_break([], TRAIL, after=START) is None
    assert first_break(iter(rows), TRAIL, after=START) is None
    for cut in range(1, 30):
        assert first_break(rows[cut:], TRAIL, after=Head(cut, rows[cut - 1].digest)) is None


@pytest.mark.parametrize("column", Row._fields[1:])
def test_an_edit_of_any_column_is_found_at_its_own_entry(column: str) -> None:
    rows = chained(9)
    old = getattr(rows[4], column)
    new = old + 1 if isinstance(old, int) else old[:-1] + ("~" if isinstance(old, str) else b"~")
    rows[4] = changed(rows[4], column, new)
    found = first_break(rows, TRAIL, after=START)
    assert found is not None
    assert (found.seq, found.sentence) == (
        5,
        "Entry 5 does not have the content that was recorded.",
    )
    assert altered(rows[4], TRAIL)


@pytest.mark.parametrize("column", Row._fields)
@pytest.mark.parametrize("value", [None, 1.5, b"", "5", True])
def test_a_value_of_another_type_is_found_too(column: str, value: object) -> None:
    rows = chained(3)
    rows[1] = changed(rows[1], column, value)
    found = first_break(rows, TRAIL, after=START)
    assert found is not None
    assert found.seq == 2


Act = Callable[[list[Row]], list[Row]]

ACTS: list[tuple[str, Act, int, str]] = [
    ("first lost", lambda r: r[1:], 1, "Entry 1 is missing; entry 2 stands in its place."),
    ("middle lost", lambda r: r[:4] + r[5:], 5, "Entry 5 is missing"),
    ("two lost", lambda r: r[:4] + r[6:], 5, "Entry 5 is missing; entry 7"),
    ("rows swapped", lambda r: [*r[:2], r[3], r[2], *r[4:]], 3, "Entry 3 is missing; entry 4"),
    (
        "numbers swapped",
        lambda r: [*r[:2], r[3]._replace(seq=3), r[2]._replace(seq=4), *r[4:]],
        3,
        "Entry 3 does not have the content",
    ),
    ("one repeated", lambda r: [*r[:3], r[2], *r[3:]], 4, "Entry 4 is missing; entry 3"),
    (
        "edited and given a new digest",
        lambda r: [*r[:3], signed(r[3]._replace(by="RN-99")), *r[4:]],
        5,
        "Entry 5 does not follow the entry before it.",
    ),
    (
        "lost and renumbered with new digests",
        lambda r: r[:4] + [signed(each._replace(seq=each.seq - 1)) for each in r[5:]],
        5,
        "Entry 5 does not follow the entry before it.",
    ),
]


@pytest.mark.parametrize(("act", "seq", "says"), [a[1:] for a in ACTS], ids=[a[0] for a in ACTS])
def test_each_act_on_the_rows_is_named_where_it_was_done(act: Act, seq: int, says: str) -> None:
    found = first_break(act(chained(8)), TRAIL, after=START)
    assert found is not None
    assert found.seq == seq
    assert found.sentence.startswith(says)


def test_a_lost_tail_and_a_chain_made_anew_cannot_be_found_without_a_head_kept_elsewhere() -> None:
    rows = chained(8)
    assert first_break(rows[:5], TRAIL, after=START) is None
    anew: list[Row] = []
    last = START
    for old in rows:
        anew.append(signed(old._replace(by="RN-99", previous=last.digest)))
        last = Head(old.seq, anew[-1].digest)
    assert first_break(anew, TRAIL, after=START) is None
    assert anew[-1].digest != rows[-1].digest


def test_the_body_is_hashed_as_it_stands_and_never_read() -> None:
    odd = row(1, START, body="no JSON { at all")
    assert first_break([odd], TRAIL, after=START) is None
    spaced = row(1, START, body='{"a": 1}')
    tight = row(1, START, body='{"a":1}')
    assert spaced.digest != tight.digest


@pytest.mark.parametrize(
    "other",
    [
        ("8w-2026", "W7E", CREATED),
        (TRAIL, "W8E", CREATED),
        (TRAIL, "W7E", "2026-11-25T14:00:00.000001Z"),
    ],
)
def test_a_chain_belongs_to_one_trail_of_one_unit(other: tuple[str, str, str]) -> None:
    found = first_break(chained(3), other[0], after=Head(0, genesis(*other)))
    assert found is not None
    assert found.seq == 1


texts = st.text(max_size=12)


@settings(max_examples=150, deadline=None)
@given(st.lists(texts, min_size=11, max_size=11), st.lists(texts, min_size=11, max_size=11))
def test_no_two_different_entries_give_the_same_bytes(one: list[str], two: list[str]) -> None:
    rows = [
        Row(1, t[0], t[1], 0, t[2], t[3], t[4], t[5], t[6], t[7], t[8], t[9], b"\x00" * 32, b"")
        for t in (one, two)
    ]
    same = entry_bytes(one[10], rows[0]) == entry_bytes(two[10], rows[1])
    assert same == (one == two)


def test_a_shift_of_text_between_neighbouring_columns_changes_the_bytes() -> None:
    plain = row(1, START, by='a","b', station="c")
    assert entry_bytes(TRAIL, plain) != entry_bytes(TRAIL, row(1, START, by="a", station='b","c'))
    assert entry_bytes(TRAIL, plain) != entry_bytes(TRAIL, row(1, START, by="a", station="bc"))


AWKWARD = st.text(alphabet='"\\\\,a\n\x00é[]', max_size=6)


@settings(max_examples=200, deadline=None)
@given(st.lists(AWKWARD, min_size=10, max_size=10), st.lists(AWKWARD, min_size=10, max_size=10))
def test_awkward_texts_have_the_digest_of_their_own_array_and_of_no_other(
    texts: list[str], others: list[str]
) -> None:
    names = (
        "id",
        "preparation",
        "kind",
        "place",
        "lands",
        "at",
        "by",
        "station",
        "channel",
        "body",
    )
    ours = row(1, START, **dict(zip(names, texts, strict=True)))
    assert first_break([ours], TRAIL, after=START) is None
    for changed in (others, [*texts[:2], *others[2:]], [*others[:9], texts[9]]):
        other = row(1, START, **dict(zip(names, changed, strict=True)))
        borrowed = other._replace(digest=ours.digest)
        same = borrowed == ours
        assert (first_break([borrowed], TRAIL, after=START) is None) is same


@pytest.mark.parametrize("at", range(14))
@pytest.mark.parametrize("value", [None, b"x", 1.0, True, 2**70, "\\"])
def test_a_column_of_another_type_or_value_is_a_break(at: int, value: object) -> None:
    rows: list[tuple[object, ...]] = [tuple(one) for one in chained(3)]
    if at == 13 and value == b"x":
        return  # a digest of the right type and another value is tried elsewhere
    rows[1] = (*rows[1][:at], value, *rows[1][at + 1 :])
    found = first_break(rows, TRAIL, after=START)
    assert found is not None and found.seq == 2
