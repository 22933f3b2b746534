"""Printing as an act: when a label may be printed, and what the trail says of it."""

from __future__ import annotations

import hashlib
import json
import re
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.engine import MovedOn, NotOffered
from checklist.extra import NeedsExtra
from checklist.label import label
from checklist.printing import press
from checklist.printing.face import dose_face
from checklist.printing.job import AGAIN, Asked, Job, job
from checklist.printing.press import DOSES, DoesNotFit, Unprintable
from checklist.quantity import Concentration, Quantity
from checklist.stock import Form, Kind, Size, Stock, Symbol
from tests import way_answers  # noqa: F401  (the right answers for bags and mixtures)
from tests.paper import CODE, ORDERS, at_the_label, named
from tests.scene import NURSE, Scene

DATA = Path(__file__).parent / "data"


def ready(folder: Path, order: str = "ORD-103") -> Scene:
    """A scene whose preparation asks for its label."""
    scene = Scene(folder, order_id=order)
    scene.open()
    scene.to("write_the_label")
    return scene


def asked(scene: Scene, **what: Any) -> Job:
    return job(scene.station, scene.id, scene.station.person(NURSE), Asked(**what))


def printed(scene: Scene, **what: Any) -> Job:
    """Print a label as the command does, without the file."""
    made = asked(scene, **what)
    file = press.made(made.laid, "svg")
    made.printed(scene.station, file, "svg", NURSE)
    return made


# -- what the trail says --------------------------------------------------------------------------


def test_printing_is_on_record_with_the_digest_of_what_came_out(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    before = scene.station.find(scene.id)
    made = printed(scene)
    entry = scene.station.entries(scene.id)[-1]
    file = press.made(made.laid, "svg")
    assert entry.event.kind == "printed" and entry.event.by == NURSE
    assert dict(entry.event.body) == {
        "what": "label", "of": "syringe", "number": "1", "code": made.draft.code.figures,
        "because": "", "size": "60 x 30 mm", "form": "flag", "file": "svg",
        "digest": hashlib.sha256(file).hexdigest(),
    }  # fmt: skip
    after = scene.station.find(scene.id)
    assert (after.place, after.seen) == (before.place, before.seen)
    assert scene.trail.verify().whole


def test_a_patient_stands_on_the_label_and_nowhere_in_the_trail(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    patient = scene.ward.patients[scene.order.patient]
    made = printed(scene)
    said = " ".join(text for _, text in made.laid.face.texts)
    assert patient.name in said and patient.record_number in said
    for entry in scene.station.entries(scene.id):
        if entry.event.kind == "printed":
            text = json.dumps(dict(entry.event.body))
            assert patient.name not in text and patient.record_number not in text


def test_a_label_printed_beside_it_leaves_the_screen_of_a_station_valid(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    turn = scene.station.find(scene.id).turn
    printed(scene)
    from checklist.answer import Answer
    from checklist.observation import Channel

    answers = {n: Answer(v, Channel.TYPED) for n, v in scene.right().items()}
    outcome = scene.station.attempt(scene.id, answers, NURSE, turn=turn)
    assert outcome.entry.event.kind == "passed"
    with pytest.raises(MovedOn):
        scene.station.attempt(scene.id, answers, NURSE, turn=turn)
    with pytest.raises(MovedOn):
        scene.station.attempt(scene.id, answers, NURSE, turn=turn + 50)


def test_a_label_made_before_something_changed_is_not_recorded(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    made = asked(scene)
    scene.on()
    with pytest.raises(MovedOn, match="print again"):
        scene.station.printed(scene.id, made.record(b"", "pdf"), NURSE, turn=made.draft.turn)


def test_a_print_long_after_a_dose_does_not_move_the_time_it_was_given(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    scene.finish()
    given_at = scene.now
    scene.wait(hours=9)
    what = {"what": "record", "names": "yes", "file": "pdf", "digest": "0" * 64}
    turn = scene.station.find(scene.id).turn
    scene.station.printed(scene.id, what, "PH-2", turn=turn)
    scene.open()
    prep = scene.station.find(scene.id)
    spots = scene.station.rules_of(prep.workflow).layout.spots
    spot = next(s for s in spots.values() if "dose_is_still_to_give" in s.step.checks)
    around = scene.station.surroundings(prep, scene.station.person(NURSE), spot)
    assert around.given_before == (given_at,)


# -- when a label may be printed ------------------------------------------------------------------


def test_what_is_empty_is_never_labelled(tmp_path: Path) -> None:
    """Never label an empty syringe before it is filled: common practice, no source."""
    scene = Scene(tmp_path)
    scene.open()
    while scene.place != "write_the_label":
        if scene.station.find(scene.id).latest("drawn_volume") is None:
            with pytest.raises(Unprintable, match="Nothing is drawn up yet"):
                asked(scene)
        scene.on()
    assert asked(scene).draft.code.number == 1


def test_no_label_once_it_is_over(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    made = asked(scene)
    scene.finish()
    turn = scene.station.find(scene.id).turn
    with pytest.raises(NotOffered, match="has come to an end"):
        scene.station.printed(scene.id, made.record(b"", "pdf"), NURSE, turn=turn)
    with pytest.raises(NotOffered, match="has come to an end"):
        asked(scene)


def test_no_label_while_work_is_interrupted(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    made = asked(scene)
    scene.station.interrupt(scene.id, "call", NURSE)
    for act in (lambda: None, lambda: scene.station.resume(scene.id, NURSE)):
        act()
        turn = scene.station.find(scene.id).turn
        with pytest.raises(NotOffered, match="read everything again first"):
            asked(scene)
        with pytest.raises(NotOffered, match="read everything again first"):
            scene.station.printed(scene.id, made.record(b"", "pdf"), NURSE, turn=turn)


def test_no_label_after_the_time_to_use_it(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    limit = label(*_here(scene)).use_before
    assert limit is not None
    scene.now = limit
    with pytest.raises(Unprintable, match="That is over: discard it"):
        asked(scene)


def test_one_more_label_for_the_same_dose_needs_a_listed_reason(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    printed(scene)
    with pytest.raises(Unprintable, match="Label 1 was printed for this already"):
        asked(scene)
    with pytest.raises(Unprintable, match="no reason for one more"):
        asked(scene, again="because")
    scene.wait(seconds=5)
    second = printed(scene, again="came_off")
    assert second.draft.code.number == 2
    assert dict(second.laid.face.texts)["number"] == "label\u00a02"
    assert scene.station.entries(scene.id)[-1].event.body["because"] in AGAIN


def test_a_dose_drawn_anew_needs_no_reason_and_its_label_has_a_code_of_its_own(
    tmp_path: Path,
) -> None:
    scene = ready(tmp_path)
    first = printed(scene)
    from checklist.verdict import Remedy

    scene.attempt({"never_put_down": "n"})
    scene.station.remedy(scene.id, Remedy.DISCARD_RESTART, NURSE)
    scene.to("write_the_label")
    again = printed(scene)
    assert again.draft.code.number == 2 and again.draft.code.figures != first.draft.code.figures


def test_a_label_that_lacks_an_item_is_not_printed(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    scene._set(replace(scene.ward, patients={}))
    with pytest.raises(Unprintable, match="lacks: patient name, second patient identifier"):
        asked(scene)


def test_a_dose_that_comes_labelled_gets_no_label_here(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id="ORD-310")
    scene.open()
    while scene.station.find(scene.id).latest("drawn_volume") is None:
        scene.on()
    with pytest.raises(Unprintable, match="comes with its own label"):
        asked(scene)


def test_a_specimen_carries_no_patient_and_a_code_that_leads_nowhere(tmp_path: Path) -> None:
    scene = ready(tmp_path)
    scene.wait(hours=30)
    made = asked(scene, specimen=True)
    patient = scene.ward.patients[scene.order.patient]
    said = " ".join(text for _, text in made.laid.face.texts)
    assert made.draft.code.number == 0 and "SPECIMEN" in said
    for word in (*patient.name.split(), patient.record_number):
        assert word not in said and word not in made.laid.data


def test_a_vial_that_stays_in_use_gets_a_label_beside_that_of_the_dose(tmp_path: Path) -> None:
    scene = ready(tmp_path, "ORD-203")
    assert printed(scene).draft.kind is Kind.SYRINGE
    scene.wait(seconds=1)
    made = printed(scene, vial=True)
    assert (made.draft.kind, made.draft.code.number, made.laid.form) == (Kind.VIAL, 2, Form.FLAT)
    with pytest.raises(Unprintable, match="Label 2 was printed for this already"):
        asked(scene, vial=True)
    (tmp_path / "other").mkdir()
    other = ready(tmp_path / "other")
    with pytest.raises(Unprintable, match="No vial of this preparation stays in use"):
        asked(other, vial=True)


# -- what a unit chooses --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("up_to", "form"), [("3 mL", Form.FLAG), ("1 mL", Form.FLAT), ("5 mL", Form.FLAG)]
)
def test_a_small_syringe_gets_a_flag(up_to: str, form: Form, tmp_path: Path) -> None:
    """Graduations stay visible, small syringes get a flag: ACSQHC user-applied labelling, 2015."""
    scene = ready(tmp_path)
    size = scene.station.find(scene.id).latest("syringe_size")
    assert size is not None and str(size.value) == "3 mL"
    scene.change_unit(stock=Stock(flag_up_to=Quantity.parse(up_to)))
    assert asked(scene).laid.form is form


def test_the_units_sizes_code_and_colours_are_taken(tmp_path: Path) -> None:
    scene = ready(tmp_path, "ORD-101")
    stock = Stock(
        sizes={**Stock().sizes, Kind.SYRINGE: Size.parse("75 x 35")},
        symbol=Symbol.QR,
        class_colours=True,
    )
    scene.change_unit(stock=stock)
    made = asked(scene)
    assert str(made.laid.size) == "75 x 35 mm"
    colour = made.laid.face.colour
    assert colour is not None and colour.drug_class == "opioid" and not made.draft.missing_colour
    other = asked(scene, size=Size.parse("100 x 60 mm"), form=Form.FLAT)
    assert str(other.laid.size) == "100 x 60 mm"
    with pytest.raises(DoesNotFit):
        asked(scene, size=Size.parse("30 x 20 mm"))


def test_without_the_extra_a_sentence_names_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = ready(tmp_path)
    for library in ("typst", "zxingcpp"):
        press.fonts.cache_clear()
        with monkeypatch.context() as without:
            without.setitem(sys.modules, library, None)
            with pytest.raises(NeedsExtra, match=rf"{library} is missing.*checklist\[labels\]"):
                asked(scene)
    assert asked(scene)


# -- writing rules --------------------------------------------------------------------------------

AMOUNTS = st.builds(
    Fraction, st.integers(1, 99_999), st.sampled_from([1, 2, 4, 5, 8, 10, 100, 1000])
)
UNITS = st.sampled_from(["mg", "ug", "g", "[iU]", "mmol"])


# Written here apart from checklist.notation; each is held to the published examples below.
PATTERNS = {
    "W01_trailing_zero": r"(?<![\d.,])\d[\d,]*\.0+(?!\d)",
    "W02_trailing_zero_after_fraction": r"\d\.\d*[1-9]0+(?!\d)",
    "W03_no_leading_zero": r"(?<!\d)\.\d",
    "W04_no_space_number_unit": r"\d(?:mg|microgram|g|kg|mL|L|units?|mmol)\b",
    "W05_U_for_unit": r"\d\s*[uU]\b",
    "W06_IU": r"\b[iI]\.?[uU]\b",
    "W07_microgram_symbol": r"(?<![A-Za-z])[µμu]g\b",
    "W08_large_number_ungrouped": r"(?<![\d.])\d{4,}(?!\d)",
    "W10_unit_with_period": r"\b(?:mg|mL|mmol)\.(?!\w)",
    "W12_cc": r"\d\s?cc\b",
    "W13_small_l": r"\d\s?m?l\b",
    "W24_scientific_or_power": r"\d[eE][+]?\d|\^",
}


def test_the_patterns_find_every_published_bad_example() -> None:
    kept = json.loads((DATA / "writing_rules.json").read_text(encoding="utf-8"))
    rules = {rule["id"]: rule for rule in kept["rules"]}
    for id_, pattern in PATTERNS.items():
        for bad in rules[id_]["bad"]:
            assert re.search(pattern, bad), (id_, bad)


@settings(max_examples=150, deadline=None)
@given(
    order=st.sampled_from(ORDERS),
    dose=AMOUNTS,
    per=AMOUNTS,
    unit=UNITS,
    volume=AMOUNTS,
    name=st.text("ABCDEFGabcdefghijklmnopqrstuvwxyzéøüßñ -'", min_size=2, max_size=60),
)
def test_the_writing_rules_hold_on_every_label(
    order: str, dose: Fraction, per: Fraction, unit: str, volume: Fraction, name: str
) -> None:
    """The published rules (tests/data/writing_rules.json) on the text as printed."""
    prep, around = at_the_label(order)
    drawn = _exactly(volume, "mL")
    seen = {
        step: {
            n: replace(r, value=drawn) if n == "drawn_volume" else r for n, r in readings.items()
        }
        for step, readings in prep.seen.items()
    }
    amount = _exactly(dose, unit)
    made_up = replace(prep, seen=seen, order=replace(prep.order, dose=amount, infusion=None))
    strength = Concentration(amount=_exactly(per, unit), per=_exactly(Fraction(1), "mL"))
    products = {
        code: replace(product, strength=strength)
        for code, product in around.formulary.products.items()
    }
    about = replace(named(around, name), formulary=replace(around.formulary, products=products))
    face = dose_face(label(made_up, about), made_up, about, CODE)
    assert list(press.misread(face)) == []
    for item, text in face.texts:
        if item in DOSES:
            hits = [id_ for id_, pattern in PATTERNS.items() if re.search(pattern, text)]
            assert hits == [], (item, text, hits)


def _exactly(magnitude: Fraction, unit: str) -> Quantity:
    return Quantity(magnitude=magnitude, unit=unit)


def _here(scene: Scene) -> Any:
    prep = scene.station.find(scene.id)
    spot = scene.station.rules_of(prep.workflow).layout.spots[scene.place]
    return prep, scene.station.surroundings(prep, scene.station.person(NURSE), spot)
