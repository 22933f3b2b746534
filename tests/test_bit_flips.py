"""Every bit of the pages that hold the entries of a trail, flipped in turn: nothing is changed and
unnoticed.

By default a sample of the bits, evenly spread with a stride that meets every bit of a byte and
every byte of a page in the long run; with CHECKLIST_FULL=1 all of them. What is compared is the
content of all columns of all entries, before and after.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from checklist import trail_schema
from checklist.chain import Head, first_break
from checklist.trail import Trail
from tests.effort import FULL
from tests.ward_trail import filled

ENTRIES = 200
SAMPLE = 1_500
SELECT = f"SELECT {trail_schema.COLUMNS} FROM main.entries ORDER BY seq"


def leaf_pages(path: Path) -> list[int]:
    """The first byte of each leaf page of the table of entries, by walking its tree.

    The form of a page is that of SQLite's published file format: type 5 inner, 13 leaf.
    """
    db = sqlite3.connect(path)
    (root,) = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'entries'").fetchone()
    (size,) = db.execute("PRAGMA page_size").fetchone()
    db.close()
    content = path.read_bytes()

    def leaves(page: int) -> Iterator[int]:
        start = (page - 1) * size
        head = content[start : start + 12]
        if head[0] == 13:
            yield start
            return
        assert head[0] == 5
        for n in range(int.from_bytes(head[3:5], "big")):
            at = start + 12 + 2 * n
            cell = start + int.from_bytes(content[at : at + 2], "big")
            yield from leaves(int.from_bytes(content[cell : cell + 4], "big"))
        yield from leaves(int.from_bytes(head[8:12], "big"))

    found = list(leaves(root))
    assert len(found) > 5
    return found


def read(content: bytes) -> list[tuple[object, ...]] | None:
    """The content of the entries of a trail of these bytes; None where they cannot be read."""
    db = sqlite3.connect(":memory:")
    try:
        db.deserialize(content)
        return db.execute(SELECT).fetchall()
    except sqlite3.Error:
        return None
    finally:
        db.close()


@pytest.mark.skipif(not hasattr(sqlite3.Connection, "deserialize"), reason="SQLite without it")
def test_no_flipped_bit_changes_an_entry_unnoticed(tmp_path: Path) -> None:
    path = filled(tmp_path, ENTRIES)
    with Trail.open(path) as trail:
        origin, genesis = trail.origin.id, trail.origin.genesis
    db = sqlite3.connect(path)
    db.execute("PRAGMA journal_mode = DELETE")
    (size,) = db.execute("PRAGMA page_size").fetchone()
    db.close()
    pages = leaf_pages(path)
    content = bytearray(path.read_bytes())
    rows = read(bytes(content))
    assert rows is not None and len(rows) == ENTRIES
    start = Head(0, genesis)
    assert first_break(rows, origin, after=start) is None
    bits = len(pages) * size * 8
    stride = 1 if FULL else bits // SAMPLE | 1
    found: Counter[str] = Counter()
    for bit in range(0, bits, stride):
        page, within = divmod(bit, size * 8)
        at = pages[page] + within // 8
        content[at] ^= 1 << within % 8
        after = read(bytes(content))
        content[at] ^= 1 << within % 8
        if after is None:
            found["cannot be read"] += 1
        elif after == rows:
            found["nothing changed"] += 1
        elif first_break(after, origin, after=start) is None and len(after) == ENTRIES:
            found["changed and unnoticed"] += 1
        else:
            found["changed, and the chain shows it"] += 1
    assert found["changed and unnoticed"] == 0
    assert found["changed, and the chain shows it"] > found["nothing changed"] / 4 > 0
    assert sum(found.values()) == len(range(0, bits, stride))
