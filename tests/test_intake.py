"""A ward's files when something is amiss: each fault with its file, place and remedy."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checklist.intake.fault import Faults
from tests.wards import FILES, FORMULARY, ORDERS, STAFF, UNIT, copied, edit, faults_of, load


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demonstration ward that a test may spoil."""
    return copied(tmp_path)


# File, what stands there, what is put in its place, where the fault is, words of its sentence.
U, S, F, O = UNIT, STAFF, FORMULARY, ORDERS  # noqa: E741
CASES: list[tuple[str, str, str, str, tuple[str, ...]]] = [
    (U, 'code = "W7E"\n', "", "code", ("is not there", "Add it")),
    (U, 'hospital = "', 'hospitl = "', "hospitl", ("not known", 'Did you mean "hospital"')),
    (U, 'code = "W7E"', "code = 7", "code", ("stands without quotes", "in quotes")),
    (U, 'name = "Ward 7 East"', 'name = ""', "name", ("empty", "Fill it in")),
    (U, '= "strict"', '= "sometimes"', "settings, giver_must", ("not allowed", "witnessed")),
    (U, '= "strict"', "= true", "settings, giver_must", ("true is not allowed",)),
    (U, 'giver_must_be_preparer = "s', 'giver_must_prepare = "s', "settings", ("Did you mean",)),
    (U, "[settings]", "[settings]\nidentifiers_required = 1", "identifiers", ("from 2 to 3",)),
    (U, "[settings]", '[settings]\nidentifiers_required = "2"', "identifiers", ("from 2 to 3",)),
    (U, "[settings]", "[settings]\nidentifiers_required = 2.5", "identifiers", ("2.5 is not",)),
    (U, "[settings]", "[settings]\nidentifiers_required = true", "identifiers", ("true is not",)),
    (U, '"7 days"', '"8 days"', "weight_max_age", ("shipped limit is 7 days", "lower one")),
    (U, '"0.1 mL"', '"0.05 mL"', "smallest_volume", ("shipped limit is 0.1 mL", "higher one")),
    (U, "many_containers = 3", "many_containers = 4", "many_containers", ("shipped limit is 3",)),
    (U, '"10 %"', '"12 %"', "rounding_limit", ("shipped limit is 10 %",)),
    (U, '"Europe/London"', '"Europe/Lundon"', "timezone", ("Did you mean", "Europe/London")),
    (U, '"30 min"', '"30"', "record_late_after", ("no unit", "Write the unit")),
    (U, '"30 min"', "30", "record_late_after", ("stands without quotes",)),
    (U, '"30 min"', "30.5", "record_late_after", ("30.5 stands without quotes",)),
    (U, '"30 min"', '"30 mg"', "record_late_after", ("does not fit", "like")),
    (U, '"30 min"', '"0 min"', "record_late_after", ("does not fit", "like")),
    (U, '"30 min"', '"0,5 h"', "record_late_after", ("comma", "point")),
    (U, '"0.1 mL"', '"0.10 mL"', "smallest_volume", ("zero after the point",)),
    (U, '"5 %"', '"5"', "rounding_warn", ("not a percentage", '"5 %"')),
    (U, '"5 %"', '"NaN %"', "rounding_warn", ("NaN", "figures")),
    (U, '"5 %"', '"15 %"', "rounding_warn", ("above rounding_limit",)),
    (U, '"10 %"', '"100 %"', "rounding_limit", ("at most 25 %",)),
    (U, '"[0-9]{8}"', '"([0-9]+)+"', "record_number", ("repeats a group",)),
    (U, '"[0-9]{8}"', '".*"', "record_number", ("fits a name", "narrower")),
    (U, '"[0-9]{8}"', '"[0-9"', "record_number", ("is not a pattern",)),
    (U, '"code and pin"', '"code and pim"', "sign_in_with", ('Did you mean "code and pin"',)),
    (U, '"code and pin"', '"code and pin"\npin_tries = 6', "pin_tries", ("shipped limit is 5",)),
    (U, '"code and pin"', '"code and pin"\npin_lock = "5 min"', "pin_lock", ("limit is 15 min",)),
    (U, '"code and pin"', '"code and pin"\npin_shortest = 4', "pin_shortest", ("limit is 6",)),
    (U, '["W7E-1", "W7E-2"]', '["W7E-1", "W7E-1"]', "stations", ("stands twice", "Keep one")),
    (U, '["W7E-1", "W7E-2"]', '"W7E-1"', "stations", ("not a list", "brackets")),
    (U, '["high_alert", "con', '["high_alart", "con', "double_check_scope", ("any of high_alert",)),
    (U, '["high_alert", "con', '["controlled", "con', "double_check_scope", ("stands twice",)),
    (U, '["dose_outside_range"]', '["dose_outside"]', "second_person_cautions", ("dose_outside_",)),
    (U, '"09520007300329/FX0883"', '"09520007300329"', "recalled", ("does not name a lot",)),
    (U, "09520007300329/", "09520007300330/", "recalled", ("not a product", "its label")),
    (U, "09520007300114 = 12", "09520007300115 = 12", "register", ("not a product",)),
    (U, "09520007300114 = 12", "09520007300114 = -1", "register", ("below 0",)),
    (U, 'unconfirmed = "hard"', 'unconfirmd = "hard"', "raised", ("Did you mean",)),
    (U, 'unconfirmed = "hard"', 'unconfirmed = "harder"', "raised", ('Did you mean "hard"',)),
    (U, 'unconfirmed = "hard"', 'unconfirmed = "information"', "raised", ("only raise it",)),
    (U, 'patency_unconfirmed = "hard"', 'filter_missing = "soft"', "raised", ("only raise it",)),
    (U, "[raised]", "[raised", U, ("cannot be read as TOML", "line")),
    (U, "many_containers = 3", 'code = "X"', U, ("cannot be read as TOML",)),
    (S, 'code = "RN-27"', 'code = "RN-12"', "person 2", ("stands twice", "person 1", "Keep one")),
    (S, 'code = "RN-27"', 'code = "rn 27"', "person 2", ("is not a code", "RN-12")),
    (S, '["trainee"]', '["trainees"]', "person 4", ('Did you mean "trainee"',)),
    (S, '["trainee"]', '["trainee", "trainee"]', "person 4", ("stands twice", "Keep one")),
    (S, '["trainee"]', '"trainee"', "person 4", ("not a list",)),
    (S, "952000000000001276", "952000000000001277", "badge", ("does not fit", "Read the badge")),
    (S, "952000000000001276", "952000000000001122", "badge", ("stands twice",)),
    (S, "IM = 2026-12-31", 'IM = "2026-12-31"', "competent, IM", ("not a date", "without quotes")),
    (S, "IM = 2026-12-31", "IM = 2026-12-31T00:00:00Z", "competent, IM", ("not a date",)),
    (S, "IM = 2026-12-31", "IN = 2026-12-31", "competent", ("not on the list",)),
    (S, "active = false", "active = 0", "active", ("neither true nor false",)),
    (S, 'name = "Wren Alderby"', 'name = "Wren\\u200bAlderby"', "name", ("cannot be seen",)),
    (S, 'name = "Wren Alderby"', 'name = "Wren\\u202eAlderby"', "name", ("cannot be seen",)),
    (F, "edition = ", "editon = ", "editon", ('Did you mean "edition"',)),
    (F, 'name = "naloxone"', 'name = "Naloxone"', "name", ("small letters",)),
    (F, 'name = "naloxone"', 'name = "nalоxone"', "name", ("small letters",)),
    (F, 'name = "naloxone"', 'name = "furosemide"', "name", ("stands twice", "Keep one")),
    (F, 'limit = "15 mg"', 'limit = "9 mg"', "limit", ("below usual_high",)),
    (F, 'limit = "15 mg"', 'limit = "15 mg/kg"', "limit", ("another kind of amount",)),
    (F, 'limit = "15 mg"', 'limit = "15 MG"', "limit", ("misread", "Write mg")),
    (F, 'limit = "15 mg"', "limit = 15", "limit", ("without quotes", '"7.5 mg"')),
    (F, 'limit = "15 mg"', "limit = 15.0", "limit", ("15.0 stands without quotes",)),
    (F, 'limit = "15 mg"', "limit = nan", "limit", ("nan stands without quotes",)),
    (F, '"2 hours"', '"2 mL"', "min_interval", ("not a length of time",)),
    (F, '"hydromorphone"', '"HYDROmorphone"', "lookalikes", ("small letters",)),
    (F, 'drug = "naloxone"', 'drug = "naloxon"', "drug", ("not a drug", "Correct the name")),
    (F, '"09520007300114"', '"09520007300115"', "code", ("does not fit",)),
    (F, '"09520007300213"', '"9520007300114"', "code", ("stands twice", "product 1")),
    (F, '"09520007300213"', '"520007300213"', "code", ("does not fit",)),
    (F, '"09520007300213"', '"20007300213"', "code", ("11 figures", "dropped zeros")),
    (F, '"PH-104"', '"104"', "code", ("3 figures",)),
    (F, '"400 microgram in 1 mL"', '"400 microgram"', "strength", ("no volume", "in 1 mL")),
    (F, '"400 microgram in 1 mL"', '"400 mcg in 1 ml"', "strength", ("misread", "mL")),
    (F, '"400 microgram in 1 mL"', '"0.04 %"', "strength", ("how much in how much",)),
    (F, '"90 mg in 10 mL"', '"90mg in 10 mL"', "strength", ("no space before the unit",)),
    (F, 'content = "2.5 mL"', 'content = "2.5 mg"', "content", ("not a volume", "2 mL")),
    (F, '"single_dose_vial"', '"vial"', "container", ("not on the list",)),
    (F, 'use = "inhalation"', 'use = "inhaled"', "use", ("not on the list",)),
    (F, 'routes = ["INH"]', 'routes = ["INHALED"]', "routes", ('"INH"',)),
    (F, "concentrate = true", 'concentrate = "true"', "concentrate", ("neither true nor false",)),
    (O, '"dose": "7.5 mg"', '"dose": 7.5', "ORD-101", ("7.5 stands without quotes", '"7.5 mg"')),
    (O, '"dose": "7.5 mg"', '"dose": 1e400', "ORD-101", ("stands without quotes",)),
    (O, '"dose": "7.5 mg"', '"dose": NaN', "ORD-101", ("NaN stands without quotes",)),
    (O, '"weight": "71 kg"', '"weight": 71', "P-301", ("71 stands without quotes",)),
    (O, '"weight": "71 kg"', '"weight": "71"', "P-301", ("no unit",)),
    (O, '"weight": "71 kg"', '"weight": "156 pounds"', "P-301", ("does not fit", "82 kg")),
    (O, '"weight": "71 kg",', "", "P-301", ("go together",)),
    (O, '"weighed_on": "2026-11-23"', '"weighed_on": "1957-11-23"', "P-301", ("before the date",)),
    (O, '"weighed_on": "2026-11-23"', '"weighed_on": "23/11/2026"', "P-301", ("not a day",)),
    (O, '"1958-03-14"', '"1958-02-30"', "birth_date", ("not a day", "2026-11-24")),
    (O, '"30012088"', '"30011742"', "record_number", ("stands twice", "patient 1")),
    (O, '"30012088"', '"3001208"', "record_number", ("unit.toml gives",)),
    (O, '"952000000000003027"', '"952000000000003010"', "band_numbers", ("stands twice",)),
    (O, '"952000000000003027"', '"952000000000003028"', "band_numbers", ("does not fit",)),
    (O, '"sex": "male"', '"sex": "m"', "sex", ("not on the list",)),
    (O, '"substance"', '"substanse"', "allergies, 1", ('Did you mean "substance"',)),
    (O, '"patient": "P-301"', '"patient": "P-3O1"', "ORD-101", ("not a patient", "in the record")),
    (O, '"id": "ORD-102"', '"id": "ORD-101"', "order 2", ("stands twice", "Keep one")),
    (O, '"id": "ORD-102"', '"id": "ORD 102"', "order 2", ("is not an id",)),
    (O, '"id": "ORD-102",', "", "order 2", ("is not there",)),
    (O, '"status": "stopped"', '"status": "stoped"', "ORD-107", ('Did you mean "stopped"',)),
    (O, '"drug": "ketorolac"', '"durg": "ketorolac"', "durg", ('Did you mean "drug"',)),
    (O, '"2026-11-25T14:20:00Z"', '"2026-11-25T14:20:00"', "due", ("time zone", "Add Z")),
    (O, '"2026-11-25T14:20:00Z"', '"2026-11-31T14:20:00Z"', "due", ("not a time",)),
    (O, '"2026-11-25T14:20:00Z"', '"14:20"', "due", ("not a time", "2026-11-25T14:20:00Z")),
    (O, '"lowest": "10"', '"lowest": "10 1/min"', "hold, lowest", ("1/min",)),
    (O, '"lowest": "10"', '"highest": "x"', "hold", ("figures",)),
    (O, '"unit": "1/min"', '"unit": "bpm"', "hold", ("not a unit code",)),
    (O, ', "lowest": "10"', "", "hold", ("neither lowest nor highest",)),
    (O, '"id": "ORD-103",', '"id": "ORD-103", "dose": "8 mg",', "ORD-103", ("dose", "twice")),
    (O, '"orders": [', '"order": [', "order", ('Did you mean "orders"',)),
    (O, '"frequency": "once"', '"frequency": "on\\nce"', "frequency", ("cannot be seen",)),
    (O, '"indication": "nausea"', '"indication": "\\ud800"', "indication", ("cannot be seen",)),
    (O, '"patients": [', '"patients": [,', "", ("cannot be read as JSON", "Correct it")),
]


@pytest.mark.parametrize(("file", "old", "new", "place", "words"), CASES)
def test_a_fault_names_its_file_its_place_and_what_to_do(
    folder: Path, file: str, old: str, new: str, place: str, words: tuple[str, ...]
) -> None:
    edit(folder / file, old, new)
    found = faults_of(folder)
    told = [fault for fault in found if all(word in str(fault) for word in words)]
    assert told, [str(fault) for fault in found]
    assert told[0].file == file
    assert place in str(told[0])
    assert told[0].sentence.endswith((".", "?"))


@pytest.mark.parametrize(("file", "old", "new", "place", "words"), CASES)
def test_one_slip_gives_no_faults_in_other_files(
    folder: Path, file: str, old: str, new: str, place: str, words: tuple[str, ...]
) -> None:
    edit(folder / file, old, new)
    found = faults_of(folder)
    assert {fault.file for fault in found} == {file}
    assert len(found) <= 2


CLINICAL_GAPS = [
    ('"dose": "7.5 mg"', '"dose": "7.50 mg"', "dose", "zero after the point"),
    ('"dose": "7.5 mg"', '"dose": "7,5 mg"', "dose", "comma"),
    ('"dose": "7.5 mg"', '"dose": ".5 mg"', "dose", "zero before the point"),
    ('"dose": "7.5 mg"', '"dose": "7.5mg"', "dose", "no space"),
    ('"dose": "7.5 mg"', '"dose": "7.5"', "dose", "no unit"),
    ('"dose": "7.5 mg"', '"dose": "10 U"', "dose", "misread"),
    ('"dose": "7.5 mg"', '"dose": "0 mg"', "dose", "no amount"),
    ('"dose": "7.5 mg"', '"dose": "1 mL"', "dose", "how much drug"),
    ('"dose": "7.5 mg"', '"dose": "2 ampoules"', "dose", "how much drug"),
    ('"dose": "7.5 mg"', '"dose": "2 mg/kg/day"', "dose", "one time"),
    ('"dose": "7.5 mg"', '"dose": "5 to 10 mg"', "dose", "unit"),
    ('"dose": "7.5 mg"', '"dose": "some"', "dose", "figures"),
    ('"route": "intravenous"', '"route": "IN"', "route", "written in full"),
    ('"frequency": "once"', '"interval": "q4h"', "interval", "figures"),
    ('"frequency": "once"', '"interval": "4 mg"', "interval", "does not fit"),
    ('"frequency": "once"', '"strength": "10 mg"', "strength", "no volume"),
]


@pytest.mark.parametrize(("old", "new", "key", "words"), CLINICAL_GAPS)
def test_an_order_text_that_is_not_clear_is_left_for_a_check_to_refuse(
    folder: Path, old: str, new: str, key: str, words: str
) -> None:
    edit(folder / ORDERS, old, new)
    order = load(folder).orders["ORD-101"]
    assert not getattr(order, key)
    assert words in order.unreadable[key]


def test_what_an_order_does_not_say_is_no_fault_of_the_file(folder: Path) -> None:
    data = json.loads((folder / ORDERS).read_text())
    data["orders"] = [{"id": "ORD-1", "patient": "P-303", "dose": None}]
    data["patients"][2]["allergies"] = None
    (folder / ORDERS).write_text(json.dumps(data))
    ward = load(folder)
    order = ward.orders["ORD-1"]
    assert (order.dose, order.route, order.due, order.unreadable) == (None, "", None, {})
    assert ward.patients["P-303"].allergies is None
    assert ward.patients["P-302"].allergies == ()


@pytest.mark.parametrize(
    ("file", "old", "new", "near"),
    [
        (F, 'drug = "ketorolac"', 'drug = "ketolac"', "ketorolac"),
        (O, '"patient": "P-301"', '"patient": "P-300"', "P-301"),
        (U, "09520007300114 = 12", "09520007300115 = 12", "09520007300114"),
    ],
)
def test_no_drug_patient_or_item_is_offered_for_one_that_is_not_known(
    folder: Path, file: str, old: str, new: str, near: str
) -> None:
    edit(folder / file, old, new)
    assert all(near not in fault.sentence for fault in faults_of(folder))


def test_all_faults_of_all_files_come_back_at_once_and_nothing_is_written(folder: Path) -> None:
    edit(folder / UNIT, '"30 min"', '"30"')
    edit(folder / UNIT, '"5 %"', '"5"')
    edit(folder / STAFF, '["trainee"]', '["student"]')
    edit(folder / FORMULARY, '"09520007300114"', '"09520007300115"')
    edit(folder / ORDERS, '"dose": "7.5 mg"', '"dose": 7.5')
    before = {path: path.read_bytes() for path in folder.iterdir()}
    found = faults_of(folder)
    assert [fault.file for fault in found] == [U, U, S, F, O]
    assert {path: path.read_bytes() for path in folder.iterdir()} == before


SPOILT_BYTES = [
    (b"\xef\xbb\xbf", b"", "byte order mark"),
    (b"\xff\xfe", b"", "byte order mark"),
    (b"", b"\n# caf\xe9\n", "not UTF-8"),
    (b"", b"x" * 5_000_000, "KiB long"),
]


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize(("front", "back", "words"), SPOILT_BYTES)
def test_a_file_in_another_encoding_or_too_long_is_a_fault(
    folder: Path, file: str, front: bytes, back: bytes, words: str
) -> None:
    (folder / file).write_bytes(front + (folder / file).read_bytes() + back)
    assert [(f.file, words in f.sentence) for f in faults_of(folder)] == [(file, True)]


@pytest.mark.parametrize("file", FILES)
def test_a_file_that_is_not_there_is_a_fault(folder: Path, file: str) -> None:
    (folder / file).unlink()
    assert [(f.file, "no such file" in f.sentence) for f in faults_of(folder)] == [(file, True)]


def test_a_folder_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    assert "no such folder" in faults_of(tmp_path / "nowhere")[0].sentence


def test_two_formularies_are_a_fault(folder: Path) -> None:
    (folder / "formulary.csv").write_text("code\n")
    assert "Keep one of the two" in faults_of(folder)[0].sentence


@pytest.mark.parametrize(
    ("file", "text"),
    [
        (U, "a." * 3000 + "a = 1\n"),
        (U, "a = " + "[" * 2000 + "\n"),
        (O, '{"patients": ' + "[" * 100_000),
        (O, "[]"),
        (O, '{"patients": {}, "orders": 1}'),
        (U, "x = 1e5\n" * 2),
        (U, "x = " + "9" * 4000 + "\n"),
        (F, 'edition = "1"\ndrug = 1\nproduct = [1, []]\n'),
        (S, "person = [1, {}]\n"),
    ],
)
def test_a_hostile_file_gives_faults_and_nothing_else(folder: Path, file: str, text: str) -> None:
    (folder / file).write_text(text)
    assert {fault.file for fault in faults_of(folder)} == {file}


@settings(max_examples=100)
@given(st.data())
def test_no_change_of_one_value_gives_anything_but_a_ward_or_faults(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    folder = copied(tmp_path_factory.mktemp("ward"))
    orders: Any = json.loads((folder / ORDERS).read_text())
    record = data.draw(st.sampled_from(orders["orders"] + orders["patients"]))
    junk: st.SearchStrategy[Any] = (
        st.none() | st.booleans() | st.integers() | st.text(max_size=12) | st.just([{}])
    )
    record[data.draw(st.sampled_from(sorted(record)))] = data.draw(junk)
    (folder / ORDERS).write_text(json.dumps(orders))
    try:
        load(folder)
    except Faults as told:
        assert {fault.file for fault in told.faults} == {O}
