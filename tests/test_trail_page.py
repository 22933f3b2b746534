"""The page about the form of a trail: every figure on it, recomputed, and held to a real trail."""

from __future__ import annotations

import hashlib
import re
from datetime import UTC, datetime
from pathlib import Path

from checklist import independent, merkle, trail_forms, trail_schema
from checklist.chain import FORMAT, Row
from checklist.preparation import Act
from checklist.trail import Trail

PAGE = (Path(next(iter(independent.__path__))) / "FORMAT.md").read_text(encoding="utf-8")
DUMPS = dict(re.findall(r"```hex (.*?)\n(.*?)```", PAGE, re.DOTALL))
DIGESTS = re.findall(r"`([0-9a-f]{64})`", PAGE)


def content(dump: str) -> bytes:
    """The bytes of a dump; its offsets and its letters have to agree with them."""
    found = b""
    for line in dump.splitlines():
        offset, figures, letters = re.fullmatch(
            r"([0-9a-f]{4})  ((?:[0-9a-f]{2} ?){1,16}) *  (.*)", line
        ).groups()  # type: ignore[union-attr]
        assert int(offset, 16) == len(found)
        part = bytes.fromhex(figures)
        assert letters == "".join(chr(one) if 32 <= one < 127 else "." for one in part)
        found += part
    return found


def test_the_bytes_on_the_page_give_the_digests_on_the_page() -> None:
    # hashlib is the only judge here.
    assert list(DUMPS) == ["genesis", "entry 1", "entry 2"]
    dumps = [content(DUMPS[name]) for name in DUMPS]
    digests = [hashlib.sha256(one).hexdigest() for one in dumps]
    assert digests == DIGESTS[:3]
    for digest, later in zip(digests, dumps[1:], strict=False):
        assert later.endswith(f'"{digest}"]'.encode())
    leaves = [bytes.fromhex(one) for one in digests[1:]]
    assert hashlib.sha256(b"\x01" + b"".join(leaves)).hexdigest() == DIGESTS[3]
    assert merkle.node(*leaves).hex() == DIGESTS[3]


def test_a_real_trail_of_the_example_has_the_digests_on_the_page(tmp_path: Path) -> None:
    at = datetime(2026, 11, 25, 14, tzinfo=UTC)
    acts = [
        ("ev-1", "signed_in", {"person": "RN-12", "proof": "pin"}),
        ("ev-2", "signed_out", {"text": "5 µg", "about": "1"}),
    ]
    with Trail.create(tmp_path / "t.db", trail_id="T-1", unit="W7E", at=at) as trail:
        assert trail.origin.genesis.hex() == DIGESTS[0]
        for second, (id_, kind, body) in enumerate(acts, start=1):
            entry = trail.record(
                Act(
                    id=id_,
                    kind=kind,
                    at=at.replace(second=second),
                    by="RN-12",
                    station="W7E-1",
                    channel="typed",
                    body=body,
                )
            )
            assert entry.digest.hex() == DIGESTS[second]


def test_the_page_names_the_form_the_tables_and_every_column_in_order() -> None:
    assert f"form {trail_schema.FORM}, format of what is hashed {FORMAT}" in " ".join(PAGE.split())
    assert trail_schema.APPLICATION_ID.to_bytes(4, "big") == b"ClTr"
    for older in trail_forms.STEPS:
        assert f"Form {older} had" in PAGE
    for table in ("trail", "entries", "definitions", "private"):
        assert f"| `{table}` |" in PAGE
        (created,) = (one for one in trail_schema.SCHEMA if f"CREATE TABLE {table} " in one)
        columns = re.findall(r'^  "?([a-z_]+)"? (?:TEXT|INTEGER|BLOB)', created, re.MULTILINE)
        if table == "entries":
            assert columns == list(Row._fields)
            continue
        row = next(line for line in PAGE.splitlines() if line.startswith(f"| `{table}` |"))
        assert re.findall(r"`([a-z_]+)`", row)[1:] == columns
    grammar = PAGE.partition("entry     = ")[2].partition(";")[0]
    words = re.findall(r"\b(?!of\b|digest\b)[a-z]+\b", grammar)
    assert words == ["id", "seq", "event", *Row._fields[2:-1]]
