"""Pharmacy orders of HL7 v2: taken with the figures as they stand, or refused with their field."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from checklist.exchange.hl7_order import CONTROL, FIELDS, ROUTES
from checklist.exchange.hl7_time import day_of, moment_of
from checklist.exchange.taken import Taken
from checklist.intake.exchange import Exchange
from checklist.intake.fault import NotAsWritten
from checklist.intake.route import ROUTES as OURS
from tests.records import MESSAGE, WORDS, ZONE, decimals, read

ANY_FOLDER = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


def changed(old: str, new: str) -> str:
    """The good message with one place changed, which must be there."""
    assert old in MESSAGE, old
    return MESSAGE.replace(old, new, 1)


def doubts(folder: Path, text: str) -> list[str]:
    """The doubts about a message as "place: sentence"."""
    _, faults = read(folder, text)
    return [f"{one.place}: {one.sentence}" for one in faults]


def sound(folder: Path, text: str) -> Taken:
    """What is taken of a message without doubts."""
    taken, faults = read(folder, text)
    assert not faults, faults
    return taken


# -- what is taken -------------------------------------------------------------------------------


def test_an_order_with_patient_allergy_and_weight_is_taken_as_orders_json_has_it(
    tmp_path: Path,
) -> None:
    taken = sound(tmp_path, MESSAGE)
    assert taken.patients == [
        {
            "name": "Ottoline Brask",
            "birth_date": "1987-12-19",
            "record_number": "30012415",
            "band_numbers": [],
            "sex": "female",
            "allergies": [
                {"substance": "penicillin V", "drug_class": "penicillins", "reaction": "rash"}
            ],
            "weight": "82.4 kg",
            "weighed_on": "2026-11-25",
        }
    ]
    (order,) = taken.orders
    assert {key: value for key, value in order.items() if value} == {
        "id": "ORD-103",
        "patient": "30012415",
        "drug": "ondansetron",
        "dose": "4 mg",
        "route": "intravenous",
        "frequency": "every 8 hours",
        "interval": "8 hours",
        "due": "2026-11-25T14:15:00Z",
        "status": "active",
        "prescriber": "DR-4",
        "reviewed_by": "PH-2",
    }


def test_the_order_as_it_was_asked_for_is_taken_as_well(tmp_path: Path) -> None:
    """OMP^O09: the same fields, one place further to the front."""
    text = changed("RDE^O11^RDE_O11", "OMP^O09^OMP_O09").replace(
        "RXE||2041^ondansetron injection^LMD|4||mg^milligram^UCUM|||||||||PH-2^Marrow^P",
        "RXO|2041^ondansetron injection^LMD|4||mg^milligram^UCUM|||||||||||PH-2^Marrow^P",
    )
    whole, asked = sound(tmp_path, MESSAGE), sound(tmp_path, text)
    assert asked.orders == whole.orders


@ANY_FOLDER
@given(decimals)
def test_the_figures_of_a_dose_are_those_of_the_message(tmp_path: Path, text: str) -> None:
    taken = sound(tmp_path, changed("LMD|4||", f"LMD|{text}||"))
    assert taken.orders[0]["dose"] == f"{text} mg"


def test_any_five_separators_are_read(tmp_path: Path) -> None:
    other = MESSAGE.translate(str.maketrans("|^~\\&", "#!$%+"))
    # The plus of an offset from UTC is a separator now, and has to be escaped.
    other = other.replace("141500+0000", "141500%T%0000").replace("134500+0000", "134500%T%0000")
    assert sound(tmp_path, other).orders == sound(tmp_path, MESSAGE).orders


@pytest.mark.parametrize(
    ("written", "read_as"),
    [
        (r"a\T\b", "a&b"), (r"a\S\b", "a^b"), (r"a\F\b", "a|b"), (r"a\R\b", "a~b"),
        (r"a\E\b", "a\\b"), (r"\H\loud\N\ .", "loud ."), (r"one\.br\two", "one two"),
        (r"\X41\\X42\ ", "AB"), (r"caf\XC3A9\ ", "café"), (r"\E\T\E\ ", "\\T\\"),
    ],
)  # fmt: skip
def test_escapes_are_undone_as_the_standard_lists_them(
    tmp_path: Path, written: str, read_as: str
) -> None:
    """HL7 v2.5.1, chapter 2, use of escape sequences in text fields."""
    taken = sound(tmp_path, changed("|MO|rash", f"|MO|{written}"))
    assert taken.patients[0]["allergies"][0]["reaction"] == read_as


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n"])
def test_any_line_end_and_the_frame_of_a_transport_are_read(tmp_path: Path, end: str) -> None:
    plain = sound(tmp_path, MESSAGE).orders
    assert sound(tmp_path, MESSAGE.replace("\r", end)).orders == plain
    assert sound(tmp_path, f"\x0b{MESSAGE}\x1c\r").orders == plain


def test_the_older_place_of_the_timing_is_read(tmp_path: Path) -> None:
    text = MESSAGE.replace("TQ1|1||Q8H||||20261125141500+0000\r", "")
    text = text.replace("RXE||", "RXE|^Q8H^^20261125141500+0000|")
    assert sound(tmp_path, text).orders == sound(tmp_path, MESSAGE).orders


def test_a_local_unit_is_read_only_by_the_wards_table(tmp_path: Path) -> None:
    """500 MG by mouth every 6 hours is how HL7 v2.3, chapter 4, codes an order of its examples."""
    text = changed("4||mg^milligram^UCUM", "500||MG").replace("IV^Intravenous", "PO^")
    text = text.replace("Q8H", "Q6H").replace("2041^ondansetron injection^LMD", "^Ampicillin")
    assert sound(tmp_path, text).orders[0]["dose"] == "500 mg"
    _, faults = read(tmp_path, text, words=Exchange(record_number_in=("LARKMOOR",)))
    assert [one.place for one in faults] == ["RXE-5"]


@pytest.mark.parametrize(
    ("control", "status"),
    [("HD", "held"), ("RL", "active"), ("DC", "stopped"), ("CA", "cancelled")],
)
def test_what_becomes_of_an_order_is_told_by_its_control_code(
    tmp_path: Path, control: str, status: str
) -> None:
    assert sound(tmp_path, changed("ORC|NW", f"ORC|{control}")).orders[0]["status"] == status


def test_an_order_status_counts_beside_the_control_code(tmp_path: Path) -> None:
    taken = sound(tmp_path, changed("ORC|NW|ORD-103^LARKORDERS|||", "ORC|XO|ORD-103|||HD"))
    assert taken.orders[0]["status"] == "held"


# -- what is refused -----------------------------------------------------------------------------

REFUSED: list[tuple[str, str, str, str, str]] = [
    ("a result", "RDE^O11^RDE_O11", "ORU^R01", "MSH-9", "is not read here"),
    ("a test system", "|P|2.5.1", "|T|2.5.1", "MSH-11", "not from a system in use"),
    ("an old version", "|P|2.5.1", "|P|2.1", "MSH-12", "no version"),
    ("other letters", "|P|2.5.1", "|P|2.5.1||||||8859/1", "MSH-18", "UNICODE UTF-8"),
    ("no dose", "LMD|4||", "LMD|||", "RXE-3", "no dose in figures"),
    ("a dose in words", "LMD|4||", "LMD|four||", "RXE-3", "something besides figures"),
    ("a comma", "LMD|4||", "LMD|4,5||", "RXE-3", "comma"),
    ("a range", "LMD|4||", "LMD|2|4|", "RXE-4", "no one dose"),
    ("a unit that is none", "mg^milligram^UCUM", "mgs^milligram^UCUM", "RXE-5", "unit code"),
    ("a local unit", "mg^milligram^UCUM", "MILLIG", "RXE-5", "no UCUM code"),
    ("mcg", "mg^milligram^UCUM", "mcg^microgram^UCUM", "RXE-5", "code ug"),
    ("a volume", "mg^milligram^UCUM", "mL^millilitre^UCUM", "RXE-3", "how much drug"),
    ("intraocular", "IV^Intravenous^HL70162", "IO^Intraocular^HL70162", "RXR-1", "not known"),
    ("two routes told", "IV^Intravenous^HL70162", "IV^oral^HL70162", "RXR-1", "different routes"),
    ("a route twice", "IV^Intravenous^HL70162", "IV~SC", "RXR-1", "more than once"),
    ("no route", "RXR|IV^Intravenous^HL70162\r", "", "RXR", "0 routes"),
    ("a pattern", "Q8H", "QSHIFT", "TQ1-3", "not known here"),
    ("a word to avoid", "Q8H", "QD", "TQ1-3", "not known here"),
    ("a time of day", "TQ1|1||Q8H||||", "TQ1|1||Q8H|0800|||", "TQ1-4", "names no day"),
    ("no such time", "20261125141500", "20261325141500", "TQ1-7", "no moment"),
    ("no order number", "ORD-103^LARKORDERS", "", "ORC-2", "no number"),
    ("an answer", "ORC|NW", "ORC|OK", "ORC-1", "not read here"),
    ("an error", "ORC|NW|ORD-103^LARKORDERS|||", "ORC|NW|ORD-103|||ER", "ORC-5", "no status"),
    ("no record number", "30012415^^^LARKMOOR^MR", "30012415^^^OTHER^PI", "PID-3", "No number"),
    ("no date of birth", "|19871219|", "||", "PID-7", "not there"),
    ("no such day", "|19871219|", "|19871319|", "PID-7", "no day"),
    ("a sex of no list", "19871219|F", "19871219|X", "PID-8", "is not one of"),
    ("taken away", "19871219|F", '19871219|""', "PID-8", "taken away"),
    ("perhaps none", "^penicillin V^LMA", "^NKDA^L", "AL1-3", "none known"),
    ("an escape", "|MO|rash", r"|MO|\Zq\ ", "AL1-5.1", "says nothing here"),
    ("half an escape", "|MO|rash", r"|MO|a\T", "AL1-5.1", "does not end"),
    ("no letters", "|MO|rash", r"|MO|\XFF\ ", "AL1-5.1", "says nothing here"),
    ("hidden letters", "|MO|rash", "|MO|ra\u202esh", "AL1-5.1", "cannot be seen"),
    ("a weight in words", "||82.4|", "||heavy|", "OBX-5", "figures"),
    ("a weight in pounds", "kg^kilogram^UCUM", "[lb_av]^^UCUM", "OBX-5", "does not fit"),
    ("a status of no list", "|||||F|||", "|||||Q|||", "OBX-11", "no status"),
    ("a person's name", "DR-4^Quillfeather^A", "A Quillfeather", "ORC-12.1", "not a code"),
]


@pytest.mark.parametrize(
    ("old", "new", "place", "words"), [one[1:] for one in REFUSED], ids=[one[0] for one in REFUSED]
)
def test_a_doubt_says_in_which_field_it_is(
    tmp_path: Path, old: str, new: str, place: str, words: str
) -> None:
    told = doubts(tmp_path, changed(old, new))
    assert any(one.startswith(f"{place}: ") and words in one for one in told), told


MORE = {
    "a second patient": ("PID|2||1^^^LARKMOOR^MR||A^B||19870101|F\r", "PID"),
    "a mixture": ("RXC|B|^glucose^L|100|mL^^UCUM\r", "RXC-2"),
    "a second timing": ("TQ1|2||Q6H\r", "TQ1-1"),
    "a second message": (MESSAGE, "line 9"),
    "a line that is none": ("and so on\r", "line 9"),
}


@pytest.mark.parametrize(("more", "place"), MORE.values(), ids=MORE)
def test_what_cannot_be_taken_along_is_refused(tmp_path: Path, more: str, place: str) -> None:
    assert any(one.startswith(place) for one in doubts(tmp_path, MESSAGE + more))


def test_the_second_of_a_kind_is_named_as_such(tmp_path: Path) -> None:
    """The strength in the second order's field says which RXE is meant."""
    second = MESSAGE[MESSAGE.index("ORC|") :].replace("ORD-103", "ORD-104").replace("|4||", "|||")
    told = doubts(tmp_path, MESSAGE + second)
    assert any(one.startswith("RXE-3 (the 2nd of its kind): ") for one in told), told


HOSTILE = {
    "nothing": "",
    "no header": MESSAGE[MESSAGE.index("PID") :],
    "the header alone": "MSH",
    "a header without separators": "MSH|||||",
    "separators that are one": MESSAGE.replace("^~\\&", "^^\\&", 1),
    "letters as separators": MESSAGE.replace("MSH|", "MSHa", 1),
    "a batch": f"FHS|^~\\&|A\rBHS|^~\\&|A\r{MESSAGE}",
    "very many segments": MESSAGE + "NTE|1||x\r" * 6_000,
    "a very long segment": MESSAGE + f"NTE|1||{'x' * 70_000}\r",
    "very many fields": MESSAGE + f"NTE{'|' * 2_000}\r",
    "very many repetitions": MESSAGE.replace("|MO|rash", "|MO|" + "~" * 60_000),
    "very many escapes": MESSAGE.replace("rash", "\\H\\\\N\\" * 8_000),
    "a null": MESSAGE.replace("rash", "ra\x00sh"),
    "not a message": "Dear pharmacist,\rplease send ondansetron.\r",
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_hostile_messages_are_refused_in_sentences(tmp_path: Path, text: str) -> None:
    taken, faults = read(tmp_path, text)
    known = text == HOSTILE["very many repetitions"] or text == HOSTILE["very many escapes"]
    assert faults or known
    assert len(faults) < 60 and all(len(str(one)) < 400 for one in faults)
    assert not taken.orders or known or any(one.place.startswith("AL1") for one in faults)


def test_bytes_that_are_no_letters_are_refused(tmp_path: Path) -> None:
    from checklist.exchange.reading import taken_from
    from checklist.intake.fault import Findings

    path = tmp_path / "sent"
    for data in (MESSAGE.replace("rash", "caf\xe9").encode("latin-1"), MESSAGE.encode("utf-16")):
        path.write_bytes(data)
        findings = Findings("sent")
        taken_from(path, WORDS, ZONE, findings)
        assert findings.faults


# -- times ---------------------------------------------------------------------------------------


def test_times_are_read_with_their_offset_or_on_the_wards_clock() -> None:
    assert moment_of("202607011200", "Europe/London") == "2026-07-01T11:00:00Z"
    assert moment_of("20260701120000.1234+0200", "UTC") == "2026-07-01T10:00:00Z"
    assert day_of("19871219") == day_of("198712190815") == "1987-12-19"
    for twice_or_never in ("202610250130", "202603290130"):
        with pytest.raises(NotAsWritten):
            moment_of(twice_or_never, "Europe/London")
    for bad in ("2026", "20260701", "2026070112", "202613011200", "x", ""):
        with pytest.raises(NotAsWritten):
            moment_of(bad, "UTC")


# -- beside the standard's tables, as another library has them -------------------------------------


def test_the_fields_are_those_of_the_standard() -> None:
    """Names of the fields of RXE and RXO in HL7 v2.5, from the library hl7apy."""
    from hl7apy.v2_5 import fields

    names = {
        "code": "GIVE_CODE", "least": "GIVE_AMOUNT_MINIMUM", "most": "GIVE_AMOUNT_MAXIMUM",
        "units": "GIVE_UNITS", "form": "DOSAGE_FORM", "reviewed": "VERIFIER_ID",
        "each": "GIVE_PER_TIME_UNIT", "rate": "GIVE_RATE_AMOUNT", "strength": "GIVE_STRENGTH",
        "strength_units": "GIVE_STRENGTH_UNITS", "volume": "STRENGTH_VOLUME",
        "volume_units": "STRENGTH_VOLUME_UNITS", "indication": "INDICATION",
    }  # fmt: skip
    for segment, at in FIELDS.items():
        for name, words in names.items():
            known = fields.FIELDS[f"{segment}_{getattr(at, name)}"][3]
            assert known.endswith(words), (segment, name, known)
    others = {
        "PID_3": "PATIENT_IDENTIFIER_LIST", "PID_5": "PATIENT_NAME", "PID_7": "DATE_TIME_OF_BIRTH",
        "PID_8": "ADMINISTRATIVE_SEX", "PID_30": "PATIENT_DEATH_INDICATOR",
        "ORC_2": "PLACER_ORDER_NUMBER", "ORC_5": "ORDER_STATUS", "ORC_12": "ORDERING_PROVIDER",
        "TQ1_3": "REPEAT_PATTERN", "TQ1_7": "START_DATE_TIME", "TQ1_8": "END_DATE_TIME",
        "TQ1_10": "CONDITION_TEXT", "TQ1_14": "TOTAL_OCCURRENCE_S", "RXR_1": "ROUTE",
        "RXR_2": "ADMINISTRATION_SITE", "OBX_11": "OBSERVATION_RESULT_STATUS",
        "OBX_14": "DATE_TIME_OF_THE_OBSERVATION", "MSH_18": "CHARACTER_SET",
        "MSH_11": "PROCESSING_ID",
    }  # fmt: skip
    for field, name in others.items():
        assert fields.FIELDS[field][3] == name


def test_the_codes_are_those_of_the_standards_tables() -> None:
    """HL7 v2.5 tables 0162 and 0119, from the library hl7apy."""
    from hl7apy.v2_5 import tables

    assert set(ROUTES) <= set(tables.TABLES["HL70162"][1])
    assert "IO" not in ROUTES, "intraocular there, intraosseous here"
    assert set(ROUTES.values()) <= set(OURS)
    assert set(CONTROL) <= set(tables.TABLES["HL70119"][1])


def test_the_message_of_these_tests_is_one_by_another_library() -> None:
    from hl7apy.parser import parse_message

    found = parse_message(MESSAGE, find_groups=False)
    assert [one.name for one in found.children][:4] == ["MSH", "PID", "AL1", "ORC"]
    assert found.rxe.rxe_3.value == "4"
    assert found.rxe.rxe_5.ce_1.value == "mg"


# -- anything at all -----------------------------------------------------------------------------

PIECE = st.text('MSHPIDORCRXE0149|^~\\&\r\n "TXé', max_size=12)


@ANY_FOLDER
@given(st.lists(PIECE, max_size=12), st.integers(0, len(MESSAGE)))
def test_no_segments_at_all_break_the_reader(tmp_path: Path, pieces: list[str], at: int) -> None:
    read(tmp_path, "MSH|^~\\&|" + "|".join(pieces))
    read(tmp_path, MESSAGE[:at] + "".join(pieces) + MESSAGE[at:])


@ANY_FOLDER
@given(st.integers(0, len(MESSAGE) - 1), st.sampled_from("|^~\\&\r10XQ"))
def test_one_letter_changed_never_gives_another_dose_unseen(
    tmp_path: Path, at: int, letter: str
) -> None:
    """What is read is another dose only where the letter stands in the dose or its units."""
    taken, faults = read(tmp_path, MESSAGE[:at] + letter + MESSAGE[at + 1 :])
    inside = MESSAGE.index("RXE||") <= at <= MESSAGE.index("|||||||||PH-2") + 9
    if not faults and not inside:
        assert [one.get("dose", "4 mg") for one in taken.orders] in ([], ["4 mg"])
