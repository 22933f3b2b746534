"""The commands that print: the files they make, and every way in which they refuse."""

from __future__ import annotations

import re
import shutil
from base64 import b64encode
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from io import StringIO
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from checklist.beside import NOT_SAID
from checklist.faces import paper
from checklist.faces.leaving import CannotGoOn
from checklist.faces.sheet import print_record
from checklist.faces.workplace import PRACTICE
from checklist.printing import press
from checklist.trail import Trail, TrailDamaged
from tests import notaries
from tests.faces import pins, run
from tests.paper import contrast, decoded, pages
from tests.scene import NURSE, Scene, demo_ward

PHARMACIST = "PH-2"


@pytest.fixture(autouse=True)
def the_pin_is_typed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever prints in this process types their PIN each time."""
    monkeypatch.setattr("sys.stdin", StringIO(f"{pins()[NURSE]}\n" * 9))


@cache
def _trail(order: str, *, given: bool) -> Path:
    """A trail made once: a preparation at its label, or given."""
    scene = Scene(Path(mkdtemp()), order_id=order)
    scene.open()
    if given:
        scene.finish()
    else:
        scene.to("write_the_label")
    scene.trail.close()
    return scene.trail.path


def at_hand(folder: Path, order: str = "ORD-103", *, given: bool = False) -> Path:
    """A copy of such a trail for one test to write to, among those whose clock stands still."""
    path = folder / PRACTICE / "trail.db"
    path.parent.mkdir(exist_ok=True)
    shutil.copy(_trail(order, given=given), path)
    return path


def test_a_label_is_printed_recorded_and_found_again_by_its_code(tmp_path: Path) -> None:
    trail = at_hand(tmp_path)
    out = tmp_path / "label.png"
    done = run("label", "--trail", str(trail), "--out", str(out), "--as", NURSE, home=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Label 1 for the syringe" in done.stdout and "read it back" in done.stdout
    (found, again) = decoded(out.read_bytes())
    assert found.text == again.text and found.content_type == zxingcpp.ContentType.GS1
    figures = found.text.removeprefix("(91)")
    assert figures in done.stdout.replace(" ", "")
    shown = run("show", "--trail", str(trail), f"]d291{figures}", home=tmp_path)
    assert shown.returncode == 0 and "printed: label 1 of the syringe" in " ".join(
        shown.stdout.split()
    )
    with Trail.open(trail, read_only=True) as kept:
        assert kept.verify().whole


def test_a_wrong_code_is_answered_in_words(tmp_path: Path) -> None:
    trail = at_hand(tmp_path)
    done = run("show", "--trail", str(trail), "1234567890123456", home=tmp_path)
    assert done.returncode == 2 and "do not add up" in done.stderr


def label(trail: Path, out: Path, **more: object) -> None:
    """The command in this process."""
    words = {"size": "", "form": "", "symbol": "", "again": ""}
    for key in list(more):
        if key in words:
            words[key] = str(more.pop(key))
    usual: dict[str, object] = {
        "by": NURSE, "vial": False, "specimen": False, "dpi": 203, "trail": trail, "ward": None,
    }  # fmt: skip
    paper.print_label("last", out, words=words, **{**usual, **more})  # type: ignore[arg-type]


@pytest.mark.parametrize("form", press.FORMATS)
def test_each_format_is_made(form: str, tmp_path: Path) -> None:
    out = tmp_path / f"label.{form}"
    label(at_hand(tmp_path), out)
    start = {"pdf": b"%PDF", "svg": b"<svg", "png": b"\x89PNG"}[form]
    assert out.read_bytes().startswith(start)
    assert [one.name for one in tmp_path.iterdir() if one.name.startswith(".")] == []


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ({"size": "30 x 20 mm"}, "does not fit on 30 x 20 mm"),
        ({"size": "small"}, "is no label size"),
        ({"size": "600 x 30"}, "each side is from 20 mm to 200 mm"),
        ({"form": "round"}, "write flat or flag"),
        ({"symbol": "ean"}, "write datamatrix or qr"),
        ({"dpi": 72}, "203, 300 or 600"),
        ({"by": ""}, "Say who you are"),
        ({"vial": True}, "No vial of this preparation stays in use"),
    ],
)
def test_what_is_refused_leaves_no_file_and_no_entry(
    words: dict[str, object], sentence: str, tmp_path: Path
) -> None:
    trail = at_hand(tmp_path)
    with pytest.raises(CannotGoOn, match=sentence):
        label(trail, tmp_path / "label.pdf", **words)
    assert not (tmp_path / "label.pdf").exists()
    with Trail.open(trail, read_only=True) as kept:
        assert not [e for e in kept.since(0) if e.event.kind == "printed"]


def test_a_file_that_is_there_is_left_as_it_is(tmp_path: Path) -> None:
    trail, out = at_hand(tmp_path), tmp_path / "label.pdf"
    out.write_text("another patient's label")
    with pytest.raises(CannotGoOn, match="is there already"):
        label(trail, out)
    assert out.read_text() == "another patient's label"
    with pytest.raises(CannotGoOn, match=r"ends in \.pdf, \.svg, \.png"):
        label(trail, tmp_path / "label.jpg")


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(CannotGoOn, match="cannot be written"):
        label(at_hand(tmp_path), tmp_path / "none" / "label.pdf")


def test_what_is_not_recorded_leaves_no_file(tmp_path: Path) -> None:
    def not_recorded() -> None:
        raise CannotGoOn("the trail is busy")

    with pytest.raises(CannotGoOn, match="busy"):
        paper.put(tmp_path / "label.pdf", b"a label", not_recorded)
    assert list(tmp_path.iterdir()) == []


def test_a_specimen_is_not_recorded(tmp_path: Path) -> None:
    trail = at_hand(tmp_path, given=True)
    before = trail.read_bytes()
    label(trail, tmp_path / "try.png", specimen=True, by="")
    assert trail.read_bytes() == before
    with Image.open(tmp_path / "try.png") as image:
        assert image.width == 480


def test_a_given_dose_gets_no_label(tmp_path: Path) -> None:
    with pytest.raises(CannotGoOn, match="has come to an end"):
        label(at_hand(tmp_path, given=True), tmp_path / "late.pdf")
    assert not (tmp_path / "late.pdf").exists()


# -- the record -----------------------------------------------------------------------------------


def record(trail: Path, out: Path, **more: object) -> None:
    usual: dict[str, object] = {
        "by": "", "names": False, "checkpoint": None, "keys": (), "trail": trail, "ward": None,
    }  # fmt: skip
    print_record("last", out, **{**usual, **more})  # type: ignore[arg-type]


def text_of(out: Path) -> str:
    return "".join("".join(page.text.split()) for page in pages(out.read_bytes()))


@pytest.mark.parametrize("order", ["ORD-103", "ORD-101"])
def test_a_record_is_one_or_two_pages_of_a4(order: str, tmp_path: Path) -> None:
    trail, out = at_hand(tmp_path, order, given=True), tmp_path / "record.pdf"
    record(trail, out)
    made = pages(out.read_bytes())
    assert 1 <= len(made) <= 2
    for page in made:
        assert abs(page.width - 210) < 0.5 and abs(page.height - 297) < 0.5
        shown = [one for one in page.letters if not one.char.isspace()]
        assert min(one.points for one in shown) >= 7 - 0.01
        assert all(one.left >= 10 and one.right <= 200 for one in shown)
        assert all(one.top >= 10 and one.bottom <= 292 for one in shown)


def test_a_long_record_gives_up_what_was_entered_before_it_takes_a_third_page(
    tmp_path: Path,
) -> None:
    scene = Scene(tmp_path, order_id="ORD-101")
    scene.open()
    scene.finish()
    for i in range(200):
        scene.station.note(scene.id, f"remark {i} on how this went, in some words", NURSE)
    record(scene.trail.path, tmp_path / "long.pdf")
    text = text_of(tmp_path / "long.pdf")
    assert len(pages((tmp_path / "long.pdf").read_bytes())) == 2
    assert "leftoutforwantofroom" in text and text.count("note:(keptapart)") == 200
    for i in range(60):
        scene.station.note(scene.id, f"further remark {i} on how this went", NURSE)
    record(scene.trail.path, tmp_path / "longer.pdf")
    assert text_of(tmp_path / "longer.pdf").count("note:(keptapart)") == 260
    assert len(pages((tmp_path / "longer.pdf").read_bytes())) > 2


def test_a_record_holds_every_entry_and_the_head_of_its_trail(tmp_path: Path) -> None:
    trail, out = at_hand(tmp_path, "ORD-101", given=True), tmp_path / "record.pdf"
    record(trail, out)
    text = text_of(out)
    with Trail.open(trail, read_only=True) as kept:
        head, entries = kept.head(), tuple(kept.since(0))
        assert head.digest.hex() in text and f"{head.seq}entries" in text
        assert entries[-1].digest.hex() in text
        local = demo_ward().unit.local
        for entry in entries:
            assert f"{local(entry.event.at):%H:%M:%S}{entry.event.by}" in text
    assert "Nosignedcheckpointcoversthispreparationyet" in text


def test_a_record_says_what_came_between_where_it_was_told(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    scene.station.interrupt(scene.id, NOT_SAID, NURSE)
    scene.station.explain(scene.id, "alarm", NURSE)
    record(scene.trail.path, tmp_path / "broken.pdf")
    text = text_of(tmp_path / "broken.pdf")
    assert "interrupted:notsaid" in text and "whatcamebetween:Analarm" in text


def test_a_record_names_nobody_unless_asked_and_that_is_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    trail = at_hand(tmp_path, "ORD-101", given=True)
    patient = demo_ward().patients["P-301"]
    hidden = (*patient.name.split(), patient.record_number, "14Mar1958", "1958-03-14")
    before = trail.read_bytes()
    record(trail, tmp_path / "plain.pdf")
    assert trail.read_bytes() == before
    assert [word for word in hidden if word in text_of(tmp_path / "plain.pdf")] == []
    with pytest.raises(CannotGoOn, match="Say who you are"):
        record(trail, tmp_path / "named.pdf", names=True)
    monkeypatch.setattr("sys.stdin", StringIO(f"{pins()[NURSE]}\n{pins()[PHARMACIST]}\n"))
    with pytest.raises(CannotGoOn, match="this asks for pharmacist"):
        record(trail, tmp_path / "named.pdf", names=True, by=NURSE)
    record(trail, tmp_path / "named.pdf", names=True, by=PHARMACIST)
    named = text_of(tmp_path / "named.pdf")
    assert patient.record_number in named and "Quennell" in named
    with Trail.open(trail, read_only=True) as kept:
        last = tuple(kept.since(0))[-1].event
    assert last.kind == "printed" and last.body["what"] == "record" and last.by == PHARMACIST


@dataclass(frozen=True)
class Notarised:
    """A given dose whose trail has a signed head, and the folder that holds trail, keys, heads."""

    folder: Path
    trail: Path
    note: Path


@pytest.fixture
def notarised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Notarised:
    folder = tmp_path / "notary"
    folder.mkdir()
    monkeypatch.setenv("CHECKLIST_KEYS", str(folder / "keys"))
    monkeypatch.setenv("CHECKLIST_CHECKPOINTS", str(folder / "none kept"))
    scene = notaries.notarised(folder)
    scene.finish()
    assert scene.station.notary is not None and scene.station.notary.checkpoint() is not None
    found = notaries.heads(folder, scene.trail).newest()
    assert found is not None
    scene.trail.close()
    return Notarised(folder, scene.trail.path, found[1])


def root_by_the_standard(leaf: bytes, index: int, size: int, path: list[bytes]) -> bytes:
    """The root that a path leads to: RFC 9162, section 2.1.3.2, step by step."""
    fn, sn, r = index, size - 1, leaf
    for p in path:
        assert sn > 0
        if fn & 1 or fn == sn:
            r = sha256(b"\x01" + p + r).digest()
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            r = sha256(b"\x01" + r + p).digest()
        fn, sn = fn >> 1, sn >> 1
    assert sn == 0
    return r


def test_the_record_carries_its_checkpoint_and_the_way_from_its_digest_to_the_root(
    notarised: Notarised, tmp_path: Path
) -> None:
    out = tmp_path / "record.pdf"
    record(notarised.trail, out, checkpoint=notarised.note)
    text, note = text_of(out), notarised.note.read_text(encoding="utf-8")
    assert "".join(note.split()) in text
    _, size, root = note.split("\n")[:3]
    entry, leaf = re.findall(r"provesentry([0-9]+),leaf([0-9]+)of", text)[0]
    digest = re.findall(r"itsdigest([0-9a-f]{64})", text)[0]
    path = [bytes.fromhex(one) for one in re.findall(r"hash[0-9]([0-9a-f]{64})", text)]
    with Trail.open(notarised.trail, read_only=True) as kept:
        last = kept.of(kept.preparations()[-1].id)[-1]
    assert (int(entry), int(leaf)) == (last.seq, last.seq - 1) and digest == last.digest.hex()
    made = root_by_the_standard(bytes.fromhex(digest), int(leaf), int(size), path)
    assert b64encode(made).decode() == root


def test_the_newest_head_kept_is_taken_and_one_is_asked_for_where_there_is_none(
    notarised: Notarised,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    record(notarised.trail, tmp_path / "none.pdf")
    assert "checklist trail checkpoint makes one" in capsys.readouterr().out
    assert "Nosignedcheckpointcovers" in text_of(tmp_path / "none.pdf")
    beside = notarised.folder / "kept" / f"{notarised.trail.name}.checkpoints"
    beside.parent.mkdir()
    (notarised.folder / "heads").rename(beside)
    monkeypatch.setenv("CHECKLIST_CHECKPOINTS", str(beside.parent))
    record(notarised.trail, tmp_path / "newest.pdf")
    note = (beside / notarised.note.name).read_text(encoding="utf-8")
    assert "".join(note.split()) in text_of(tmp_path / "newest.pdf")


def test_a_head_that_cannot_be_relied_on_is_not_printed(
    notarised: Notarised, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    note, wrong = notarised.note.read_text(encoding="utf-8"), tmp_path / "note"
    spoilt = {
        "no note": "",
        "another size": note.replace("\n", "\n9", 1),
        "too long": "x" * 70_000,
    }
    for name, text in spoilt.items():
        wrong.write_text(text, encoding="utf-8")
        with pytest.raises(CannotGoOn, match="cannot be relied on as a head"):
            record(notarised.trail, tmp_path / f"{name}.pdf", checkpoint=wrong)
        assert not (tmp_path / f"{name}.pdf").exists()
    other = at_hand(tmp_path, "ORD-101", given=True)
    with Trail.open(other, read_only=True) as kept:
        assert kept.origin.id == "T-1"  # alike in name, so that only the root tells them apart
    with pytest.raises(TrailDamaged, match="does not go on from the head"):
        record(other, tmp_path / "other.pdf", checkpoint=notarised.note)
    with Trail.open(notarised.trail, read_only=True) as kept:
        key = str(notaries.key_of(notarised.folder, kept))
    monkeypatch.setenv("CHECKLIST_KEYS", str(tmp_path / "another device"))
    with pytest.raises(CannotGoOn, match="name that device's key with --key"):
        record(notarised.trail, tmp_path / "r.pdf", checkpoint=notarised.note)
    record(notarised.trail, tmp_path / "r.pdf", checkpoint=notarised.note, keys=[key])


def test_what_came_after_the_head_is_told(notarised: Notarised, tmp_path: Path) -> None:
    with paper.at_hand(notarised.trail, None, write=True) as (station, _):
        station.sign_in(NURSE, pins()[NURSE])
        station.note(station.trail.preparations()[-1].id, "a late remark", NURSE)
    record(notarised.trail, tmp_path / "r.pdf", checkpoint=notarised.note)
    text = text_of(tmp_path / "r.pdf")
    assert "afterthatentryisnotunderthischeckpoint" in text and "alateremark" not in text


def test_each_page_says_whose_it_is_and_which_of_how_many(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    trail = at_hand(tmp_path, "ORD-101", given=True)
    with Trail.open(trail) as kept:
        id_ = kept.preparations()[-1].id
    with paper.at_hand(trail, None, write=True) as (station, _):
        station.sign_in(NURSE, pins()[NURSE])
        for i in range(60):
            station.note(id_, f"remark {i}", NURSE)
    monkeypatch.setattr("sys.stdin", StringIO(f"{pins()[PHARMACIST]}\n" * 3))
    record(trail, tmp_path / "r.pdf", names=True, by=PHARMACIST)
    made = pages((tmp_path / "r.pdf").read_bytes())
    assert len(made) == 2
    for number, page in enumerate(made, start=1):
        head = "".join(one.char for one in page.letters if one.bottom < 20).replace(" ", "")
        assert "orderORD-101,patientP-301MarlowQuennell,record30011742" in head
        foot = "".join(one.char for one in page.letters if one.top > 281).replace(" ", "")
        assert id_ in foot and f"page{number}of2" in foot


def test_no_row_of_the_record_is_parted_by_a_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rows of some five lines, in both tables: each begins and ends on one page."""
    real = press.sheet
    rows = [f"begin{i:03d} {'a long reason ' * 30} end{i:03d}" for i in range(60)]

    def longer(data: Mapping[str, Any]) -> tuple[bytes, int]:
        events = [{"at": "", "by": "", "step": (), "what": row.split()} for row in rows]
        entries = [
            {"turn": "", "at": "", "by": "", "what": row.replace("0", "o").split()} for row in rows
        ]
        return real({**data, "events": events, "entries": entries})

    monkeypatch.setattr(press, "sheet", longer)
    record(at_hand(tmp_path, given=True), tmp_path / "r.pdf")
    made = ["".join(p.text.split()) for p in pages((tmp_path / "r.pdf").read_bytes())]
    assert len(made) > 3
    for row in (*rows, *(one.replace("0", "o") for one in rows)):
        (at,) = [number for number, text in enumerate(made) if row[:8] in text]
        assert row[-6:] in made[at], (row[:8], at)


def test_the_record_is_black_on_white_and_so_legible_in_greys(
    notarised: Notarised, tmp_path: Path
) -> None:
    record(notarised.trail, tmp_path / "r.pdf", checkpoint=notarised.note)
    for page in pypdfium2.PdfDocument((tmp_path / "r.pdf").read_bytes()):
        image = page.render(scale=3).to_pil().convert("RGB")
        colours = image.getcolors(1 << 20)
        assert all(len(set(colour)) == 1 for _, colour in colours)
        (_, most), *rest = sorted(colours, reverse=True)
        assert most == (255, 255, 255)
        assert contrast(most, max(rest)[1]) > 15


def test_the_record_command_says_what_it_made(tmp_path: Path) -> None:
    trail = at_hand(tmp_path, given=True)
    words = ("record", "--trail", str(trail), "--out", str(tmp_path / "r.pdf"))
    done = run(*words, home=tmp_path)
    assert done.returncode == 0 and "of A4" in done.stdout and "names nobody" in done.stdout
