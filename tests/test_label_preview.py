"""A label looked at before it is printed: the same picture, every refusal told, nothing kept."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from checklist.printing import press
from checklist.printing.job import Asked, job
from checklist.printing.preview import Preview, preview
from checklist.stock import Form, Kind, Size
from tests import way_answers  # noqa: F401  (the right answers for bags and mixtures)
from tests.paper import decoded, pages
from tests.scene import NURSE, Scene

SMALL = Asked(size=Size.parse("30 x 20 mm"))


def ready(folder: Path, order: str = "ORD-103") -> Scene:
    """A scene whose preparation asks for its label."""
    scene = Scene(folder, order_id=order)
    scene.open()
    scene.to("write_the_label")
    return scene


def looked(scene: Scene, asked: Asked | None = None, form: str = "svg") -> Preview:
    nurse = scene.station.person(NURSE)
    return preview(scene.station, scene.id, nurse, asked or Asked(), form=form)


@pytest.mark.parametrize("form", press.FORMATS)
def test_what_is_shown_is_what_is_printed(form: str, tmp_path: Path) -> None:
    scene = ready(tmp_path)
    seen, made = (
        looked(scene, form=form),
        job(scene.station, scene.id, scene.station.person(NURSE), Asked()),
    )
    assert seen.fits and seen.file == press.made(made.laid, form)


def test_a_preview_tells_its_facts(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    seen = looked(scene, form="pdf")
    assert seen.file is not None
    (page,) = pages(seen.file)
    assert seen.sheet is not None
    assert (str(seen.size), seen.form, seen.kind) == ("60 x 30 mm", Form.FLAG, Kind.SYRINGE)
    assert abs(page.width - float(seen.sheet.width)) < 0.01
    assert abs(page.height - float(seen.sheet.height)) < 0.01
    least = min(one.points for one in page.letters if not one.char.isspace())
    assert seen.smallest is not None and abs(least - seen.smallest) < 0.01
    assert seen.present == seen.due == 10 and not seen.lacking and not seen.refusal
    for line in seen.lines:
        assert page.place_of(line)


def test_nothing_is_recorded_and_the_next_label_is_the_one_shown(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    before = len(scene.station.entries(scene.id))
    seen = looked(scene, form="png")
    assert len(scene.station.entries(scene.id)) == before
    made = job(scene.station, scene.id, scene.station.person(NURSE), Asked())
    assert seen.file is not None
    assert decoded(seen.file)[0].text == made.draft.code.bracketed


def test_what_stands_in_the_way_is_told_and_no_picture_made(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    early = looked(scene)
    assert not early.fits and "Nothing is drawn up yet" in early.refusal
    scene.to("write_the_label")
    small = looked(scene, SMALL)
    assert not small.fits and "does not fit on 30 x 20 mm" in small.refusal
    assert small.no_room and small.larger is not None and str(small.size) == "30 x 20 mm"
    assert looked(scene, Asked(size=small.larger)).fits
    people = dict(scene.ward.patients)
    scene._set(replace(scene.ward, patients={}))
    lacks = looked(scene)
    assert not lacks.fits and lacks.lacking == ("patient name", "second patient identifier")
    assert lacks.present == lacks.due - 2
    scene._set(replace(scene.ward, patients=people))
    scene.station.interrupt(scene.id, "call", NURSE)
    away = looked(scene)
    assert not away.fits and away.refusal.startswith("Work was interrupted: ")
    assert away.refusal.endswith("label.")


def test_a_second_label_is_shown_and_says_that_it_needs_a_reason(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    assert looked(scene).before == ""
    made = job(scene.station, scene.id, scene.station.person(NURSE), Asked())
    made.printed(scene.station, press.made(made.laid, "pdf"), "pdf", NURSE)
    again = looked(scene)
    assert again.fits and again.before == "1"


def test_letters_that_the_font_lacks_are_told(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    code = scene.order.patient
    other = replace(scene.ward.patients[code], name="\u674e \u4f1f")
    scene._set(replace(scene.ward, patients={**scene.ward.patients, code: other}))
    seen = looked(scene)
    assert not seen.fits and seen.refusal.startswith("patient name: the letters")
