"""The ward's screens for the tests: a desk on a folder of its own, and people who sign in there."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from checklist import library
from checklist.faces.scenario import read_scenario
from checklist.faces.web.app import make_app
from checklist.faces.web.desk import Desk
from checklist.faces.web.setting_up import desk_for
from checklist.interop.scanner import SOUND

PINS = read_scenario(library.folder("demo_db")).pins
ADDRESS = "http://127.0.0.1"
TRIED = replace(SOUND, tried_at="2026-11-25T13:00:00Z", by="AD-1")


def make_desk(
    home: Path, monkeypatch: pytest.MonkeyPatch, *, ward: Path | None = None, **more: Any
) -> Desk:
    """A desk of the demonstration ward, or of a folder's in practice, whose trail, keys and heads
    lie in a folder of the test. The scanners of its places were tried and are sound.
    """
    monkeypatch.setenv("CHECKLIST_KEYS", str(home / "keys"))
    monkeypatch.setenv("CHECKLIST_CHECKPOINTS", str(home / "heads"))
    monkeypatch.setenv("XDG_DATA_HOME", str(home / "data"))
    desk = desk_for(ward, home / "trail.db", practice=True, **more)
    (home / "data" / "checklist").mkdir(parents=True, exist_ok=True)
    for place in desk.ward.unit.stations:
        desk.scanners.keep(place, TRIED, between=lambda: None)
    return desk


class Tablet(TestClient):
    """A browser of the tests: it sends what a browser of the same site sends."""

    def __init__(self, desk: Desk, app: Any) -> None:
        super().__init__(
            app,
            base_url=ADDRESS,
            headers={"Origin": ADDRESS, "Sec-Fetch-Site": "same-origin"},
            follow_redirects=False,
            raise_server_exceptions=True,
        )
        self.desk = desk

    def sign_in(self, code: str, pin: str = "", *, place: str = "W7E-1", next_: str = "/") -> Any:
        """Sign a person in with the PIN that the demonstration prints."""
        data = {"code": code, "pin": pin or PINS.get(code, ""), "place": place, "next": next_}
        answer = self.post("/sign-in", data=data)
        if not pin:
            assert answer.status_code == 303, answer.text
        return answer


@contextmanager
def tablets(desk: Desk, count: int = 1) -> Iterator[list[Tablet]]:
    """Some tablets at one desk, while it works."""
    app = make_app(desk)
    with Tablet(desk, app) as first:
        yield [first, *(Tablet(desk, app) for _ in range(count - 1))]
