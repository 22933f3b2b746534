"""The commands that print: the files they make, and every way in which they refuse."""

from __future__ import annotations

import shutil
from functools import cache
from io import StringIO
from pathlib import Path
from tempfile import mkdtemp

import pytest
import zxingcpp
from PIL import Image

from checklist.faces import paper
from checklist.faces.leaving import CannotGoOn
from checklist.faces.sheet import print_record
from checklist.faces.workplace import PRACTICE
from checklist.printing import press
from checklist.trail import Trail
from tests.faces import pins, run
from tests.paper import decoded, pages
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
        "by": "", "names": False, "checkpoint": None, "trail": trail, "ward": None,
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
    for i in range(220):
        scene.station.note(scene.id, f"remark {i} on how this went, in some words", NURSE)
    record(scene.trail.path, tmp_path / "long.pdf")
    text = text_of(tmp_path / "long.pdf")
    assert len(pages((tmp_path / "long.pdf").read_bytes())) == 2
    assert "leftoutforwantofroom" in text and text.count("note:(keptapart)") == 220
    for i in range(300):
        scene.station.note(scene.id, f"further remark {i} on how this went", NURSE)
    record(scene.trail.path, tmp_path / "longer.pdf")
    assert text_of(tmp_path / "longer.pdf").count("note:(keptapart)") == 520
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
    assert "Nosignedcheckpointwasgiven" in text


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


def test_a_signed_checkpoint_is_printed_as_it_was_given(tmp_path: Path) -> None:
    note = "larkmoor.example/W7E\n40\ncf/nnDlgfKLat8=\n\n— W7E Az3grlgtzPICa5OS8npVmf1Myq/5IZ=\n"
    (tmp_path / "note").write_text(note, encoding="utf-8")
    trail, out = at_hand(tmp_path, given=True), tmp_path / "record.pdf"
    record(trail, out, checkpoint=tmp_path / "note")
    assert "".join(note.split()) in text_of(out)
    for text in ("", "x" * 5_000):
        (tmp_path / "note").write_text(text, encoding="utf-8")
        with pytest.raises(CannotGoOn, match="1 to 4000 were expected"):
            record(trail, tmp_path / "other.pdf", checkpoint=tmp_path / "note")


def test_the_record_command_says_what_it_made(tmp_path: Path) -> None:
    trail = at_hand(tmp_path, given=True)
    words = ("record", "--trail", str(trail), "--out", str(tmp_path / "r.pdf"))
    done = run(*words, home=tmp_path)
    assert done.returncode == 0 and "of A4" in done.stdout and "names nobody" in done.stdout
