"""`checklist orders take`: what would change is shown, nothing is written over or lost unsaid."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from checklist.faces import order_taking
from checklist.faces.cli import app
from checklist.faces.leaving import CannotGoOn
from checklist.intake.exchange import Exchange, exchange_of
from checklist.intake.fault import Faults, Findings
from checklist.intake.ward import load_ward
from tests.records import MESSAGE, allergy, bundle, dosage, dose, patient, request, text_of, weight
from tests.wards import DEMO, edit

BUNDLE, MESSAGE_FILE = DEMO / "records" / "orders.fhir.json", DEMO / "records" / "order.hl7"


@pytest.fixture
def ward(tmp_path: Path) -> Path:
    """A copy of the demonstration ward."""
    shutil.copytree(DEMO, tmp_path / "ward")
    return tmp_path / "ward"


def marlow() -> dict[str, Any]:
    """Another patient of the ward, with an allergy and a weight on record there."""
    number = {"system": "https://larkmoor.example/record-number", "value": "30011742"}
    return patient(identifier=[number], name=[{"text": "Marlow Quennell"}], birthDate="1958-03-14")


def take(*words: object) -> tuple[int, str, str]:
    """Exit code, stdout and stderr of `checklist orders take`."""
    done = CliRunner().invoke(app, ["orders", "take", *map(str, words)], env={"COLUMNS": "100"})
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.stdout, done.stderr


def sent(folder: Path, data: Any) -> Path:
    """A file as a health record sends it."""
    path = folder / "sent"
    path.write_text(data if isinstance(data, str) else text_of(data), encoding="utf-8", newline="")
    return path


def orders(ward: Path) -> dict[str, Any]:
    """The order lines that stand, by id."""
    data = json.loads((ward / "orders.json").read_text(encoding="utf-8"))
    return {one["id"]: one for one in data["orders"]}


def people(ward: Path) -> dict[str, Any]:
    """The patients that stand, by record number."""
    data = json.loads((ward / "orders.json").read_text(encoding="utf-8"))
    return {one["record_number"]: one for one in data["patients"]}


# -- looking and writing -------------------------------------------------------------------------


@pytest.mark.parametrize("file", [BUNDLE, MESSAGE_FILE], ids=["fhir", "hl7"])
def test_a_look_writes_nothing(ward: Path, file: Path) -> None:
    before = {path: path.read_bytes() for path in ward.rglob("*") if path.is_file()}
    code, out, _ = take(file, "--ward", ward)
    assert code == 0 and "nothing was written" in out
    assert before == {path: path.read_bytes() for path in ward.rglob("*") if path.is_file()}
    assert not {p.name for p in ward.iterdir()} - {p.name for p in DEMO.iterdir()}


def test_what_is_taken_is_read_by_the_reader_of_orders_json(ward: Path) -> None:
    before = orders(ward)
    code, out, _ = take(BUNDLE, "--into", ward)
    assert code == 0 and "Written" in out
    read = load_ward(ward)
    new = read.orders["ORD-131"]
    assert str(new.dose) == "12.5 mg" and new.route == "IV" and not new.unreadable
    barnaby = read.patients[new.patient]
    assert (barnaby.name, str(barnaby.weight)) == ("Barnaby Thistlewood", "92.4 kg")
    assert [one.drug_class for one in barnaby.allergies or ()] == ["penicillins"]
    assert before.keys() <= orders(ward).keys()
    untouched = before.keys() - {"ORD-103"}
    assert all(orders(ward)[id_] == before[id_] for id_ in untouched)


def test_the_message_of_the_demonstration_is_taken(ward: Path) -> None:
    assert take(MESSAGE_FILE, "--into", ward)[0] == 0
    order = load_ward(ward).orders["ORD-140"]
    assert (str(order.dose), order.patient, order.reviewed_by) == ("4 mg", "P-302", "PH-2")


def test_the_file_before_is_kept_and_taking_again_changes_nothing(ward: Path) -> None:
    first = (ward / "orders.json").read_bytes()
    _, out, _ = take(BUNDLE, "--into", ward)
    (kept,) = ward.glob("orders-before-*.json")
    assert kept.read_bytes() == first and kept.name in out
    assert kept.stat().st_mode & 0o077 == 0
    second = (ward / "orders.json").read_bytes()
    code, out, _ = take(BUNDLE, "--into", ward)
    assert code == 0 and "Nothing would change" in out
    assert (ward / "orders.json").read_bytes() == second
    assert len(list(ward.glob("orders-before-*.json"))) == 1


def test_a_folder_without_orders_gets_a_file_of_its_own(ward: Path, tmp_path: Path) -> None:
    fresh = tmp_path / "fresh"
    fresh.mkdir()
    assert take(BUNDLE, "--ward", ward, "--into", fresh)[0] == 0
    assert set(orders(fresh)) == {"ORD-103", "ORD-131"}
    assert (fresh / "orders.json").stat().st_mode & 0o077 == 0
    assert [path.name for path in fresh.iterdir()] == ["orders.json"]


def test_a_file_that_somebody_else_changed_meanwhile_is_left_alone(ward: Path) -> None:
    target = ward / "orders.json"
    looked_at = hashlib.sha256(target.read_bytes()).hexdigest()
    edit(target, '"4 mg"', '"8 mg"')
    before = target.read_bytes()
    with pytest.raises(CannotGoOn, match="changed by somebody meanwhile"):
        order_taking.put(target, "{}", looked_at)
    with pytest.raises(CannotGoOn, match="changed by somebody meanwhile"):
        order_taking.put(target, "{}", "")
    assert target.read_bytes() == before
    assert not list(ward.glob(".orders-*")) and not list(ward.glob("orders-before-*"))


# -- what stands already -------------------------------------------------------------------------


def test_what_only_the_ward_says_stays_and_a_changed_dose_loses_its_review(
    ward: Path, tmp_path: Path
) -> None:
    """ORD-101 has a hold rule and asks for a double check; its review was of 7.5 mg."""
    who = marlow()
    order = dosage(doseAndRate=[{"doseQuantity": dose(5)}])
    order |= {"id": "ORD-101", "medicationCodeableConcept": {"text": "morphine"}, "requester": {}}
    code, out, _ = take(sent(tmp_path, bundle(who, order)), "--into", ward)
    assert code == 0 and "dose: 7.5 mg, then 5 mg" in out
    line = orders(ward)["ORD-101"]
    assert line["hold"] == {"what": "breaths per minute", "unit": "1/min", "lowest": "10"}
    assert line["double_check"] is True and "reviewed_by" not in line
    assert "reviewed by: PH-2, then nothing" in out
    assert "ORD-101: no pharmacist's review is in it" in out
    edit(ward / "unit.toml", "review_expected = true", "review_expected = false")
    assert "no pharmacist's review" not in take(BUNDLE, "--ward", ward)[1]
    assert people(ward)["30011742"]["allergies"][0]["substance"] == "penicillin"


def test_an_order_that_is_over_is_marked_and_nothing_else_of_it_changes(
    ward: Path, tmp_path: Path
) -> None:
    before = orders(ward)["ORD-103"]
    code, _, _ = take(sent(tmp_path, bundle(patient(), request(status="stopped"))), "--into", ward)
    assert code == 0
    assert orders(ward)["ORD-103"] == {**before, "status": "stopped"}
    unknown = sent(tmp_path, bundle(patient(), request(id="X-1", status="completed")))
    code, out, _ = take(unknown, "--into", ward)
    assert code == 0 and "X-1: it is completed, and does not stand here" in out
    assert "X-1" not in orders(ward)


def test_no_order_is_dropped_but_by_its_id(ward: Path) -> None:
    code, out, _ = take(BUNDLE, "--into", ward, "--drop", "ORD-107")
    assert code == 0 and "dropped" in out
    assert "ORD-107" not in orders(ward) and "ORD-102" in orders(ward)
    for id_ in ("ORD-999", "ORD-103"):
        code, _, err = take(BUNDLE, "--ward", ward, "--drop", id_)
        assert code == 2 and "Nothing was taken" in err


CONFLICTS: dict[str, tuple[list[dict[str, Any]], str]] = {
    "another date of birth": (
        [patient(birthDate="1988-12-19"), request()],
        "another date of birth",
    ),
    "another patient's order": ([patient(), request(id="ORD-101")], "for another patient"),
    "an order twice": ([patient(), request(), request()], "Have each sent once"),
    "a dose in a bag": ([patient(), request(id="ORD-402")], "infusion beside it"),
    "a number that is no record number here": (
        [
            patient(
                identifier=[{"system": "https://larkmoor.example/record-number", "value": "NAME"}]
            )
        ],
        "of the form",
    ),
}


@pytest.mark.parametrize(("resources", "words"), CONFLICTS.values(), ids=CONFLICTS)
def test_what_does_not_go_with_what_stands_is_refused(
    ward: Path, tmp_path: Path, resources: list[dict[str, Any]], words: str
) -> None:
    before = (ward / "orders.json").read_bytes()
    code, _, err = take(sent(tmp_path, bundle(*resources)), "--into", ward)
    assert code == 2 and words in err
    assert (ward / "orders.json").read_bytes() == before


def test_an_allergy_that_stands_is_never_taken_away(ward: Path, tmp_path: Path) -> None:
    who = marlow()
    latex = allergy(code={"text": "latex"})
    assert take(sent(tmp_path, bundle(who, latex)), "--into", ward)[0] == 0
    known = people(ward)["30011742"]["allergies"]
    assert [one["substance"] for one in known] == ["latex", "penicillin"]
    assert known[1]["drug_class"] == "penicillins"
    none = {"coding": [{"system": "https://larkmoor.example/allergies", "code": "0"}]}
    code, _, err = take(sent(tmp_path, bundle(who, allergy(code=none))), "--into", ward)
    assert code == 2 and "here stand: latex, penicillin" in err


def test_an_older_weight_does_not_take_the_place_of_a_newer_one(ward: Path, tmp_path: Path) -> None:
    who = marlow()
    old = weight(66, effectiveDateTime="2026-11-01")
    take(sent(tmp_path, bundle(who, old)), "--into", ward)
    assert people(ward)["30011742"]["weight"] == "71 kg"
    code, out, _ = take(sent(tmp_path, bundle(who, weight(70.5))), "--into", ward)
    assert code == 0 and "weight: 71 kg, then 70.5 kg" in out
    assert people(ward)["30011742"]["weight"] == "70.5 kg"


# -- doubts, and who is shown ----------------------------------------------------------------------


def test_every_doubt_is_told_on_stderr_and_nothing_is_taken(ward: Path, tmp_path: Path) -> None:
    bad = bundle(
        patient(), request(), request(id="B", status="actve"), request(id="C", intent="plan")
    )
    before = (ward / "orders.json").read_bytes()
    code, out, err = take(sent(tmp_path, bad), "--into", ward)
    assert code == 2 and (ward / "orders.json").read_bytes() == before
    assert "sent, entry[2].resource.status" in err and "sent, entry[3].resource.intent" in err
    assert "Doubts: 2. Nothing was taken." in err
    assert "ORD-103" in out, "what could be read is shown beside the doubts"
    code, out, _ = take(sent(tmp_path, bad), "--into", ward, "--leave-out", "B", "--leave-out", "C")
    assert code == 0 and out.count("left out") == 2
    code, _, err = take(BUNDLE, "--ward", ward, "--leave-out", "ORD-X")
    assert code == 2 and "not in the file" in err


def test_data_on_stdout_holds_the_same(ward: Path, tmp_path: Path) -> None:
    code, out, _ = take(BUNDLE, "--ward", ward, "--json")
    found = json.loads(out)
    assert code == 0 and found["taken"] is False and not found["doubts"]
    assert {one["order"]: one["what"] for one in found["orders"]}["ORD-131"] == "new"
    code, out, _ = take(sent(tmp_path, bundle(patient(), request(status="x"))), "--json")
    assert code == 2
    assert [one["place"] for one in json.loads(out)["doubts"]] == ["entry[1].resource.status"]


def test_no_name_number_or_birth_date_is_shown(ward: Path, tmp_path: Path) -> None:
    half = bundle(patient(), request(), request(id="B", status="x"))
    shown = "".join(
        "".join(take(file, *more)[1:])
        for file in (BUNDLE, MESSAGE_FILE, sent(tmp_path, half))
        for more in (("--ward", ward), ("--ward", ward, "--json"))
    )
    for word in ("Brask", "Thistlewood", "Dunmow", "30012415", "30019926", "1987-12-19"):
        assert word not in shown, word


FILES = {
    "there is none": None,
    "nothing": "",
    "another list": "[1, 2]",
    "words": "Dear pharmacist",
    "half an object": '{"resourceType": "Bundle"',
    "too deep": '{"a":' * 50_000,
    "a key twice": '{"resourceType": "Bundle", "type": "collection", "type": "history"}',
}


@pytest.mark.parametrize("text", FILES.values(), ids=FILES)
def test_a_file_that_cannot_be_read_is_told(ward: Path, tmp_path: Path, text: str | None) -> None:
    path = tmp_path / "sent" if text is None else sent(tmp_path, text)
    code, _, err = take(path, "--ward", ward)
    assert code == 2 and "sent" in err and "Traceback" not in err


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    code, _, err = take(BUNDLE, "--into", tmp_path / "none")
    assert code == 2 and "There is no folder" in err


# -- without the libraries -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("file", "module", "extra"),
    [(BUNDLE, "fhir.resources", "fhir"), (MESSAGE_FILE, "hl7", "hl7")],
    ids=["fhir", "hl7"],
)
def test_without_the_library_the_extra_is_named(
    file: Path, module: str, extra: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in [name for name in sys.modules if name == module or name.startswith(f"{module}.")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, module, None)
    code, _, err = take(file)
    assert code == 2 and f"checklist[{extra}]" in err
    other = MESSAGE_FILE if file is BUNDLE else BUNDLE
    assert take(other)[0] == 0, "the other standard is read without it"


EXTRAS = (
    "duckdb", "fhir", "hl7", "jinja2", "PIL", "pyarrow", "python_multipart", "starlette", "typst",
    "uvicorn", "vl_convert", "xlsxwriter", "zxingcpp",
)  # fmt: skip
"""Libraries that only extras bring, by the names they are imported under."""


def test_a_dose_is_prepared_without_any_extra(tmp_path: Path) -> None:
    """Scans, sums, stops and trail: the demonstration to its end, with no such library there."""
    script = (
        "import sys\n"
        f"sys.modules.update(dict.fromkeys({EXTRAS!r}))\n"
        "import checklist.faces.order_taking, checklist.faces.giving_back\n"
        "from checklist.faces.cli import main\n"
        f"sys.argv = ['checklist', 'demo', '--fast', '--trail', {str(tmp_path / 'demo.db')!r}]\n"
        "main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False,
        env={**os.environ, "XDG_DATA_HOME": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert ": given" in done.stdout and "whole" in done.stdout


# -- the ward's own table --------------------------------------------------------------------------

TABLES = {
    "a route not known": ('[routes]\n"a|b" = "by magic"\n', "routes, a|b"),
    "a unit easily misread": ('[units]\n"L|U" = "U"\n', "units, L|U"),
    "a fluid that is none here": ('[fluids]\n"a|b" = "seawater"\n', "fluids, a|b"),
    "a vessel that is none": ('[vessels]\n"a|b" = "bucket"\n', "vessels, a|b"),
    "a drug that is none here": ('[drugs]\n"a|b" = "snake oil"\n', "drugs, a|b"),
    "a code without a system": ('[units]\n"MG" = "mg"\n', "units, MG"),
    "a key that is not known": ('[route]\n"a|b" = "oral"\n', "route"),
}


@pytest.mark.parametrize(("text", "place"), TABLES.values(), ids=TABLES)
def test_a_fault_of_the_table_is_told_with_the_wards_other_files(
    ward: Path, text: str, place: str
) -> None:
    (ward / "exchange.toml").write_text(text, encoding="utf-8")
    with pytest.raises(Faults) as told:
        load_ward(ward)
    assert [(one.file, one.place) for one in told.value.faults] == [("exchange.toml", place)]


def test_a_ward_needs_no_table(ward: Path, tmp_path: Path) -> None:
    (ward / "exchange.toml").unlink()
    assert load_ward(ward).exchange == Exchange()
    findings = Findings("x")
    assert exchange_of(tmp_path / "none", findings, None) == Exchange() and not findings.faults
    kind = {"coding": [{"system": "http://terminology.hl7.org/CodeSystem/v2-0203", "code": "MR"}]}
    who = patient(identifier=[{"type": kind, "value": "30012415"}])
    assert take(sent(tmp_path, bundle(who, request())), "--ward", ward)[0] == 0
    assert take(sent(tmp_path, MESSAGE.replace("ORD-103", "ORD-150")), "--ward", ward)[0] == 0


def test_a_route_of_a_licensed_code_system_is_read_only_by_the_wards_table(
    ward: Path, tmp_path: Path
) -> None:
    """No code of SNOMED CT ships; one that a ward writes into its table is read. Made up here."""
    coded = {"coding": [{"system": "http://snomed.info/sct", "code": "999999"}]}
    file = sent(tmp_path, bundle(patient(), dosage(route=coded)))
    code, _, err = take(file, "--ward", ward)
    assert code == 2 and "Put its code in exchange.toml" in err
    edit(ward / "exchange.toml", "[routes]", '[routes]\n"http://snomed.info/sct|999999" = "oral"')
    code, out, _ = take(file, "--ward", ward)
    assert code == 0 and "route: intravenous, then oral" in out


def test_the_project_holds_no_code_of_a_licensed_system() -> None:
    """The published examples stand in the tests without them, too."""
    root = DEMO.parent
    for folder in ("checklist", "demo_db", "workflows"):
        for path in (root / folder).rglob("*"):
            if path.suffix in (".py", ".toml", ".json") and path.is_file():
                text = path.read_text(encoding="utf-8")
                assert not re.search(r"snomed\.info/sct\|\d|snomed\.info/sct\", \"code", text), path
