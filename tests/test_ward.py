"""A ward's good files: read exactly, digested, and read again."""

from __future__ import annotations

import hashlib
import tomllib
from datetime import UTC, date, datetime
from fractions import Fraction
from pathlib import Path

import pytest
from biip.gs1_prefixes import GS1Prefix

from checklist.intake.fault import Faults
from checklist.intake.route import ROUTES, route_of
from checklist.intake.ward import load_ward, reload_orders
from checklist.interop.gs1 import PersonKind, scan
from checklist.interop.gtin import checks_out
from checklist.people import Role
from checklist.quantity import Concentration, Quantity
from checklist.unit import SignIn
from checklist.verdict import Tier
from tests.wards import DEMO, ORDERS, copied, edit, load

TODAY = date(2026, 11, 25)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the demonstration ward that a test may spoil."""
    return copied(tmp_path)


def test_the_demonstration_ward_is_read_without_a_fault(folder: Path) -> None:
    ward = load(folder)
    assert ward.unit.name == "Ward 7 East"
    assert ward.unit.rounding_warn == Fraction(5, 100)
    assert ward.unit.weight_max_age == Quantity.of("168", "h")
    assert ward.unit.raised == {"patency_unconfirmed": Tier.HARD}
    assert ward.unit.sign_in_with is SignIn.PIN
    assert ward.staff["TN-3"].roles == (Role.TRAINEE,)
    assert ward.staff["CA-5"].roles == ()
    assert ward.staff["RN-12"].competent["controlled"] == date(2027, 3, 31)
    assert not ward.staff["RN-08"].active
    assert ward.formulary.products["09520007300312"].strength == Concentration.parse("10 mg/mL")
    assert ward.formulary.drugs["gentamicin"].dose.usual_high == Quantity.of("2", "mg/kg")
    assert ward.patients["P-301"].birth_date == date(1958, 3, 14)


def test_every_digest_is_that_of_the_bytes_of_its_file(folder: Path) -> None:
    ward = load(folder)
    for name, digest in (
        ("unit.toml", ward.unit.digest),
        ("formulary.toml", ward.formulary.digest),
        ("orders.json", ward.orders_digest),
    ):
        assert digest == hashlib.sha256((folder / name).read_bytes()).hexdigest()
    assert ward.unit.text.encode() == (folder / "unit.toml").read_bytes()
    assert ward.formulary_text.encode() == (folder / "formulary.toml").read_bytes()


def test_the_demonstration_ward_agrees_with_the_checks_that_exist(folder: Path) -> None:
    from checklist.checks import REASONS

    assert load_ward(folder).unit.raised.keys() <= REASONS.keys()


def test_an_order_keeps_its_own_text_beside_its_meaning(folder: Path) -> None:
    order = load(folder).orders["ORD-101"]
    assert (order.dose, order.route) == (Quantity.of("7.5", "mg"), "IV")
    assert order.due == datetime(2026, 11, 25, 14, 20, tzinfo=UTC)
    assert order.written == {
        "drug": "morphine",
        "dose": "7.5 mg",
        "route": "intravenous",
        "frequency": "once",
    }
    assert order.hold is not None
    assert order.hold.lowest == Quantity.of("10", "1/min")


def test_a_dose_by_body_weight_is_kept_apart_from_a_dose(folder: Path) -> None:
    order = load(folder).orders["ORD-105"]
    assert (order.dose, order.dose_per_weight) == (None, Quantity.of("1.5", "mg/kg"))


def test_a_trailing_zero_leaves_the_dose_empty_with_its_sentence(folder: Path) -> None:
    order = load(folder).orders["ORD-106"]
    assert order.dose is None
    assert "zero after the point" in order.unreadable["dose"]
    assert order.written["dose"] == "4.0 mg"


def test_demonstration_item_numbers_carry_the_demonstration_prefix_and_fit() -> None:
    # The prefix table of a general-purpose library: 952 is for demonstrations of the system.
    codes = [code for code in load(DEMO).formulary.products if code.isdecimal()]
    assert len(codes) > 8
    for code in codes:
        prefix = GS1Prefix.extract(code[1:])
        assert prefix is not None
        assert (prefix.value, checks_out(code)) == ("952", True)
        assert "demonstration" in prefix.usage.lower()


def test_every_code_of_the_scenario_is_read_and_known_to_the_ward() -> None:
    ward = load(DEMO)
    scenario = tomllib.loads((DEMO / "scenario.toml").read_text())
    assert datetime.fromisoformat(scenario["start"]).tzinfo is UTC
    assert scenario["preparer"] in ward.staff
    assert scenario["order"] in ward.orders
    assert scenario["station"] in ward.unit.stations
    lots = set()
    for code in scenario["label"].values():
        product = scan(code, today=TODAY).product
        assert product is not None
        assert product.code in ward.formulary.products
        assert product.expiry is not None
        lots.add(f"{product.code}/{product.lot}")
    assert ward.unit.recalled <= lots
    for owner, code in scenario["band"].items():
        person = scan(code, today=TODAY).person
        assert person is not None
        assert (person.kind, (person.number,)) == (
            PersonKind.PATIENT,
            ward.patients[owner].band_numbers,
        )
    for owner, code in scenario["badge"].items():
        person = scan(code, today=TODAY).person
        assert person is not None
        assert (person.kind, person.number) == (PersonKind.STAFF, ward.staff[owner].badge)


def test_orders_can_be_read_again_and_the_rest_stays(folder: Path) -> None:
    ward = load(folder)
    edit(folder / ORDERS, '"status": "active"', '"status": "stopped"')
    again = reload_orders(ward)
    assert ward.orders["ORD-101"].status == "active"
    assert again.orders["ORD-101"].status == "stopped"
    assert again.formulary is ward.formulary
    assert again.orders_digest != ward.orders_digest


def test_a_fault_in_orders_read_again_raises_and_leaves_the_ward_as_it_was(folder: Path) -> None:
    ward = load(folder)
    edit(folder / ORDERS, '"30012415"', '"3001241"')
    with pytest.raises(Faults, match=r"unit\.toml gives"):
        reload_orders(ward)
    assert ward.orders["ORD-101"].status == "active"


def test_a_route_is_known_by_its_code_or_in_words_and_never_by_a_guess() -> None:
    assert [route_of(code) for code in ROUTES] == list(ROUTES)
    assert route_of("by  mouth") == route_of("Oral") == "PO"
    # Joint Commission and ISMP lists of error-prone abbreviations: none of these is a route here.
    assert {route_of(text) for text in ("SQ", "sub q", "IN", "IJ", "OJ", "AD", "OS", "iv")} == {""}
