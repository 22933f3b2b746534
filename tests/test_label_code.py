"""The number in a label's code against ISO/IEC 7064 and GS1, and the way back from it."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stdnum.iso7064 import mod_97_10

from checklist.printing.label_code import LabelCode, NotALabelCode, mark_of
from checklist.printing.lookup import found
from tests.scene import NURSE, Scene

CODES = st.builds(
    LabelCode.of,
    st.text(min_size=1, max_size=12),
    st.integers(1, 10**8 - 1),
    st.integers(0, 99),
)


@settings(max_examples=100, deadline=None)
@given(CODES)
def test_the_figures_check_out_by_the_published_method(code: LabelCode) -> None:
    assert len(code.figures) == 16
    assert mod_97_10.validate(code.figures) == code.figures
    assert mod_97_10.calc_check_digits(code.figures[:-2]) == code.figures[-2:]


@settings(max_examples=100, deadline=None)
@given(CODES)
def test_a_code_is_read_as_scanned_as_printed_and_bare(code: LabelCode) -> None:
    bare = code.figures
    forms = (bare, code.grouped, code.bracketed, f"]d291{bare}", f"]Q391{bare}", f"91{bare}\r\n")
    assert {LabelCode.read(form) for form in forms} == {code}


@settings(max_examples=60, deadline=None)
@given(CODES, st.integers(0, 15), st.integers(1, 9))
def test_one_figure_misread_is_seen(code: LabelCode, place: int, by: int) -> None:
    figures = list(code.figures)
    figures[place] = str((int(figures[place]) + by) % 10)
    with pytest.raises(NotALabelCode, match="do not add up"):
        LabelCode.read("".join(figures))


@settings(max_examples=60, deadline=None)
@given(CODES, st.integers(0, 14))
def test_two_figures_that_changed_places_are_seen(code: LabelCode, place: int) -> None:
    figures = list(code.figures)
    figures[place], figures[place + 1] = figures[place + 1], figures[place]
    if figures != list(code.figures):
        with pytest.raises(NotALabelCode):
            LabelCode.read("".join(figures))


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=40))
def test_any_other_text_is_refused_in_words(text: str) -> None:
    try:
        code = LabelCode.read(text)
    except NotALabelCode as fault:
        assert str(fault).endswith(".")
    else:
        assert code.figures in "".join(c for c in text if c.isdigit())


@pytest.mark.parametrize("seq, number", [(0, 1), (10**8, 1), (1, 100), (1, -1)])
def test_there_is_no_code_beyond_its_figures(seq: int, number: int) -> None:
    with pytest.raises(ValueError, match="there is no code"):
        LabelCode.of("T-1", seq, number)


def labelled(folder: Path) -> tuple[Scene, LabelCode]:
    """A scene with a second preparation, whose first label was recorded as printed."""
    scene = Scene(folder)
    scene.open()
    scene.finish()
    scene.order_id = "ORD-101"
    scene.open()
    scene.to("write_the_label")
    code = LabelCode.of("T-1", scene.station.entries(scene.id)[0].seq, 1)
    what = {"what": "label", "of": "syringe", "number": "1", "code": code.figures}
    turn = scene.station.find(scene.id).turn
    scene.station.printed(scene.id, {**what, "because": ""}, NURSE, turn=turn)
    return scene, code


def test_a_code_leads_to_its_preparation_and_tells_whether_it_is_the_newest(tmp_path: Path) -> None:
    scene, code = labelled(tmp_path)
    back = found(scene.trail, code)
    assert (back.preparation, back.newest) == (scene.id, True)
    second = LabelCode.of("T-1", code.opened, 2)
    what = {"what": "label", "of": "syringe", "number": "2", "code": second.figures}
    turn = scene.station.find(scene.id).turn
    scene.station.printed(scene.id, {**what, "because": "came_off"}, NURSE, turn=turn)
    assert not found(scene.trail, code).newest and found(scene.trail, second).newest


def test_a_code_of_another_trail_a_specimen_or_one_never_printed_leads_nowhere(
    tmp_path: Path,
) -> None:
    scene, code = labelled(tmp_path)
    wrong = {
        "another unit": LabelCode.of("T-2", code.opened, 1),
        "specimen": LabelCode.of("T-1", code.opened, 0),
        "No label with this code": LabelCode.of("T-1", code.opened, 7),
        "No label with": LabelCode.of("T-1", code.opened + 1, 1),
        "No label": LabelCode.of("T-1", 99_999_999, 1),
    }
    assert mark_of("T-1") != mark_of("T-2")
    for words, other in wrong.items():
        with pytest.raises(NotALabelCode, match=words):
            found(scene.trail, other)
