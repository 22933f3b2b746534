"""A code typed in place of a scan: the reason is asked, kept before the try, and counted."""

from __future__ import annotations

from pathlib import Path

import pytest

from checklist.facts.asking import QUESTIONS, ask
from checklist.facts.engine import Small, rows_of
from checklist.facts.export import export
from checklist.facts.folder import Folder
from checklist.interop.scanner import Prefix
from checklist.observation import KEYED, keyed_note, keyed_of
from checklist.review.small_cell import Floor
from tests.scene import NURSE
from tests.test_facts import GIVING
from tests.web import TRIED, tablets
from tests.web_nurse import Shift, desk_and_clock, shift, words

TYPED = {
    "seen.product": "09520007300411",
    "seen.expiry": "31 Jul 2027",
    "seen.lot": "OX5528",
}
"""The ampoule of the order, read off its label by eye."""
WHY = "Choose why it was typed"


def asked(trail: Path, folder: Folder, name: str) -> list[dict[str, object]]:
    """The rows that answer a question from what the trail holds."""
    from checklist.trail import Trail

    with Trail.open(trail, read_only=True) as opened:
        export(opened, folder, giving=GIVING)
    floor = Floor(people=1, preparations=1)
    found = ask(Small(rows_of(folder)), QUESTIONS[name], limits=False, floor=floor)
    return [dict(zip(found.columns, row, strict=True)) for row in found.rows]


def test_a_typed_code_needs_a_listed_reason_which_is_kept_and_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        one.to("take_the_product")
        page = one.page()
        assert all(said in page for said in KEYED.values())
        before = one.kinds()
        for why in ({}, {"seen.product.keyed": ""}, {"seen.product.keyed": "lazy"}):
            answer = one.send("attempt", **TYPED, **why)
            assert answer.status_code == 422 and WHY in answer.text, why
            # What was typed stays, and the reasons stand open below it.
            assert 'value="09520007300411"' in answer.text
            assert '<details class="beside typed" open>' in answer.text
            assert one.kinds() == before
        sent = {**TYPED, "seen.product.keyed": "unreadable"}
        assert one.send("attempt", **sent).status_code == 303
        note, tried = (one.event for one in one.beside.station.entries(one.id)[-2:])
        assert note.body["text"] == keyed_note("product", "unreadable") and note.by == NURSE
        assert tried.kind == "passed" and tried.body["seen"]["product"]["channel"] == "typed"
        # Sent twice it counts once, the note as well.
        before = one.kinds()
        turn = {"turn": str(tried.turn - 2)}
        assert one.send("attempt", **{**sent, **turn}).status_code in (303, 409)
        assert one.kinds() == before
        folder = Folder(tmp_path / "facts")
        trail = one.beside.desk.trail_path
        (reason,) = asked(trail, folder, "typed-why")
        assert (reason["why"], reason["codes"]) == ("unreadable", 1)
        (share,) = asked(trail, folder, "typed-codes")
        assert (share["typed"], share["codes"]) == (1, 1)


def test_a_scan_needs_no_reason_and_one_beside_it_is_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shift(tmp_path, monkeypatch) as (one, _):
        one.to("take_the_product")
        right = one.right()
        assert right["seen.product"].startswith("]d2")
        assert one.send("attempt", **right, **{"seen.product.keyed": "no_code"}).status_code == 303
        assert "noted" not in one.kinds()
        entry = one.beside.station.entries(one.id)[-1]
        assert entry.event.body["seen"]["product"]["channel"] == "scanned"
        folder = Folder(tmp_path / "facts")
        assert asked(one.beside.desk.trail_path, folder, "typed-why") == []


@pytest.mark.parametrize("prefix", [Prefix.SENT, Prefix.NOT_SENT])
def test_only_where_a_scanner_sends_no_prefix_may_a_person_say_that_it_was_scanned(
    prefix: Prefix, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dataclasses import replace

    desk, clock = desk_and_clock(tmp_path, monkeypatch)
    desk.scanners.keep("W7E-1", replace(TRIED, prefix=prefix), between=lambda: None)
    with tablets(desk) as [tablet]:
        one = Shift(desk, tablet, "ORD-103", clock)
        one.begin()
        one.to("take_the_product")
        offered = "it was not: it was scanned" in words(one.page())
        assert offered == (prefix is Prefix.NOT_SENT)
        answer = one.send("attempt", **TYPED, **{"seen.product.keyed": "scanned"})
        assert answer.status_code == (303 if offered else 422)
        assert "noted" not in one.kinds()
        if offered:
            entry = one.beside.station.entries(one.id)[-1]
            assert entry.event.body["seen"]["product"]["channel"] == "scanned"
        one.beside.close()


def test_a_note_of_ones_own_words_is_never_taken_for_a_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert keyed_of(keyed_note("product", "no_code")) == ("product", "no_code")
    for text in ("code_keyed: product: lazy", "code_keyed: product", "sealed:12", "no_code"):
        assert keyed_of(text) is None, text
    with shift(tmp_path, monkeypatch) as (one, _):
        one.to("take_the_product")
        one.send("note", note=keyed_note("product", "doubted"))
        assert one.on()
        folder = Folder(tmp_path / "facts")
        assert asked(one.beside.desk.trail_path, folder, "typed-why") == []
