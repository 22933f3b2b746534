"""The try-out of a scanner: each fault simulated, what is kept of it, and the page itself."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pypdfium2
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.intake.scanner_file import FILE, MOST_STATIONS, ScannerFault, ScannerFile
from checklist.interop.scanner import GS, SOUND, UNTRIED, Ending, Letters, Prefix, Scanner
from checklist.interop.try_out import PAGE, Came, Finding, Printed, came, finding
from checklist.printing.scan_page import rows_of, scan_page
from tests.faces import run

AT, BY = "2026-11-25T09:00:00Z", "RN-12"
Sends = Callable[[Printed], str]


def sent(one: Printed, *, prefix: bool = True, gap: str = GS) -> str:
    """What a scanner types for a symbol."""
    return (one.prefix if prefix else "") + gap.join(one.parts)


def german(text: str) -> str:
    """Figures and letters as a computer set to German takes those of an American scanner.

    Common practice, no source: y and z change places, and so do some signs.
    """
    return text.translate(str.maketrans("yzYZ-/_]'", "zyZYß-?+ä"))


def french(text: str) -> str:
    """The same for a French one: the row of figures gives signs. Common practice, no source."""
    return text.translate(str.maketrans("0123456789aqzwAQZW", "à&é\"'(-è_çqawzQAWZ"))


def tried(sends: Sends, ending: Ending = Ending.ENTER) -> Finding:
    found: dict[int, Came] = {}
    for one in PAGE:
        read = came(one, sends(one))
        if read is not None:
            found[one.number] = read
    return finding(found, ending, tried_at=AT, by=BY)


FAULTS: list[tuple[str, Sends, dict[str, object], str]] = [
    ("as it should", sent, {"separator": GS, "prefix": Prefix.SENT}, ""),
    ("no prefix", lambda one: sent(one, prefix=False), {"separator": GS,
     "prefix": Prefix.NOT_SENT}, ""),
    ("a bar for the separator", lambda one: sent(one, gap="|"), {"separator": "|"}, ""),
    ("F8 for the separator", lambda one: sent(one, gap="\x1b[19~"), {"separator": "\x1b[19~"}, ""),
    ("words for the separator", lambda one: sent(one, gap="{GS}"), {"separator": "{GS}"}, ""),
    ("separator lost", lambda one: sent(one, gap=""), {"separator": ""}, "separator is lost"),
    ("figures for the separator", lambda one: sent(one, gap="029"), {"separator": ""},
     "sent as 029, which a lot may hold itself"),
    ("a stroke for the separator", lambda one: sent(one, gap="/"), {"separator": ""},
     "sent as /, which a lot may hold itself"),
    ("lost in linear codes only", lambda one: sent(one, gap="" if one.number == 3 else GS),
     {"separator": ""}, "in different ways from different symbols"),
    ("Caps Lock", lambda one: sent(one).swapcase(), {"letters": Letters.TURNED,
     "separator": GS, "prefix": Prefix.SENT}, "Press Caps Lock once"),
    ("all capitals", lambda one: sent(one).upper(), {"letters": Letters.CAPITALS},
     "come as all capitals"),
    ("all small", lambda one: sent(one).lower(), {"letters": Letters.SMALL}, "all small letters"),
    ("German keyboard", lambda one: german(sent(one)), {"letters": Letters.CHANGED},
     "keyboard country"),
    ("French keyboard", lambda one: french(sent(one)), {"letters": Letters.CHANGED},
     "keyboard country"),
    ("something in front", lambda one: f"$${sent(one, prefix=False)}",
     {"prefix": Prefix.NOT_SENT}, "puts '$$' in front"),
    ("prefix with some only", lambda one: sent(one, prefix=one.number != 4),
     {"prefix": Prefix.UNKNOWN}, "with some symbols only"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("sends", "known", "words"), [row[1:] for row in FAULTS], ids=[row[0] for row in FAULTS]
)
def test_what_a_scanner_does_is_found_and_said(
    sends: Sends, known: dict[str, object], words: str
) -> None:
    found = tried(sends)
    for name, value in {"letters": Letters.AS_PRINTED, **known}.items():
        if name in known or words == "":
            assert getattr(found.scanner, name) == value, name
    assert words in " ".join(found.mend) and bool(found.mend) is bool(words)
    assert found.fit is (words in ("", *_HARMLESS))


_HARMLESS = ("puts '$$' in front", "with some symbols only")


def test_a_changed_layout_names_the_characters() -> None:
    (sentence,) = (one for one in tried(lambda one: german(sent(one))).mend if "keyboard" in one)
    assert "y as z" in sentence or "Y as Z" in sentence


@pytest.mark.parametrize("ending", Ending)
def test_the_line_end_is_kept_and_told_where_it_is_a_trouble(ending: Ending) -> None:
    found = tried(sent, ending)
    trouble = ending in (Ending.TWICE, Ending.TAB, Ending.NOTHING)
    assert found.scanner.ending is ending and bool(found.mend) is trouble and found.fit


@pytest.mark.parametrize("one", PAGE, ids=lambda one: str(one.number))
@pytest.mark.parametrize("raw", ["", "9520007300114", "hello", "]d2010952000730011410A", "x" * 300])
def test_another_code_than_the_symbol_asked_for_is_told_apart(one: Printed, raw: str) -> None:
    assert came(one, raw) is None


def test_each_symbol_is_told_from_the_others_with_and_without_prefix() -> None:
    for one in PAGE:
        for other in PAGE:
            for prefix in (True, False):
                assert (came(one, sent(other, prefix=prefix)) is not None) is (one is other)


def test_symbols_that_are_not_read_are_named() -> None:
    found = tried(lambda one: sent(one) if one.number != 5 else "")
    assert found.unread == (5,) and found.fit
    nothing = finding({}, Ending.UNKNOWN, tried_at=AT, by=BY)
    assert nothing.scanner.separator is None and not nothing.fit


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(PAGE), st.text(max_size=120))
def test_no_line_makes_a_try_out_fall_over(one: Printed, raw: str) -> None:
    read = came(one, raw)
    assert read is None or isinstance(read, Came)


# -- the page ------------------------------------------------------------------------------------


def test_the_page_is_read_back_symbol_by_symbol_as_it_is_meant() -> None:
    pages = pypdfium2.PdfDocument(scan_page())
    assert len(pages) == 1
    seen = zxingcpp.read_barcodes(pages[0].render(scale=300 / 72).to_pil())
    read = sorted(seen, key=lambda one: one.position.top_left.y)
    raws = [f"{one.symbology_identifier}{one.bytes.decode()}" for one in read]
    assert raws == [sent(one) for one in PAGE]
    assert tried(lambda one: raws[one.number - 1]).mend == ()


@pytest.mark.parametrize("one", PAGE, ids=lambda one: str(one.number))
def test_a_symbol_has_its_modules(one: Printed) -> None:
    rows = rows_of(one)
    assert all(len(row) == len(rows[0]) for row in rows)
    assert (len(rows) == 1) is (one.number in (3, 4))


def test_the_page_is_written_once_and_only_as_pdf(tmp_path: Path) -> None:
    made = run("scanner", "page", "s.pdf", home=tmp_path)
    assert made.returncode == 0, made.stderr
    first = (tmp_path / "s.pdf").read_bytes()
    assert first.startswith(b"%PDF") and "5 test symbols" in made.stdout
    again = run("scanner", "page", "s.pdf", home=tmp_path)
    assert again.returncode == 2 and "is there already" in again.stderr
    assert (tmp_path / "s.pdf").read_bytes() == first
    assert run("scanner", "page", "s.png", home=tmp_path).returncode == 2


# -- the file ------------------------------------------------------------------------------------


def keep(folder: Path, station: str = "W7E-1", scanner: Scanner = SOUND) -> ScannerFile:
    kept = ScannerFile(folder / FILE)
    kept.keep(station, scanner, between=lambda: None)
    return kept


@pytest.mark.parametrize(
    "scanner",
    [
        SOUND, UNTRIED, Scanner(separator=""), Scanner(separator="\x1b[19~"),
        Scanner(separator="{GS}", letters=Letters.TURNED, ending=Ending.TWICE, by="RN-12"),
    ],
)  # fmt: skip
def test_what_was_found_comes_back_as_it_was(scanner: Scanner, tmp_path: Path) -> None:
    one = replace(scanner, tried_at=AT)
    kept = keep(tmp_path, scanner=one)
    assert kept.of("W7E-1") == one
    assert kept.of("W7E-2") == UNTRIED
    keep(tmp_path, "W7E-2", replace(SOUND, tried_at=AT))
    assert kept.of("W7E-1") == one and kept.of("W7E-2").tried
    assert sorted(path.name for path in tmp_path.iterdir()) == [f".{FILE}.lock", FILE]


def test_what_stops_the_entry_leaves_the_old_file(tmp_path: Path) -> None:
    kept = keep(tmp_path, scanner=Scanner(separator="|", tried_at=AT))
    before = kept.path.read_bytes()

    def trouble() -> None:
        raise RuntimeError("the trail is busy")

    with pytest.raises(RuntimeError):
        kept.keep("W7E-1", SOUND, between=trouble)
    assert kept.path.read_bytes() == before
    assert not (tmp_path / f".{FILE}.new").exists()


ONE = """[station."W7E-1"]
prefix = "sent"
separator = "U+001D"
letters = "as printed"
ending = "enter"
tried_at = "2026-11-25T09:00:00Z"
by = "RN-12"
"""
HOSTILE = [
    ("", "form"),
    ("form = 1", "station"),
    (f"form = 2\n{ONE}", "its form is 2"),
    (f"form = 1\nmore = 1\n{ONE}", "more"),
    (f"form = 1\n{ONE}more = 1\n", "more"),
    (f"form = 1\n{ONE}".replace('"sent"', '"maybe"'), "maybe"),
    (f"form = 1\n{ONE}".replace('"sent"', "true"), "prefix"),
    (f"form = 1\n{ONE}".replace("U+001D", "A"), "station W7E-1"),
    (f"form = 1\n{ONE}".replace("U+001D", "U+002F"), "station W7E-1"),
    (f"form = 1\n{ONE}".replace("U+001D", " ".join(["U+007C"] * 30)), "separator"),
    (f"form = 1\n{ONE}".replace("2026-11-25T09:00:00Z", "yesterday"), "tried_at"),
    (f"form = 1\n{ONE}".replace("RN-12", "RN\u202e12"), "cannot be seen"),
    (f"form = 1\n{ONE}{ONE}", "not TOML"),
    ("form = 1\n" + "x" * 5_000, "characters"),
    ("\x00", "not TOML"),
]


@pytest.mark.parametrize(("text", "words"), HOSTILE)
def test_a_file_that_is_not_ours_is_refused_in_words_and_left(
    text: str, words: str, tmp_path: Path
) -> None:
    path = tmp_path / FILE
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ScannerFault, match="Move it away") as told:
        ScannerFile(path).of("W7E-1")
    assert words in str(told.value)
    with pytest.raises(ScannerFault):
        ScannerFile(path).keep("W7E-1", SOUND, between=lambda: None)
    assert path.read_text(encoding="utf-8") == text


def test_a_file_that_has_lain_for_a_while_is_read_again_once_another_station_wrote(
    tmp_path: Path,
) -> None:
    tried = replace(SOUND, tried_at=AT)
    kept = keep(tmp_path, scanner=tried)
    os.utime(kept.path, (1_700_000_000, 1_700_000_000))
    assert kept.of("W7E-1").tried and not kept.of("W7E-2").tried
    keep(tmp_path, "W7E-2", tried)
    os.utime(kept.path, (1_700_000_000, 1_700_000_000))
    assert kept.of("W7E-2").tried
    kept.path.unlink()
    assert kept.of("W7E-1") == UNTRIED


def test_what_is_no_plain_file_is_refused_without_waiting(tmp_path: Path) -> None:
    for make in (os.mkfifo, Path.mkdir, lambda path: Path(path).symlink_to("/etc/hostname")):
        path = tmp_path / FILE
        make(path)
        with pytest.raises(ScannerFault, match="no plain file"):
            ScannerFile(path).of("W7E-1")
        path.rmdir() if path.is_dir() and not path.is_symlink() else path.unlink()


def test_names_and_numbers_of_stations_have_bounds(tmp_path: Path) -> None:
    for name in ("", "x" * 81, "W\u202e7", "a\nb"):
        with pytest.raises(ScannerFault, match="as the name of a station"):
            keep(tmp_path, name)
    one = Scanner(separator="", tried_at=AT)
    for odd in ('W"7', "W\\7", "[x]", "Ward 7, Bay é"):
        assert keep(tmp_path, odd, one).of(odd) == one
    many = "".join(ONE.replace("W7E-1", f"S{n}") for n in range(MOST_STATIONS))
    (tmp_path / FILE).write_text(f"form = 1\n{many}", encoding="utf-8")
    with pytest.raises(ScannerFault, match="no more are kept"):
        keep(tmp_path, "one more")


def test_a_bad_file_stops_a_preparation_before_anything_is_written(tmp_path: Path) -> None:
    (tmp_path / "checklist").mkdir()
    (tmp_path / "checklist" / FILE).write_text("form = 9", encoding="utf-8")
    told = run("prepare", "ORD-103", "--as", "RN-12", "--practice", "--lines", home=tmp_path)
    assert told.returncode == 2 and "Move it away" in told.stderr
    assert told.stdout == ""


def test_what_is_known_is_shown_for_people_and_programs(tmp_path: Path) -> None:
    folder = tmp_path / "checklist"
    folder.mkdir()
    keep(folder, scanner=Scanner(separator="|", tried_at=AT, by=BY))
    told = run("scanner", "show", home=tmp_path)
    assert "W7E-1: tried 2026-11-25T09:00:00Z by RN-12" in told.stdout
    assert "separator sent as |" in told.stdout and "W7E-2: not tried yet" in told.stdout
    data = json.loads(run("scanner", "show", "--json", home=tmp_path).stdout)["stations"]
    assert data["W7E-1"]["separator"] == "U+007C" and data["W7E-1"]["stand_in"]
    assert not data["W7E-2"]["tried"]
