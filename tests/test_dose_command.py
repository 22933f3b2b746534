"""The command `checklist dose`: every sum by name, its data, its refusals, and an own answer."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import typer
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner, Result

from checklist import library
from checklist.dose.sheets.catalogue import SHEETS
from checklist.dose.sheets.names import NAMES
from checklist.dose.sheets.sheet import MAX_WORDS, Blank
from checklist.faces import dose
from checklist.notation import DOSE, faults
from checklist.quantity import Quantity
from tests.effort import tries

# The sub-app as any root would mount it.
ROOT = typer.Typer(add_completion=False)
ROOT.add_typer(dose.app, name="dose")


def run(words: str, *more: str) -> Result:
    return CliRunner().invoke(ROOT, ["dose", *words.split(), *more], env={"COLUMNS": "100"})


def data(words: str, *more: str) -> Any:
    return json.loads(run(words, *more, "--json").stdout)


@pytest.mark.parametrize("name", NAMES)
def test_the_example_of_every_sum_works_out(name: str) -> None:
    """Each example is shown by `explain` and can be typed as it stands."""
    sheet = SHEETS[name]
    plain = run(f"{name} {sheet.example}")
    assert (plain.exit_code, plain.stderr) == (0, "")
    assert f"next: checklist dose explain {name}" in plain.stdout
    found = data(f"{name} {sheet.example}")
    assert found["kind"] == name
    assert set(found["inputs"]) <= {blank.name for blank in sheet.asks}
    assert found["working"]
    for line in found["working"]:
        assert line in " ".join(plain.stdout.split()) or len(line) > 90
    if "value" in found:
        value = found["value"]
        quantity = Quantity.of(Fraction(value["fraction"]), value["unit"])
        assert str(quantity) == value["shown"]
        assert value["value"] == quantity.code.partition(" ")[0]


@pytest.mark.parametrize("name", NAMES)
def test_a_sum_explains_itself(name: str) -> None:
    sheet = SHEETS[name]
    told = run(f"explain {name}")
    assert told.exit_code == 0
    flat = " ".join(told.stdout.split())
    assert sheet.formula in flat
    assert sheet.source.title in flat
    assert f"[{sheet.source.status}]" in flat
    for blank in sheet.asks:
        assert f"{blank.name} {blank.what}" in flat
    assert f"checklist dose {name} {sheet.example}" in flat
    kept = data(f"explain {name}")
    assert kept["formula"] == sheet.formula
    assert [ask["name"] for ask in kept["asks"]] == [blank.name for blank in sheet.asks]


def test_every_figure_that_is_shown_has_its_source_and_status() -> None:
    shown = [figure for name in NAMES for figure in data(f"explain {name}")["figures"]]
    table = library.dose_figures()
    rows = len(table.factors), len(table.drop_sets), len(table.salts), len(table.roundings)
    assert len({(f["name"], f["figure"]) for f in shown}) == sum(rows)
    for figure in shown:
        assert figure["source"]
        assert figure["status"] in ("confirmed", "common practice", "from memory")


def test_the_list_names_every_sum() -> None:
    told = run("list")
    assert [line.split()[0] for line in told.stdout.splitlines()][:-1] == list(NAMES)
    assert [one["kind"] for one in data("list")] == list(NAMES)
    assert list(SHEETS) == list(NAMES)


def test_every_line_of_every_example_keeps_the_writing_rules() -> None:
    for name, sheet in SHEETS.items():
        if name == "discard":  # the rules are for doses, and not for dates
            continue
        found = data(f"{name} {sheet.example}")
        said = [*found["working"], found["said"], *found["cautions"], *found["not_compared"]]
        for line in said:
            assert faults(line, [DOSE], prose=True) == (), line


def test_data_has_value_fraction_rounding_and_working() -> None:
    """50 mg of 75 mg/mL is 2/3 mL; to 0.01 mL it is 0.67 mL: a published example."""
    found = data("volume dose 50 mg strength 75 mg/mL step 0.01 mL")
    assert found["value"] == {
        "value": "0.67", "unit": "mL", "fraction": "67/100", "shown": "0.67 mL"
    }  # fmt: skip
    assert found["exact"] == {
        "value": "2/3", "unit": "mL", "fraction": "2/3", "shown": "about 0.6667 mL"
    }  # fmt: skip
    assert found["rounding"]["how"] == "half up"
    assert found["rounding"]["share"] == "-1/200"
    assert found["rounding"]["said"] == "about 0.003333 mL more, 0.5 %"
    assert found["within"] is None
    assert found["stands"] is True
    assert found["source"] == {"title": "common practice, no source", "status": "common practice"}
    surface = data("surface height 160 cm weight 60 kg")
    assert surface["within"]["fraction"] == "1/2000000000000"
    assert surface["rounding"] is None


def test_the_ranking_is_a_table_in_data_and_in_words() -> None:
    words = "equipment volume 1.5 mL route IM site left deltoid age 40 years"
    rows = data(words)["table"]
    assert rows[0]["syringe"] == "2 mL luer slip or luer lock"
    assert {row["verdict"] for row in rows} == {"suitable", "with care", "rejected"}
    assert all(row["why"] for row in rows if row["verdict"] != "suitable")
    wide = run(words).stdout
    narrow = CliRunner().invoke(ROOT, ["dose", *words.split()], env={"COLUMNS": "60"}).stdout
    assert max(map(len, narrow.splitlines())) <= 60
    for text in (wide, narrow):
        assert "A 1 mL syringe is too small for 1.5 mL." in text


# -- an own answer -------------------------------------------------------------------------------


def test_an_own_answer_that_agrees_is_told_with_the_working() -> None:
    told = run("volume dose 60 mg strength 80 mg in 2 mL", "--mine", "1.5 mL")
    assert told.exit_code == 0
    assert "yours: 1.5 mL: the same" in told.stdout
    assert "volume = 60 mg ÷ 80 mg × 2 mL" in told.stdout


@pytest.mark.parametrize(("mine", "side"), [("15 mL", "above"), ("0.15 mL", "below")])
def test_an_own_answer_that_differs_hides_the_sum(mine: str, side: str) -> None:
    words = "volume dose 60 mg strength 80 mg in 2 mL"
    told = run(words, "--mine", mine)
    assert told.exit_code == 1
    assert f"yours: {mine}: {side} what the sum gives." in told.stdout
    assert "1.5 mL" not in told.stdout.replace(mine, "")
    found = data(words, "--mine", mine)
    assert found["mine"]["same"] is False
    assert found["mine"]["side"] == side
    assert "value" not in found
    assert "working" not in found


def test_an_own_answer_of_another_kind_is_refused() -> None:
    told = run("volume dose 60 mg strength 80 mg in 2 mL", "--mine", "1.5 mg")
    assert told.exit_code == 1
    assert "another kind of amount" in told.stderr
    assert run("volume dose 60 mg strength 80 mg in 2 mL", "--mine", "1,5 mL").exit_code == 2
    single = run("discard opened 2026-02-10", "--mine", "1.5 mL")
    assert single.exit_code == 1
    assert "no single amount" in single.stderr


# -- what cannot be read, what is refused, what is found wanting ---------------------------------

UNREADABLE = [
    ("volume", "dose is not there: the ordered dose, like 60 mg."),
    ("volume dose 60 mg", "strength is not there"),
    ("volume dose 60mg strength 80 mg in 2 mL", "has no space before the unit"),
    ("volume dose 60 strength 80 mg in 2 mL", "has no unit"),
    ("volume dose .5 mg strength 80 mg in 2 mL", "starts with a point"),
    ("volume dose 5.0 mg strength 80 mg in 2 mL", "ends in a zero after the point"),
    ("volume dose 0,5 mg strength 80 mg in 2 mL", "has a comma"),
    ("volume dose -2 mg strength 80 mg in 2 mL", "has a sign in front"),
    ("volume dose 60 U strength 80 mg in 2 mL", "is easily misread. Write units."),
    ("volume dose 60 ug strength 80 mg in 2 mL", "is easily misread. Write microgram."),
    ("volume dose 60 mL strength 80 mg in 2 mL", "is a volume. Write it like 60 mg."),
    ("volume dose 60 mg strength 0.9 %", "does not say how much in how much"),
    ("volume dose 60 mg strength 1:1000", "does not say how much in how much"),
    ("volume dose 60 mg dose 50 mg strength 80 mg in 2 mL", "dose stands twice"),
    ("volume 60 mg strength 80 mg in 2 mL", '"60" is not asked for here'),
    ("volume dose strength 80 mg in 2 mL", "dose has no value"),
    ("volume dose 60 mg strength 80 mg in 2 mL step 0.1 mL how sideways", "no way to round"),
    ("volume dose ٦٠ mg strength 80 mg in 2 mL", "figures of another script"),
    ("weight dose 5 mg/kg weight 154 lb", "is easily misread. Write pounds."),
    ("weight dose 5 mg/kg weight 154 pounds factor 2.2", "has no unit"),
    ("weight dose 5 mg/kg weight 154 pounds factor 2.2 pounds", "is no factor"),
    ("convert value 5 mg to spoons", "is not a unit on the list"),
    ("drops volume 1 L time 8 h set 20", "has no unit"),
    ("discard opened 10/02/2026", "is no date"),
    ("discard opened 2026-02-30", "is no date"),
    ("discard opened 2026-02-10 opening 2", "is not on the list"),
    ("duration volume 1 L rate 80 mL/h start 9.30", "is no time of day"),
    ("register before 12.5 taken 1", "is not a whole number"),
    ("meq value 4 g molar 246.47 g/mol valence two", "something besides figures"),
    ("equipment volume 1 mL route IO", "is not on the list"),
    ("equipment volume 1 mL route IM age 40", "has no unit"),
    ("equipment volume 1 mL route IM age 40 days", "Give the birth date"),
    ("bag amount 20 mmol bag 500 mL overfill 10 mg", "is a mass"),
    ("volume " + "dose " * (MAX_WORDS + 1), "There are more than"),
]


@pytest.mark.parametrize(("words", "sentence"), UNREADABLE)
def test_what_cannot_be_read_gets_a_sentence_and_never_a_guess(words: str, sentence: str) -> None:
    told = run(words)
    assert told.exit_code == 2
    assert told.stdout == ""
    assert sentence in told.stderr
    assert f"For example: checklist dose {words.split()[0]}" in told.stderr


REFUSED = [
    ("volume dose 60 units strength 80 mg in 2 mL", "do not measure the same thing"),
    ("volume dose 0.02 mg strength 1 mg/mL step 0.1 mL", "too little to measure"),
    ("volume dose 0.14 mg strength 1 mg/mL step 0.1 mL", "10 % is the most"),
    ("volume dose 0.14 mg strength 1 mg/mL how down", "no step"),
    ("volume dose 1 mg strength 1 mg/mL syringe 4 mL", "There is no 4 mL syringe"),
    ("volume dose 1 mg strength 1 mg/mL syringe 3 mL step 0.1 mL", "not both"),
    ("weight dose 5 mg/kg weight 154 pounds", "do not measure the same thing"),
    ("convert value 5 mg to mL", "do not measure the same thing"),
    ("convert value 2 teaspoons to mL", "Use a stated factor"),
    ("rounding value 2.25 mL", "State one of the two"),
    ("rounding value 2.25 mL use drops", "do not measure the same thing"),
    ("meq value 4 g valence 2", "needs the molar mass"),
    ("meq value 20 mmol molar 246.47 g/mol valence 2", "Leave it out"),
    ("meq value 20 mmol valence 7", "valence is 1 to 4"),
    ("reconstitute amount 600 mg diluent 5 mL", "takes up room"),
    ("reconstitute amount 500 mg total 2 mL label 100 mg/mL", "more than 10 % apart"),
    ("dilute stock 10 mg/mL wanted 20 mg/mL final 50 mL", "Diluting cannot make it"),
    ("drops volume 500 mL set 20 drops/mL", "one of the two"),
    ("drops volume 500 mL time 4 h rate 125 mL/h set 20 drops/mL", "one of the two"),
    ("drops time 4 h rate 125 mL/h set 20 drops/mL", "one of the two"),
    ("infusion dose 5 mcg/kg/min strength 200 mg in 50 mL", "Give the body weight too"),
    ("infusion dose 5 mg/h strength 200 mg in 50 mL weight 70 kg", "Leave the weight out"),
    ("waste opened 10 mg prepared 11 mg", "is more than the 10 mg opened"),
    ("register before 1 taken 2", "more than the 1 there were"),
    ("discard opened 2026-02-10 expiry 2026-02-09", "after its expiry"),
    ("limit dose 400 mg", "no figure to compare"),
    ("equipment volume 0.1 mL route SC insulin yes", "Give the strength of the insulin"),
]


@pytest.mark.parametrize(("words", "sentence"), REFUSED)
def test_a_sum_that_has_no_sensible_answer_is_refused(words: str, sentence: str) -> None:
    told = run(words)
    assert told.exit_code == 1
    assert told.stdout == ""
    assert sentence in told.stderr


WANTING = [
    ("limit dose 600 mg most 500 mg", "600 mg is above the highest single dose"),
    ("limit dose 400 mg daily 1000 mg/day times 3", "400 mg is above the most in a day"),
    ("balance opened 10 mg given 7.5 mg wasted 2 mg", "0.5 mg is not accounted for"),
    ("equipment volume 10 mL route IM site deltoid age 40 years", "set 10 mL"),
    ("equipment volume 0.001 mL route IV", "no syringe of the list will do"),
]


@pytest.mark.parametrize(("words", "said"), WANTING)
def test_what_is_found_wanting_is_shown_and_leaves_with_one(words: str, said: str) -> None:
    told = run(words)
    assert told.exit_code == 1
    assert said in told.stdout
    assert data(words)["stands"] is False


def test_an_unusual_set_and_a_dose_above_the_usual_ask_for_a_second_look() -> None:
    strange = run("drops volume 500 mL time 4 h set 21 drops/mL")
    assert strange.exit_code == 0
    assert "look again: 21 drops/mL is not one of the usual sets" in strange.stdout
    usual = run("limit dose 400 mg high 300 mg most 500 mg")
    assert usual.exit_code == 0
    assert "look again: It is above the usual range." in usual.stdout
    assert "not compared: the most in a day: no figure" in " ".join(usual.stdout.split())


def test_a_name_that_is_no_sum_is_told() -> None:
    told = run("explain volumes")
    assert told.exit_code == 2
    assert 'There is no sum "volumes". See: checklist dose list' in told.stderr
    assert run("volumes dose 60 mg").exit_code == 2


def test_overfill_may_be_a_percentage() -> None:
    words = "bag amount 20 mmol bag 500 mL added 10 mL overfill"
    assert data(f"{words} 10 %")["exact"] == data(f"{words} 50 mL")["exact"]


def test_the_face_imports_no_sum_before_one_is_asked_for() -> None:
    code = (
        "import sys; import checklist.faces.dose; "
        "print([m for m in sys.modules if m.startswith('checklist.')])"
    )
    told = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True,
        cwd=Path(__file__).parent.parent,
    )  # fmt: skip
    assert sorted(eval(told.stdout)) == [
        "checklist.dose", "checklist.dose.sheets", "checklist.dose.sheets.names",
        "checklist.faces", "checklist.faces.dose", "checklist.faces.leaving",
    ]  # fmt: skip


VALUES = """
60 mg; 0 mg; 0.000001 nanogram; 9999999 kg; 80 mg in 2 mL; 5 mL; 0 mL; 0.1 mL; 0.0001 mL; 99999 L;
3; 0; 1; 9999999; yes; IM; IV; SC; PO; deltoid; 40 years; 0 days; 70 kg; 154 pounds; 160 cm;
2.2 pounds/kg; 0 pounds/kg; 5 mL/teaspoon; 5 mcg/kg/min; 1 mg/h; 0 mg/h; 4 h; 0 h; 125 mL/h;
0 mL/h; 20 drops/mL; 100 units/mL; 75 mg/m2; 20 mg/kg/day; 0 mg/kg/day; 5 mg/kg; 1.4 g/day;
20 mmol; 20 mEq; 0 mmol; 74.55 g/mol; 0 g/mol; 10 %; 0 %; 0.9 %; 1:1000; 2026-02-10; 21:30; mg;
microgram/kg/min; mL; half up; down; up; injection; pump; du bois; mosteller; female; 2 teaspoons
""".replace("\n", " ").split(";")


def readable(blank: Blank) -> list[str]:
    """The listed values that the blank takes, so that sums are reached and not only readers."""
    taken = []
    for value in map(str.strip, VALUES):
        with contextlib.suppress(ValueError, TypeError):
            blank.read(value)
            taken.append(value)
    return taken


POOLS = {(name, b.name): readable(b) for name, sheet in SHEETS.items() for b in sheet.asks}


def test_every_blank_takes_some_value() -> None:
    assert [where for where, pool in POOLS.items() if not pool] == []


@settings(max_examples=tries(400), deadline=None)
@given(st.data())
def test_any_readable_words_are_answered_by_an_outcome_or_a_sentence(drawn: st.DataObject) -> None:
    """Whatever values come together: an answer, a refusal in words, never a breakdown."""
    name = drawn.draw(st.sampled_from(list(NAMES)))
    words = []
    for blank in SHEETS[name].asks:
        if blank.needed or drawn.draw(st.booleans()):
            words.append(f"{blank.name} {drawn.draw(st.sampled_from(POOLS[name, blank.name]))}")
    told = run(f"{name} {' '.join(words)}")
    assert told.exit_code in (0, 1)
    assert told.exception is None or isinstance(told.exception, SystemExit)
    assert (told.stdout == "") == bool(told.stderr)
