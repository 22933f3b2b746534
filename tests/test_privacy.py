"""What identifies a person stands in the erasable table and never in the chain."""

from __future__ import annotations

import csv
import json
import sqlite3
from pathlib import Path

import pytest

from checklist.checks.patient import agrees
from checklist.intake.entry import EntryFault, read
from checklist.observation import Identifier, IdentifierKind, Kind
from checklist.verdict import Remedy
from tests.scene import NURSE, START, Scene, demo_ward

DATA = Path(__file__).parent / "data"
WARD = demo_ward()
CANARIES = [
    text
    for patient in WARD.patients.values()
    for text in (
        *patient.name.split(),
        patient.record_number,
        patient.birth_date.isoformat(),
        *patient.band_numbers,
    )
] + [part for person in WARD.staff.values() for part in person.name.split()]


def chain_text(folder: Path) -> str:
    """Everything that the chained tables hold, as text."""
    db = sqlite3.connect(folder / "trail.db")
    try:
        rows = db.execute("SELECT * FROM entries").fetchall()
        rows += db.execute("SELECT kind, name, text FROM definitions").fetchall()
        rows += db.execute("SELECT * FROM trail").fetchall()
    finally:
        db.close()
    return "\n".join(str(cell) for row in rows for cell in row)


def test_no_name_birth_date_or_number_of_anybody_reaches_the_chain(tmp_path: Path) -> None:
    scene = Scene(tmp_path, order_id="ORD-101")
    scene.open()
    scene.attempt({"first_identifier": "30012088", "second_identifier": "1944-09-02"})
    scene.station.remedy(scene.id, Remedy.RECHECK, NURSE)
    scene.attempt({"first_identifier": "Marlow Quennell"})
    scene.to("take_the_product")
    # A wristband and a badge scanned where a product was wanted, and a name typed for a number.
    for slip in ("]d28018952000000000003027", "952000000000001122", "Ferris Dunmow"):
        scene.attempt({"product": slip})
        scene.station.remedy(scene.id, scene.station.screen(scene.id).ways[0], NURSE)
    scene.to("work_out_the_volume")
    for slip in ("Ottoline Brask", "30012088", "1944-09-02"):
        scene.attempt({"own_volume": slip})
        scene.station.remedy(scene.id, Remedy.RECHECK, NURSE)
    scene.to("identify_the_patient")
    scene.attempt({"first_identifier": "]d28018952000000000003034"})
    scene.station.remedy(scene.id, Remedy.RECHECK, NURSE)
    scene.finish()
    text = chain_text(tmp_path)
    found = [canary for canary in CANARIES if canary.casefold() in text.casefold()]
    assert found == []


def test_the_raw_text_is_kept_beside_the_chain_where_it_can_be_erased(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    outcome = scene.attempt({"first_identifier": "Ottoline Brask"})
    seen = outcome.entry.event.body["seen"]["first_identifier"]
    reference = seen["raw"].removeprefix("sealed:")
    assert scene.trail.unsealed(reference) == "Ottoline Brask"
    assert "Brask" not in json.dumps(outcome.entry.event.body)


def test_a_number_that_cannot_be_read_stays_in_the_chain_for_the_analysis(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    scene.to("set_the_dose")
    outcome = scene.attempt({"drawn_volume": "2,0"})
    assert outcome.entry.event.body["seen"]["drawn_volume"]["raw"] == "2,0"


# Joint Commission, National Patient Safety Goals 2015, NPSG.01.01.01, and the 2026 plain-language
# summary, as listed with addresses in data/patient_identifiers.csv; rows that no typed answer can
# show are named with the reason.
TYPED = {
    "patient name (full)": ("Ottoline Brask", IdentifierKind.NAME),
    "assigned identification number (record or visit number)": (
        "30012415", IdentifierKind.RECORD_NUMBER,
    ),
    "date of birth": ("19 Dec 1987", IdentifierKind.BIRTH_DATE),
    "machine-read code on the wristband holding two person-specific identifiers": (
        "]d28018952000000000003034", IdentifierKind.BAND_NUMBER,
    ),
    "room number": ("room 12", IdentifierKind.LOCATION),
    "bed or physical location": ("bed 4", IdentifierKind.LOCATION),
}  # fmt: skip
NOT_TYPED = {
    "telephone number": "no telephone number is on record here, so none is compared",
    "other person-specific identifier (photograph, government number)": "not on record here",
    "diagnosis or drug being given": "reads as a name, and agrees with no patient",
    "same datum read twice (wristband name + spoken name)": "see the two-readings test below",
}


def test_identifiers_are_accepted_and_refused_as_published(tmp_path: Path) -> None:
    with (DATA / "patient_identifiers.csv").open(encoding="utf-8") as file:
        rows = {row["datum"]: row["verdict"] for row in csv.DictReader(file)}
    assert set(TYPED) | set(NOT_TYPED) == set(rows)
    patient = WARD.patients["P-303"]
    for datum, (text, kind) in TYPED.items():
        value = read(Kind.IDENTIFIER, text, today=START.date(), zone="UTC", settings=WARD.unit)
        assert isinstance(value, Identifier) and value.kind is kind, datum
        assert agrees(value, patient) == (rows[datum] == "accepted"), datum


def test_the_same_datum_read_twice_counts_once(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    outcome = scene.attempt(
        {"first_identifier": "Ottoline Brask", "second_identifier": "BRASK Ottoline"}
    )
    assert [t.code for t in outcome.told] == ["patient_id_too_few"]


def test_a_drug_name_or_a_phone_number_identifies_nobody(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.open()
    outcome = scene.attempt({"first_identifier": "ondansetron"})
    assert [t.code for t in outcome.told] == ["patient_id_mismatch"]
    with pytest.raises(EntryFault):
        read(
            Kind.IDENTIFIER, "+44 1632 960012", today=START.date(), zone="UTC",
            settings=WARD.unit,
        )  # fmt: skip


def test_three_identifiers_where_the_unit_asks_for_three(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.change_settings(identifiers_required=3)
    scene.open()
    outcome = scene.attempt()
    assert [t.code for t in outcome.told] == ["patient_id_too_few"]
    assert "2 of 3" in outcome.told[0].found


def test_words_that_somebody_types_are_kept_apart_and_known_by_their_patient(
    tmp_path: Path,
) -> None:
    scene = Scene(tmp_path, order_id="ORD-103")
    scene.open()
    said = [f"canary {number}: the sister of Ottoline Brask called" for number in range(3)]
    scene.station.note(scene.id, said[0], NURSE)
    scene.to("fit_the_filter")
    scene.attempt({"filter_kind": "none", "pore": None})
    way = scene.station.screen(scene.id).ways[0]
    scene.station.remedy(scene.id, way, NURSE, note=said[1])
    scene.station.end(scene.id, "other", NURSE, note=said[2])
    patient = scene.whole.patient
    kept = {one.text for one in scene.trail.sealed_about(patient)}
    assert kept >= set(said)
    assert "canary" not in chain_text(tmp_path)
    assert scene.trail.verify().whole
