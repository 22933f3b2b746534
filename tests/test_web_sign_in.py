"""Signing in and out at a tablet, and what follows."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from checklist.attendance import NotSignedIn
from checklist.faces.web import session
from checklist.faces.web.tries import MOST_FAILED
from tests.browser import chromium, needs_chromium, served
from tests.browser import sign_in as sign_in_there
from tests.web import PINS, make_desk, tablets
from tests.web_nurse import shift


def test_a_person_signs_in_with_their_pin_and_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with tablets(make_desk(tmp_path, monkeypatch)) as (tablet,):
        assert tablet.get("/").headers["location"] == "/sign-in"
        assert tablet.sign_in("RN-12").headers["location"] == "/"
        assert tablet.get("/").headers["location"] == "/orders"
        assert "RN-12" in tablet.get("/help").text
        assert tablet.post("/sign-out").headers["location"] == "/sign-in?why=out"
        assert tablet.get("/").headers["location"] == "/sign-in"


@pytest.mark.parametrize(
    "badge", ["]d28017952000000000001122", "8017952000000000001122", "952000000000001122"]
)
def test_a_badge_stands_for_the_code_as_a_scanner_sends_it(
    badge: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with tablets(make_desk(tmp_path, monkeypatch)) as (tablet,):
        assert tablet.sign_in(badge, PINS["RN-12"]).headers["location"] == "/"
        assert "RN-12" in tablet.get("/help").text


def test_a_wrong_pin_is_refused_and_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with tablets(desk) as (tablet,):
        answer = tablet.sign_in("RN-12", "111222")
        assert answer.status_code == 422
        assert "does not fit RN-12" in answer.text
        assert "111222" not in answer.text


def test_tries_that_fail_leave_nothing_behind_in_the_server(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with tablets(desk) as (tablet,):
        for code in ("RN-12", "X1", "RN-27", "X2"):
            assert tablet.sign_in(code, "111222").status_code == 422
        assert desk.writer._stations == {}
        tablet.sign_in("RN-12")
        assert tablet.sign_in("RN-27", "111222").status_code == 422
        assert tablet.get("/orders").status_code == 200, "a try at their tablet sent them away"


def test_nobody_at_the_same_address_keeps_a_tablet_of_the_ward_from_signing_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with tablets(make_desk(tmp_path, monkeypatch), 3) as (ours, theirs, fresh):
        ours.sign_in("RN-12")
        ours.post("/sign-out")
        for number in range(MOST_FAILED):
            assert theirs.sign_in(f"X{number}", "1").status_code == 422
        for tablet in (theirs, fresh):
            assert tablet.sign_in("RN-12", PINS["RN-12"]).status_code == 429
        assert ours.sign_in("RN-12", "111222").status_code == 422
        ours.sign_in("RN-12")
        # A cookie that somebody made up is no tablet at which anybody has signed in.
        theirs.cookies.set("tablet", "a" * 43)
        assert theirs.sign_in("RN-12", PINS["RN-12"]).status_code == 429


def test_many_tries_at_once_are_compared_one_after_the_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else all would be compared before the first of them counts, and what a right PIN does before
    the lock (whoever was at that tablet is signed out) would tell it.
    """
    desk = make_desk(tmp_path, monkeypatch)
    tries = desk.ward.unit.pin_tries
    wrong = [f"{number:06d}" for number in range(2 * tries)]

    async def everything() -> list[object]:
        desk.start()
        await desk.sign_in("canary", "W7E-1", "RN-27", PINS["RN-27"])
        asked = [desk.sign_in("another", "W7E-1", "RN-12", pin) for pin in wrong]
        asked.append(desk.sign_in("canary", "W7E-1", "RN-12", PINS["RN-12"]))
        return await asyncio.gather(*asked, return_exceptions=True)

    try:
        came = asyncio.run(everything())
    finally:
        desk.stop()
    assert [type(one) for one in came] == [NotSignedIn] * len(came)
    said = [str(one) for one in came]
    assert sum("does not fit" in one for one in said) == tries - 1
    assert sum("is locked until" in one for one in said) == len(said) - tries + 1
    assert [one.person for one in desk.sessions.all()] == ["RN-27"]


def test_where_too_many_have_signed_in_the_one_longest_away_is_locked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(session, "MOST", 1)
    with shift(tmp_path, monkeypatch, many=2) as (work, (first, second)):
        work.to("set_the_dose")
        second.sign_in("RN-27")
        assert work.kinds()[-1] == "interrupted"
        assert first.get(work.address).headers["location"].startswith("/sign-in")
        assert [one.person for one in work.beside.desk.sessions.all()] == ["RN-27"]
        assert len(work.beside.desk.writer._stations) == 1


@needs_chromium
def test_in_a_browser(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with served(make_desk(tmp_path, monkeypatch)) as address, chromium() as browser:
        page = browser.new_page()
        sign_in_there(page, address, "QI-1", path="/help")
        assert page.title().startswith("Help")
        assert "QI-1" in page.locator(".who").inner_text()
