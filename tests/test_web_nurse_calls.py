"""A dose called for in an emergency: begun at the tablet in one form, said back, made good."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from checklist.verdict import Remedy
from checklist.way_in import EMERGENCY
from tests import way_answers  # noqa: F401  (the right answers for an emergency)
from tests.faces import ROOT
from tests.scene import CALLS, COLLEAGUE, NURSE
from tests.test_terminal_calls import VIAL
from tests.web import Tablet, tablets
from tests.web_nurse import Shift, desk_and_clock, faults, words

CALL = CALLS["CALL-1"]
RIGHT = {
    "patient": CALL.patient, "drug": CALL.drug, "route": CALL.route, "leader": CALL.leader,
    "call.dose": "600 microgram", "call.dose.said": "600 microgram",
}  # fmt: skip
WRITTEN = {
    "id": "ORD-491", "patient": "P-302", "drug": "atropine", "dose": "600 microgram",
    "route": "intravenous", "form": "solution for injection", "frequency": "once",
    "status": "active", "prescriber": "DR-4", "indication": "emergency",
}  # fmt: skip


@dataclass
class Ward:
    """A ward of the test's own with one tablet, at which the nurse has signed in."""

    folder: Path
    shift: Shift
    tablet: Tablet

    def sent(self, changes: Mapping[str, str | None] | None = None, once: str = "") -> Any:
        """Send the form of a fresh page, some of it changed or (None) left out."""
        page = self.tablet.get("/called").text
        made = re.search(r'name="once" value="([\w-]+)"', page)
        assert made is not None
        form = {**RIGHT, **(changes or {}), "once": once or made[1]}
        return self.tablet.post("/called", data={k: v for k, v in form.items() if v is not None})

    def kinds(self) -> list[str]:
        """The kinds of all entries that belong to a preparation."""
        return [one.event.kind for one in self.shift.beside.trail.since(0) if one.event.preparation]

    def write(self, **changes: str) -> None:
        """The leader writes the call into the record."""
        path = self.folder / "orders.json"
        orders = json.loads(path.read_text("utf-8"))
        orders["orders"] = [one for one in orders["orders"] if one["id"] != WRITTEN["id"]]
        orders["orders"].append({**WRITTEN, **changes})
        path.write_text(json.dumps(orders), encoding="utf-8")


@pytest.fixture
def ward(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Ward]:
    folder = tmp_path / "ward"
    shutil.copytree(ROOT / "demo_db", folder, ignore=shutil.ignore_patterns("year"))
    desk, clock = desk_and_clock(tmp_path, monkeypatch, ward=folder)
    with tablets(desk) as [tablet]:
        one = Shift(desk, tablet, "CALL-1", clock)
        tablet.sign_in(NURSE)
        try:
            yield Ward(folder, one, tablet)
        finally:
            one.beside.close()


def test_a_call_is_begun_in_two_presses_said_back_and_made_good_afterwards(ward: Ward) -> None:
    orders = ward.tablet.get("/orders?patient=P-302").text
    assert 'href="/called?patient=P-302"' in orders
    page = ward.tablet.get("/called?patient=P-302").text
    assert "<option selected>P-302</option>" in page
    assert "Your unit's own emergency rules come first." in words(page)
    answer = ward.sent()
    assert answer.status_code == 303
    one = ward.shift
    one.beside.id = answer.headers["location"].rpartition("/")[2]
    order = one.screen.prep.order
    assert (order.called, order.prescriber, str(order.dose)) == (True, "DR-4", "600 microgram")
    assert one.screen.prep.place == "hear_the_leader"
    assert one.beside.station.rules_of(one.screen.prep.workflow).workflow.container == EMERGENCY
    # Said back wrongly, or without the leader's word, nothing is drawn.
    for wrong in (
        {"heard_dose": "60 microgram"},
        {"heard_drug": "adrenaline"},
        {"said_back": "said back, no answer came"},
        {"leader": COLLEAGUE},
    ):
        answer = one.attempt(wrong)
        assert answer.status_code == 303, faults(answer.text)
        assert one.screen.stands == "refused", wrong
        way = next(way for way in one.screen.ways if way is not Remedy.STOP)
        assert one.send("remedy", remedy=way.value).status_code == 303
    one.to("have_the_order_written")
    assert "given_volume" in {name for seen in one.screen.prep.seen.values() for name in seen}, (
        "the dose is in"
    )
    # It is not over before the call is an order of the record, and reviewed.
    for act in (None, {}, {"reviewed_by": "PH-2", "dose": "60 microgram"}):
        if act is not None:
            ward.write(**act)
        assert one.attempt().status_code == 303
        assert [told.code for told in one.screen.reasons] == ["emergency_not_completed"]
        assert one.send("remedy", remedy="recheck").status_code == 303
    ward.write(reviewed_by="PH-2")
    one.finish()
    assert one.place == "given"
    assert one.beside.trail.verify().whole


WRONG: dict[str, tuple[dict[str, str | None], str, str]] = {
    "no patient": ({"patient": ""}, "patient", "Choose one."),
    "a stranger": ({"patient": "P-999"}, "patient", "Choose one."),
    "no drug": ({"drug": None}, "drug", "Choose one."),
    "a drug of no kit": ({"drug": "vasopressin"}, "drug", "Choose one."),
    "no route": ({"route": None}, "route", "Choose one."),
    "a route without such items": ({"route": "IT"}, "route", "Choose one."),
    "no leader": ({"leader": " "}, "leader", "No answer yet."),
    "a leader nobody knows": ({"leader": "RN-99"}, "leader", ""),
    "the preparer leads": ({"leader": NURSE}, "leader", "somebody else has to lead"),
    "one who may not lead": ({"leader": "QI-1"}, "leader", "QI-1 may not lead an emergency here"),
    "no dose": ({"call.dose": ""}, "dose", "No answer yet."),
    "no unit": ({"call.dose": "600"}, "dose", ""),
    "a bare point": ({"call.dose": ".6 mg"}, "dose", ""),
    "a zero behind": ({"call.dose": "600.0 microgram"}, "dose", ""),
    "markup": ({"leader": "<script>alert(1)</script>"}, "leader", ""),
}


def test_what_cannot_be_taken_is_told_at_its_part_and_nothing_is_begun(ward: Ward) -> None:
    for name, (changes, part, said) in WRONG.items():
        answer = ward.sent(changes)
        assert answer.status_code == 422, name
        assert f'<li><a href="#call-{part}">{part.capitalize()}</a>: ' in answer.text, name
        assert said in words(answer.text), (name, faults(answer.text))
        assert answer.text.count('class="error"') == 1, name
        assert "<script>alert" not in answer.text
        for kept in ("patient", "leader"):
            value = {**RIGHT, **changes}[kept]
            if kept not in changes and value:
                assert value in answer.text, (name, kept)
    assert ward.kinds() == []


def test_a_dose_counts_once_its_words_were_shown(ward: Ward) -> None:
    answer = ward.sent({"call.dose.said": ""})
    assert answer.status_code == 200 and "six hundred micrograms" in words(answer.text)
    assert ward.kinds() == []


def test_one_form_sent_twice_begins_one_dose_and_a_made_up_form_none(ward: Ward) -> None:
    once = "a" * 22
    with ThreadPoolExecutor(2) as both:
        sent = [both.submit(ward.sent, None, once) for _ in range(2)]
        ways = {one.result().headers["location"] for one in sent}
    assert len(ways) == 1
    assert ward.sent(once=once).headers["location"] in ways
    assert ward.kinds() == ["opened"]
    for bad in ("short", "a" * 65, "a b" * 8):
        assert ward.sent(once=bad).status_code == 400, bad
    assert ward.kinds() == ["opened"]
    assert ward.sent().status_code == 303 and ward.kinds() == ["opened", "opened"]


def test_a_call_is_for_people_who_may_prepare(ward: Ward) -> None:
    ward.tablet.sign_in("QI-1")
    assert ward.tablet.get("/called").status_code == 403
    ward.tablet.post("/sign-out")
    assert ward.tablet.get("/called").headers["location"].startswith("/sign-in")
    assert ward.tablet.post("/called", data=RIGHT).headers["location"] == "/sign-in"


def test_a_ward_without_the_workflow_offers_no_call_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk, _ = desk_and_clock(tmp_path, monkeypatch)
    from checklist import library

    kept = library.of_ward(desk.folder)
    without = {name: one for name, one in kept[0].items() if one.container != EMERGENCY}
    monkeypatch.setattr(library, "of_ward", lambda folder: (without, kept[1]))
    with tablets(desk) as [tablet]:
        tablet.sign_in(NURSE)
        assert "/called" not in tablet.get("/orders").text
        answer = tablet.get("/called")
        assert answer.status_code == 404 and "your unit's own rules" in words(answer.text)


def test_a_drug_in_several_containers_asks_which_is_in_the_hand(ward: Ward) -> None:
    with (ward.folder / "formulary.toml").open("a", encoding="utf-8") as file:
        file.write(VIAL)
    ward.shift.beside.desk.files.now()
    page = ward.tablet.post("/called", data={**RIGHT, "once": "a" * 20})
    assert page.status_code == 422 and "Which container is in your hand?" in words(page.text)
    assert 'name="source" value="single_dose_vial"' in page.text and ward.kinds() == []
    assert ward.sent({"source": "patch"}).status_code == 422 and ward.kinds() == []
    answer = ward.sent({"source": "single_dose_vial"})
    assert answer.status_code == 303
    ward.shift.beside.id = answer.headers["location"].rpartition("/")[2]
    opening = ward.shift.beside.station.entries(ward.shift.id)[0].event
    assert "single_dose_vial" in str(opening.body)
