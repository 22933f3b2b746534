"""Hostile files of a ward and of workflows: refused in sentences or taken inert, quickly."""

from __future__ import annotations

import json
import random
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from checklist import library
from checklist.definition import WorkflowFaults
from checklist.faces.saying import harmless
from checklist.intake.fault import Faults
from checklist.intake.ward import load_ward
from tests.effort import FULL
from tests.hostile import ALL, FORMULAS, bounded, inert
from tests.wards import DEMO, ORDERS

FILES = tuple(sorted(one.name for one in DEMO.iterdir()))
TABLES = tuple(name for name in FILES if name.endswith(".toml") and name != "scenario.toml")
SAMPLE = 12 if FULL else 1
"""How many places of each file every hostile text is tried at."""

# Whole files: (what is made of the good text). TOML readers take time and depth that grow faster
# than the file; JSON readers keep the last of two equal keys without a word.
SPOILED: dict[str, Callable[[str], bytes]] = {
    "nothing": lambda _: b"",
    "a null": lambda good: good.encode() + b"\x00",
    "no text": lambda good: b"\xff\xfe\xfd" + good.encode(),
    "a byte order mark": lambda good: b"\xef\xbb\xbf" + good.encode(),
    "half a character": lambda good: good.encode() + b'\nx = "\xed\xa0\x80"\n',
    "lists in lists": lambda _: b"x = " + b"[" * 60_000,
    "tables in tables": lambda _: b"x = " + b"{a=" * 60_000,
    "a long dotted key": lambda _: b".".join([b"a"] * 20_000) + b" = 1",
    "many dotted keys": lambda _: b"\n".join(b"a%d.b.c.d.e.f = 1" % n for n in range(120_000)),
    "dotted keys to the limit": lambda _: b"\n".join(b"a%d.b.c.d = 1" % n for n in range(15_000)),
    "deep tables by many lines": lambda _: b"[" + b".".join([b"a"] * 2_000) + b"]\n",
    "a long text": lambda good: good.encode() + b'\nx = "' + b"A" * 10_000_000 + b'"\n',
    "many lines": lambda good: good.encode() + b"# \n" * 200_000,
    "a key twice": lambda good: good.encode() + b'\nname = "a"\nname = "b"\n',
    "not a number": lambda good: good.encode() + b"\nx = nan\ny = inf\n",
    "a huge number": lambda good: good.encode() + b"\nx = " + b"9" * 4_000 + b"\n",
    "a huge power": lambda good: good.encode() + b"\nx = 1e999999999\n",
}
SPOILED_RECORDS: dict[str, Callable[[str], bytes]] = {
    "lists in lists": lambda _: b'{"orders": ' + b"[" * 100_000,
    "objects in objects": lambda _: b'{"a":' * 100_000,
    "a key twice": lambda good: good.replace("{", '{"orders": [], "orders": [], ', 1).encode(),
    "not a number": lambda good: good.replace("{", '{"x": NaN, "y": Infinity, ', 1).encode(),
    "a huge number": lambda good: good.replace("{", '{"x": ' + "9" * 5_000 + ", ", 1).encode(),
    "a huge power": lambda good: good.replace("{", '{"x": 1e999999999, ', 1).encode(),
    "half a character": lambda good: good.replace("{", '{"x": "\\ud800", ', 1).encode(),
    "a null": lambda good: good.replace("{", '{"x": "\\u0000", ', 1).encode(),
    "no object": lambda _: b"[" + b"0," * 500_000 + b"0]",
    "too long": lambda good: good.encode() + b" " * 5_000_000,
}


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    shutil.copytree(DEMO, tmp_path / "ward")
    return tmp_path / "ward"


def told(folder: Path) -> tuple[str, ...]:
    """The sentences about a ward; none where it was taken."""
    try:
        with bounded():
            load_ward(folder)
    except Faults as found:
        return tuple(map(str, found.faults))
    return ()


@pytest.mark.parametrize("spoil", SPOILED)
@pytest.mark.parametrize("name", TABLES)
def test_a_spoiled_table_is_refused_in_sentences(ward: Path, name: str, spoil: str) -> None:
    good = (ward / name).read_text(encoding="utf-8")
    (ward / name).write_bytes(SPOILED[spoil](good))
    sentences = told(ward)
    if spoil != "many lines" and not (spoil == "nothing" and name == "compatibility.toml"):
        assert any(one.startswith(name) for one in sentences)
    assert all(len(one) < 600 for one in sentences)


@pytest.mark.parametrize("spoil", SPOILED_RECORDS)
def test_spoiled_records_are_refused_in_sentences(ward: Path, spoil: str) -> None:
    good = (ward / ORDERS).read_text(encoding="utf-8")
    (ward / ORDERS).write_bytes(SPOILED_RECORDS[spoil](good))
    sentences = told(ward)
    assert any(one.startswith(ORDERS) for one in sentences)
    assert all(len(one) < 600 for one in sentences)


QUOTED = re.compile(r'(?<=[=:,\[] )"[^"\n]+"|(?<=\[)"[^"\n]+"')


def spoiled_places(good: str, draw: random.Random) -> Iterator[tuple[str, str]]:
    """The text with a hostile word in place of one of its own, for each hostile word."""
    places = list(QUOTED.finditer(good))
    for word in ALL:
        for place in draw.sample(places, SAMPLE):
            yield word, f"{good[: place.start()]}{json.dumps(word)}{good[place.end() :]}"


@pytest.mark.parametrize("name", [*TABLES, ORDERS])
def test_a_hostile_word_in_any_place_is_refused_or_kept_as_it_is(ward: Path, name: str) -> None:
    good = (ward / name).read_text(encoding="utf-8")
    draw, refused = random.Random(2026), 0
    for _, spoiled in spoiled_places(good, draw):
        (ward / name).write_text(spoiled, encoding="utf-8")
        sentences = told(ward)
        refused += bool(sentences)
        assert all(inert(harmless(one).replace("\n", "")) for one in sentences)
    assert refused > len(ALL) / 2


@pytest.mark.parametrize("spoil", [*SPOILED, "a place elsewhere", "a null in a title"])
def test_a_spoiled_workflow_is_refused_in_sentences(tmp_path: Path, spoil: str) -> None:
    good = (library.folder("workflows") / "glass_ampoule.toml").read_text(encoding="utf-8")
    elsewhere: dict[str, Callable[[str], bytes]] = {
        "a place elsewhere": lambda good: re.sub(
            r'(?s)phases = \[\s*"\w+"', 'phases = ["../../../../etc/passwd"', good, count=1
        ).encode(),
        "a null in a title": lambda good: good.replace('title = "', 'title = "\\u0000', 1).encode(),
    }
    file = tmp_path / "flow.toml"
    file.write_bytes({**SPOILED, **elsewhere}[spoil](good))
    if spoil == "many lines":
        file.write_bytes(b"# \n" * 20_000)
    with bounded(), pytest.raises(WorkflowFaults) as found:
        library.read_own(file)
    assert inert(harmless(str(found.value)).replace("\n", ""))


def test_no_formula_comes_in_by_a_table_of_rows_without_being_kept_as_text(ward: Path) -> None:
    """A formula that comes in stays the text that it is; one file writes CSV, and quotes them."""
    from checklist.intake.fault import Findings
    from checklist.intake.page import rows

    for formula in FORMULAS:
        cells = ["code", formula.strip("\r\t")]
        found = Findings("x.csv")
        ((_, kept),) = rows(",".join(f'"{c.replace(chr(34), chr(34) * 2)}"' for c in cells), found)
        assert kept == cells and not found.faults
    written = [
        one for one in Path("checklist").rglob("*.py") if "csv.writer" in one.read_text("utf-8")
    ]
    assert [one.name for one in written] == ["sheet.py"], "tests/test_sheet.py holds that one"


# Patterns that take seconds to minutes over some dozens of characters, and one that does not.
PATTERNS = [
    (r"(\w+\s?)*", False),
    (r"(a|a)+b", False),
    (".*.*.*.*.*.*.*.*#", False),
    ("a?" * 24 + "a" * 24, False),
    ("[0-9]*" * 20 + "x", False),
    ("[0-9]{1,9}" * 15 + "x", False),
    ("(?i)(room|bed|bay)? ?[0-9]+[a-z]?", True),
    ("[A-Z]{2}-?[0-9]{6,8}", True),
]


@pytest.mark.parametrize(("pattern", "taken"), PATTERNS)
def test_a_unit_cannot_give_a_pattern_that_takes_long(
    ward: Path, pattern: str, taken: bool
) -> None:
    text = (ward / "unit.toml").read_text(encoding="utf-8")
    line = f"location = {json.dumps(pattern)}\n"
    text, changed = re.subn(r"(?m)^location = .*\n", lambda _: line, text)
    (ward / "unit.toml").write_text(text if changed else line + text, encoding="utf-8")
    sentences = [one for one in told(ward) if "location" in one]
    assert (not sentences) is taken, sentences
    if taken:
        with bounded():
            re.fullmatch(pattern, "1" * 80)
