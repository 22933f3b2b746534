"""Signing in and out at a tablet, and what follows."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.browser import chromium, needs_chromium, served
from tests.browser import sign_in as sign_in_there
from tests.web import make_desk, tablets


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


def test_a_wrong_pin_is_refused_and_recorded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with tablets(desk) as (tablet,):
        answer = tablet.sign_in("RN-12", "111222")
        assert answer.status_code == 422
        assert "does not fit RN-12" in answer.text
        assert "111222" not in answer.text


@needs_chromium
def test_in_a_browser(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with served(make_desk(tmp_path, monkeypatch)) as address, chromium() as browser:
        page = browser.new_page()
        sign_in_there(page, address, "QI-1", path="/help")
        assert page.title().startswith("Help")
        assert "QI-1" in page.locator(".who").inner_text()
