"""`checklist orders give-back`: what a preparation came to, as FHIR, with the trail's figures."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from typer.testing import CliRunner

from checklist import codec
from checklist.exchange.exact_json import written
from checklist.exchange.fhir_given import quantity
from checklist.exchange.structure import R4, R5, sound
from checklist.faces.cli import app
from checklist.intake.fault import Bare, Findings
from checklist.intake.orders import ordered_dose
from checklist.intake.page import records
from checklist.intake.ward import load_ward
from checklist.order import Order
from checklist.trail import Trail
from tests.faces import canaries
from tests.records import bundle, decimals, dosage, dose, patient, read
from tests.scene import COLLEAGUE, LABELS, NURSE, START, Scene
from tests.test_mixtures import AMPOULES, VIAL_FIRST
from tests.test_orders_taken import orders, sent, take
from tests.wards import DEMO

PLAYED = (
    "ORD-101", "ORD-103", "ORD-203", "ORD-205", "ORD-206", "ORD-208", "ORD-302", "ORD-304",
    "ORD-305", "ORD-307", "ORD-310", "ORD-401", "ORD-405", "ORD-407", "ORD-423",
    AMPOULES, VIAL_FIRST,
)  # fmt: skip
"""One order of each kind of container, given to the end."""


def give_back(*words: object, text: str = "") -> tuple[int, str, str]:
    """Exit code, stdout and stderr of `checklist orders give-back`."""
    told = ["orders", "give-back", *map(str, words)]
    done = CliRunner().invoke(app, told, env={"COLUMNS": "100"}, input=text)
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.stdout, done.stderr


def played(folder: Path, order_id: str, **more: Any) -> Scene:
    """A preparation that is given to the end; its trail is closed."""
    scene = Scene(folder, order_id, **more)
    scene.open()
    scene.finish()
    scene.trail.close()
    return scene


def exact(text: str) -> Any:
    """JSON with each number as it is written."""
    findings = Findings("x")
    data = records(text, findings)
    assert data is not None and not findings.faults
    return data


def told(scene: Scene, *words: object, ward: Path = DEMO) -> list[dict[str, Any]]:
    """The resources of the Bundle, numbers as they are written."""
    trail = scene.folder / "trail.db"
    code, out, err = give_back(scene.id, "--trail", trail, "--ward", ward, *words)
    assert code == 0, err
    return [one["resource"] for one in exact(out)["entry"]]


def of(resources: Sequence[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    """Those of one kind."""
    return [one for one in resources if one["resourceType"] == kind]


@pytest.fixture(autouse=True)
def own_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keys and remembered heads of each test are its own."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


@pytest.fixture(scope="module")
def morphine(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    """A controlled drug, given before a witness."""
    return played(tmp_path_factory.mktemp("morphine"), "ORD-101")


# -- what is told ----------------------------------------------------------------------------------


@pytest.mark.parametrize("order_id", PLAYED)
def test_each_kind_of_dose_is_told_with_the_ordered_amount(order_id: str, tmp_path: Path) -> None:
    scene = played(tmp_path, order_id)
    whole, people = scene.whole, scene.ward.patients
    found = of(told(scene), "MedicationAdministration")
    wanted = {whole.drug: whole.dose} | (
        {whole.second.drug: whole.second.dose} if whole.second else {}
    )
    if whole.dose_per_weight is not None:
        weight = people[whole.patient].weight
        assert weight is not None
        wanted[whole.drug] = whole.dose_per_weight * weight
    assert len(found) == len(wanted)
    for one in found:
        (drug,) = one["contained"]
        amount = wanted[drug["code"]["text"]]
        assert amount is not None
        given_ = one["dosage"]["dose"]
        assert f"{given_['value'].text} {given_['code']}" == amount.code
        assert one["status"] == "completed"
        label = LABELS.get(f"{order_id}@first") if whole.second else LABELS[order_id]
        assert drug["batch"]["lotNumber"] and drug["batch"]["expirationDate"] >= "2026-11-25"
        if label and label.startswith("]d2") and not whole.second:
            assert drug["identifier"] == [
                {"system": "https://www.gs1.org/gtin", "value": label[5:19]}
            ]
            assert label.endswith(drug["batch"]["lotNumber"])


def test_preparer_and_second_person_are_two_agents(morphine: Scene) -> None:
    found = told(morphine)
    (given_,) = of(found, "MedicationAdministration")
    (audit,), (provenance,) = of(found, "AuditEvent"), of(found, "Provenance")
    functions = [one["function"]["coding"][0]["code"] for one in given_["performer"]]
    assert functions == ["performer", "witness"]
    assert [one["altId"] for one in audit["agent"]] == [NURSE, COLLEAGUE]
    assert [one["requestor"] for one in audit["agent"]] == [True, False]
    assert [one["role"][0]["text"] for one in audit["agent"]] == ["preparer", "witness"]
    who = [one["who"]["identifier"]["value"] for one in provenance["agent"]]
    kinds = [one["type"]["coding"][0]["code"] for one in provenance["agent"]]
    assert who == [NURSE, COLLEAGUE] and kinds == ["performer", "attester"]


def test_the_audit_event_says_who_what_when_and_how_it_came_out(morphine: Scene) -> None:
    (audit,) = of(told(morphine), "AuditEvent")
    with Trail.open(morphine.folder / "trail.db", read_only=True) as trail:
        entries = trail.of(morphine.id)
    assert audit["outcome"] == "0" and audit["action"] == "C"
    assert audit["period"] == {"start": "2026-11-25T14:00:00Z", "end": "2026-11-25T14:10:20Z"}
    assert audit["recorded"] == "2026-11-25T14:10:20Z"
    roles = [one["role"]["code"] for one in audit["entity"]]
    # Object roles of FHIR R4: 1 patient, 20 job (the order), 4 domain resource.
    assert roles[:3] == ["1", "20", "4"]
    details = {one["type"]: one["valueString"] for one in audit["entity"][2]["detail"]}
    assert details["last digest"] == entries[-1].digest.hex()
    assert (details["first entry"], details["last entry"]) == (
        str(entries[0].seq),
        str(entries[-1].seq),
    )
    assert audit["source"]["observer"]["identifier"]["value"] == "T-1"


def test_the_provenance_names_the_head_of_the_chain_and_signs_nothing(morphine: Scene) -> None:
    (provenance,) = of(told(morphine), "Provenance")
    with Trail.open(morphine.folder / "trail.db", read_only=True) as trail:
        head = trail.head()
    assert "signature" not in provenance
    last = provenance["entity"][-1]["what"]
    assert last["identifier"]["value"] == head.digest.hex()
    assert last["display"] == f"entry {head.seq} of trail T-1, head"
    assert provenance["entity"][0]["what"] == {"reference": "MedicationRequest/ORD-101"}


def test_the_same_preparation_has_the_same_ids_each_time(morphine: Scene) -> None:
    one, other = told(morphine), told(morphine)
    assert [a["id"] for a in one] == [b["id"] for b in other]
    assert len({a["id"] for a in one}) == len(one)


def test_a_part_that_went_in_is_told_as_that_part(tmp_path: Path) -> None:
    scene = Scene(tmp_path, "ORD-103")
    scene.open()
    scene.to("give_the_dose")
    scene.attempt({"given_volume": "1.5"})
    scene.station.proceed(scene.id, "looked_again", NURSE)
    scene.finish()
    scene.trail.close()
    (found,) = of(told(scene), "MedicationAdministration")
    assert found["dosage"]["dose"]["value"] == Bare("3")
    assert found["dosage"]["text"].startswith("1.5 mL of 4 mg in 2 mL")


@pytest.mark.parametrize(
    ("step", "status", "place"),
    [("read_the_order", "not-done", "abandoned"), ("label_it", "not-done", "discarded")],
)
def test_what_was_not_given_is_told_as_not_done(
    tmp_path: Path, step: str, status: str, place: str
) -> None:
    scene = Scene(tmp_path, "ORD-103")
    scene.open()
    spots = scene.station.rules_of(scene.station.find(scene.id).workflow).layout.spots
    scene.to(step if step in spots else "draw_up")
    scene.station.end(scene.id, "patient_declined", NURSE)
    while not scene.station.find(scene.id).closed:
        scene.on()
    scene.trail.close()
    found = told(scene)
    (one,), (audit,) = of(found, "MedicationAdministration"), of(found, "AuditEvent")
    assert one["status"] == status and "dosage" not in one
    assert one["statusReason"] == [{"text": f"{place}: patient declined"}]
    assert set(one["effectivePeriod"]) == {"start", "end"}
    assert audit["outcome"] == "4" and audit["outcomeDesc"] == f"{place}: patient declined"


def test_a_dose_that_was_called_for_names_no_request(tmp_path: Path) -> None:
    found = told(played(tmp_path, "CALL-1"))
    (one,) = of(found, "MedicationAdministration")
    assert "request" not in one
    assert not [
        e for a in of(found, "AuditEvent") for e in a["entity"] if e["role"]["code"] == "20"
    ]


# -- structure, in both releases -------------------------------------------------------------------


@pytest.mark.parametrize("release", [R4, R5])
@pytest.mark.parametrize("order_id", ["ORD-101", AMPOULES, "ORD-401"])
def test_the_bundle_is_one_by_the_library_that_knows_the_standard(
    order_id: str, release: str, tmp_path: Path
) -> None:
    from importlib import import_module

    scene = played(tmp_path, order_id)
    trail = tmp_path / "trail.db"
    code, out, _ = give_back("last", "--trail", trail, "--release", release)
    assert code == 0
    package = "fhir.resources.R4B" if release == R4 else "fhir.resources"
    whole = import_module(f"{package}.bundle").Bundle.model_validate_json(out)
    assert len(whole.entry) == (4 if scene.whole.second else 3)


def test_a_resource_of_one_release_is_refused_by_the_other(morphine: Scene) -> None:
    (audit,) = of(told(morphine), "AuditEvent")
    findings = Findings("x")
    assert sound("AuditEvent", audit, "", findings, R4) and not findings.faults
    assert not sound("AuditEvent", audit, "", findings, R5) and findings.faults


# -- round trip ------------------------------------------------------------------------------------


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(decimals)
def test_every_dose_comes_back_with_the_same_figures(tmp_path: Path, text: str) -> None:
    """FHIR in, the order as it stands in a trail, FHIR out; no step between keeps a float."""
    order = dosage(doseAndRate=[{"doseQuantity": dose(Bare(text))}])
    taken, faults = read(tmp_path, bundle(patient(), order))
    assert not faults
    line = Order(id="X", patient="P-1", dose=ordered_dose(taken.orders[0]["dose"]))
    kept = codec.order_in(codec.body(codec.text(codec.order_out(line))))
    assert kept.dose is not None
    assert f'"value": {text},' in written(quantity(kept.dose))


@pytest.mark.parametrize("text", ["15", "12.6", "22.5", "10.2"])
def test_an_order_comes_in_is_prepared_and_given_and_goes_out(text: str, tmp_path: Path) -> None:
    ward = tmp_path / "ward"
    shutil.copytree(DEMO, ward)
    file = sent(tmp_path, bundle(halden(), ketorolac(text)))
    code, out, _ = take(file, "--into", ward)
    assert code == 0 and "No code of the prescriber" not in out
    assert orders(ward)["ORD-104"]["dose"] == f"{text} mg"
    scene = played(tmp_path, "ORD-104", ward=load_ward(ward), now=START)
    (found,) = of(told(scene, ward=ward), "MedicationAdministration")
    came = exact(file.read_text(encoding="utf-8"))["entry"][1]["resource"]
    (asked,) = came["dosageInstruction"][0]["doseAndRate"]
    assert found["dosage"]["dose"] == asked["doseQuantity"]
    assert found["request"] == {"reference": f"MedicationRequest/{came['id']}"}
    volume = Fraction(found["dosage"]["text"].partition(" ")[0])
    assert volume == Fraction(text) / 30, "30 mg in 1 mL"


def halden() -> dict[str, Any]:
    """A patient of the demonstration ward."""
    number = {"system": "https://larkmoor.example/record-number", "value": "30012936"}
    return patient(
        identifier=[number],
        name=[{"text": "Halden Mossey"}],
        birthDate="1979-05-27",
        gender="male",
    )


def ketorolac(text: str) -> dict[str, Any]:
    """ORD-104 as the hospital's record sends it, with this dose in mg."""
    order = dosage(
        doseAndRate=[{"doseQuantity": dose(Bare(text))}],
        route={"text": "Intramuscular route"},
        site={"text": "deltoid"},
        timing={"event": ["2026-11-25T14:40:00Z"]},
    )
    prescriber = {"system": "https://larkmoor.example/staff", "value": "DR-4"}
    return {
        **order,
        "id": "ORD-104",
        "medicationCodeableConcept": {"text": "ketorolac"},
        "requester": {"identifier": prescriber},
    }


# -- names -----------------------------------------------------------------------------------------


def test_no_name_goes_out_unasked(morphine: Scene) -> None:
    _, out, err = give_back("last", "--trail", morphine.folder / "trail.db", "--ward", DEMO)
    assert not [one for one in canaries() if one in out + err]


def test_names_go_out_with_leave_and_that_is_recorded(tmp_path: Path) -> None:
    scene = played(tmp_path, "ORD-101")
    trail, file = tmp_path / "trail.db", tmp_path / "out.json"
    words = ("last", "--trail", trail, "--ward", DEMO, "--names")
    for more, pin in (((), ""), (("--as", "RN-12"), "270612"), (("--as", "PH-2"), "000000")):
        code, out, err = give_back(*words, *more, text=f"{pin}\n")
        assert (code, out) == (2, "") and err
    code, _, err = give_back(*words, "--as", "PH-2", "--out", file, text="270602\n")
    assert code == 0, err
    data = exact(file.read_text(encoding="utf-8"))
    (given_,) = of([one["resource"] for one in data["entry"]], "MedicationAdministration")
    assert given_["subject"]["display"] == "Marlow Quennell"
    assert given_["subject"]["identifier"]["value"] == "30011742"
    staff = scene.ward.staff
    assert [one["actor"]["display"] for one in given_["performer"]] == [
        staff[NURSE].name,
        staff[COLLEAGUE].name,
    ]
    assert file.stat().st_mode & 0o077 == 0
    with Trail.open(trail, read_only=True) as kept:
        (asked,) = kept.acts(("names_shown",))
    assert asked.event.by == "PH-2"
    assert asked.event.body == {"preparation": scene.id, "what": "orders give-back"}


# -- what cannot be given back ---------------------------------------------------------------------


def test_one_that_is_still_under_way_is_refused(tmp_path: Path) -> None:
    scene = Scene(tmp_path, "ORD-103")
    scene.open()
    scene.to("draw_up")
    scene.trail.close()
    code, out, err = give_back("last", "--trail", tmp_path / "trail.db")
    assert (code, out) == (2, "") and "still under way, at draw_up" in err


def test_a_file_that_is_there_is_left_alone(morphine: Scene, tmp_path: Path) -> None:
    file = tmp_path / "out.json"
    file.write_text("mine", encoding="utf-8")
    trail = morphine.folder / "trail.db"
    code, _, err = give_back("last", "--trail", trail, "--out", file)
    assert code == 2 and "there already" in err
    assert file.read_text(encoding="utf-8") == "mine"
    for release in ("R3", "r4", ""):
        assert give_back("last", "--trail", trail, "--release", release)[0] == 2


def test_practice_is_marked_as_test_data(tmp_path: Path) -> None:
    (tmp_path / "practice").mkdir()
    scene = Scene(tmp_path / "practice", "ORD-103")
    scene.open()
    scene.finish()
    scene.trail.close()
    found = told(scene)
    marks = [[one["code"] for one in resource["meta"]["security"]] for resource in found]
    assert marks == [["HTEST"]] * 3


def test_without_the_library_the_extra_is_named(
    morphine: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in [name for name in sys.modules if name.startswith("fhir.resources")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "fhir.resources", None)
    code, out, err = give_back("last", "--trail", morphine.folder / "trail.db")
    assert (code, out) == (2, "") and "checklist[fhir]" in err
