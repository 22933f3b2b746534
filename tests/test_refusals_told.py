"""What was refused beside preparations can be seen: each act by IT, counts by the quality lead."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from checklist.faces.web.quality.refusals import refusals
from checklist.trail import Trail
from tests.scene import NURSE
from tests.test_cli import call
from tests.web import make_desk, tablets

LEAD = "QI-1"


def test_a_wrong_pin_a_wrong_role_and_a_forged_form_are_listed_and_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with tablets(desk) as (tablet,):
        for _ in range(2):
            assert tablet.sign_in(NURSE, "999999").status_code != 303
        tablet.sign_in(LEAD)
        assert tablet.get("/orders").status_code == 403
        tablet.post("/quality/trail/look", headers={"Origin": "https://elsewhere.example"})
        page = tablet.get("/quality/trail").text
        part = page.partition("Refused in the last 30 days")[2].partition("What this cannot")[0]
        for words in ("the PIN did not fit", "act that no role", "form that no page of ours sends"):
            assert words in part
        assert part.count("<tr>") == 4 and '<td class="n">2</td>' in part
        assert NURSE not in part and LEAD not in part
        now = desk.clock()
        with Trail.open(desk.trail_path, read_only=True) as trail:
            assert sum(one.count for one in refusals(trail, now - timedelta(days=30))) == 4
            assert refusals(trail, now + timedelta(days=1)) == []
    code, said, _ = call("trail", "acts", "--trail", desk.trail_path, "--only", "not_signed_in")
    assert code == 0 and said.count("why pin") == 2 and NURSE in said
    _, newest, _ = call("trail", "acts", "--trail", desk.trail_path, "--last", 1, "--json")
    (one,) = json.loads(newest)
    assert {"at", "kind", "by", "station", "body"} == set(one)


def test_a_kind_that_there_is_not_is_told_with_those_there_are() -> None:
    code, _, said = call("trail", "acts", "--only", "sign_in")
    assert code == 2 and "sign_in is no kind" in said and "not_signed_in" in said
