"""The one who writes: acts committed together, trouble told to all, nothing acknowledged lost."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from checklist import library
from checklist.faces.cli import app
from checklist.faces.web.desk import LOCKED, Desk
from checklist.faces.web.ward_files import WardFiles
from checklist.heads import HeadLost
from checklist.intake.fault import Faults
from checklist.station import NotHere, Station
from checklist.trail import Trail, TrailUnwritable
from checklist.trail_connection import Connection
from tests.faces import ROOT
from tests.scene import COLLEAGUE, NURSE
from tests.web import PINS, make_desk, tablets
from tests.web_nurse import Shift, desk_and_clock


def at_work(desk: Desk, act: Callable[[], Any]) -> Any:
    """Run something while the desk works, in a loop of its own."""
    desk.start()
    try:
        return asyncio.run(act())
    finally:
        desk.stop()


def commits(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Counts the transactions that acts share, from now on."""
    usual, seen = Connection.together, [0]

    def counted(self: Connection) -> Any:
        seen[0] += 1
        return usual(self)

    monkeypatch.setattr(Connection, "together", counted)
    return seen


def test_acts_that_wait_together_are_one_commit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk, seen = make_desk(tmp_path, monkeypatch), commits(monkeypatch)
    held = threading.Event()

    async def act() -> int:
        first = asyncio.ensure_future(desk.writer.write(lambda _: held.wait(30)))
        await asyncio.sleep(0.05)
        before = seen[0]

        def failing(code: str) -> Callable[[Station], None]:
            def act(station: Station) -> None:
                with pytest.raises(NotHere, match="no member of staff"):
                    station.sign_in(code, "")

            return act

        many = [
            asyncio.ensure_future(desk.writer.act(f"tablet {n}", "W7E-1", failing(f"X{n}")))
            for n in range(30)
        ]
        await asyncio.sleep(0.05)
        held.set()
        await first
        await asyncio.gather(*many)
        return seen[0] - before

    assert at_work(desk, act) == 1
    with Trail.open(desk.trail_path) as trail:
        assert trail.head().seq == 30
        assert trail.verify().whole


def test_if_the_commit_fails_everybody_is_told_and_nobody_is_there_any_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path, monkeypatch)

    async def act() -> list[Any]:
        session = await desk.sign_in("t" * 43, "W7E-1", NURSE, PINS[NURSE])
        (tmp_path / "full").touch()

        def broken(trail: Trail) -> None:
            db = trail._connection._db
            assert db is not None
            db.set_authorizer(None)
            (pages,) = db.execute("PRAGMA page_count").fetchone()
            db.execute(f"PRAGMA max_page_count = {pages}")
            station = desk.writer._at(trail, session.tablet, session.place)
            for _ in range(500):
                station._attendance._record("signed_out", NURSE, {"person": NURSE})

        both = await asyncio.gather(
            desk.writer.write(broken),
            desk.writer.act(session.tablet, "W7E-1", lambda at: at.sign_out(NURSE)),
            return_exceptions=True,
        )
        again = await desk.sign_in("t" * 43, "W7E-1", COLLEAGUE, PINS[COLLEAGUE])
        return [*both, [one.person for one in desk.sessions.all()], again.person]

    first, second, present, last = at_work(desk, act)
    assert isinstance(first, TrailUnwritable)
    assert isinstance(second, TrailUnwritable)
    assert first.recorded is second.recorded is False
    assert present == [COLLEAGUE]
    assert last == COLLEAGUE
    with Trail.open(desk.trail_path) as trail:
        assert [entry.event.kind for entry in trail.since(0)] == ["signed_in", "signed_in"]
        assert trail.verify().whole


def test_a_trail_that_does_not_go_on_from_its_last_head_takes_nothing_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with tablets(desk) as (tablet,):
        tablet.sign_in(NURSE)
        assert tablet.get("/health").status_code == 200
        desk.writer.halt(HeadLost("Entry 1 is not in the trail as it was."))
        answer = tablet.post("/orders", data={"order": "ORD-103"})
        assert answer.status_code == 503
        assert "not in the trail as it was" in answer.text
        assert tablet.get("/health").status_code == 503


def test_the_heads_are_kept_and_cover_all_when_the_server_has_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with tablets(desk) as (tablet,):
        tablet.sign_in(NURSE)
        tablet.post("/sign-out")
    (folder,) = (tmp_path / "heads").iterdir()
    note = (folder / "latest.note").read_text("utf-8")
    assert note.splitlines()[1] == "2"


def test_leaving_in_the_middle_is_an_interruption(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for how in ("sign out", "another", "left alone"):
        home = tmp_path / how.replace(" ", "_")
        home.mkdir()
        desk, clock = desk_and_clock(home, monkeypatch)
        with tablets(desk) as (tablet,):
            shift = Shift(desk, tablet, "ORD-103", clock)
            shift.begin()
            shift.to("take_the_product")
            if how == "sign out":
                tablet.post("/sign-out")
            elif how == "another":
                tablet.sign_in(COLLEAGUE)
            else:
                desk.sessions.all()[0].seen -= desk.idle_s + 1
                assert tablet.get(shift.address).status_code == 303
            last = shift.beside.station.entries(shift.id)[-1].event
            assert last.kind == "interrupted"
            causes = {"sign out": "signed out", "another": "another person signed in"}
            assert last.body["cause"] == causes.get(how, LOCKED)
            assert shift.screen.stands == "interrupted"
            if how != "another":
                page = tablet.get("/sign-in").text
                assert "A preparation is waiting" in page
                assert "ondansetron" not in page
                assert "Brask" not in page
                back = tablet.sign_in(NURSE)
                assert back.headers["location"] == f"/preparation/{shift.id}"
            shift.beside.close()


def test_orders_that_change_are_read_again_and_faults_change_nothing(tmp_path: Path) -> None:
    import shutil

    ward = tmp_path / "ward"
    shutil.copytree(library.folder("demo_db"), ward)
    for one in ward.iterdir():
        os.utime(one, (1_000_000_000, 1_000_000_000))
    files = WardFiles(ward)
    first = files.now()
    assert files.now() is first
    orders = ward / "orders.json"
    orders.write_text(orders.read_text("utf-8").replace('"nausea"', '"vomiting"'), "utf-8")
    assert files.now().orders["ORD-103"].indication == "vomiting"
    orders.write_text("{", "utf-8")
    with pytest.raises(Faults):
        files.now()
    assert files.last.orders["ORD-103"].indication == "vomiting"
    staff = ward / "staff.toml"
    orders.write_text((library.folder("demo_db") / "orders.json").read_text("utf-8"), "utf-8")
    staff.write_text(staff.read_text("utf-8").replace("Wren Alderby", "Wren Alder"), "utf-8")
    assert files.now().staff[NURSE].name == "Wren Alder"


# -- the server as a process -----------------------------------------------------------------------


class Served:
    """The command itself, on a free port."""

    def __init__(self, home: Path) -> None:
        self.home = home
        env = {
            **os.environ,
            "CHECKLIST_KEYS": str(home / "keys"),
            "CHECKLIST_CHECKPOINTS": str(home / "heads"),
            "PYTHONPATH": str(ROOT),
        }
        self.process = subprocess.Popen(
            [sys.executable, "-m", "checklist.faces.cli", "serve", "--port", "0",
             "--trail", str(home / "trail.db")],
            env=env, cwd=home, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.said = ""
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self.said += line
            if found := re.match(r"(http://127\.0\.0\.1:\d+)/", line):
                self.address = found[1]
            if line.startswith("Ctrl-C"):
                break

    def end(self, number: signal.Signals) -> int:
        self.process.send_signal(number)
        self.said += self.process.communicate(timeout=60)[1]
        return self.process.returncode


def notes_until(served: Served, code: str, place: str, order: str, enough: Any) -> list[str]:
    """Write notes at a tablet until the server is gone; those that were acknowledged."""
    import httpx2

    headers = {"Origin": served.address, "Sec-Fetch-Site": "same-origin"}
    told: list[str] = []
    with httpx2.Client(base_url=served.address, headers=headers, timeout=60) as tablet:
        door = {"code": code, "pin": PINS[code], "place": place}
        assert tablet.post("/sign-in", data=door).status_code == 303
        way = tablet.post("/orders", data={"order": order}).headers["location"]
        for number in range(10_000):
            text = f"note {number} of {code}"
            try:
                turn = str(number)
                answer = tablet.post(way, data={"act": "note", "turn": turn, "note": text})
            except httpx2.HTTPError:
                return told
            if answer.status_code != 303:
                return told
            told.append(text)
            enough(len(told))
    return told


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_a_server_that_is_stopped_in_the_middle_loses_nothing_it_acknowledged(
    tmp_path: Path, number: signal.Signals
) -> None:
    served = Served(tmp_path)
    ready = threading.Barrier(4)

    def enough(count: int) -> None:
        if count == 12:
            ready.wait(60)

    work = [(NURSE, "W7E-1", "ORD-103"), (COLLEAGUE, "W7E-2", "ORD-102"),
            ("PH-2", "W7E-2", "ORD-105")]  # fmt: skip
    told: list[list[str]] = []

    def at_tablet(code: str, place: str, order: str) -> None:
        told.append(notes_until(served, code, place, order, enough))

    threads = [threading.Thread(target=at_tablet, args=one) for one in work]
    for thread in threads:
        thread.start()
    ready.wait(120)
    code = served.end(number)
    for thread in threads:
        thread.join(60)
    assert code == (-signal.SIGKILL if number is signal.SIGKILL else 0), served.said
    assert "Traceback" not in served.said
    acknowledged = {text for one in told for text in one}
    assert len(acknowledged) >= 36
    with Trail.open(tmp_path / "trail.db") as trail:
        assert trail.verify().whole
        stored = {
            kept.text
            for one in trail.open_preparations()
            for kept in trail.sealed_about(trail.of(one.id)[0].event.body["order"]["patient"])
        }
    assert acknowledged <= stored
    assert len(stored - acknowledged) <= 3, "only the one under way at each tablet may be there"
    again = Served(tmp_path)
    try:
        with Trail.open(tmp_path / "trail.db", read_only=True) as trail:
            for one in trail.open_preparations():
                assert one.place.endswith("/interrupted")
    finally:
        assert again.end(signal.SIGTERM) == 0


# -- the command -----------------------------------------------------------------------------------

UNFIT = {
    "beyond this machine without TLS": (["--host", "0.0.0.0"], "reached from other machines"),
    "beyond it by IPv6": (["--host", "::"], "reached from other machines"),
    "half of TLS": (["--tls-cert", "x.pem"], "needs both"),
    "no certificate": (["--tls-cert", "x.pem", "--tls-key", "y.pem"], "cannot be used for TLS"),
    "a name for an address": (["--host", "ward.example"], "address in figures"),
    "a name for the proxy": (["--behind-proxy", "anybody"], "address in figures"),
    "facts that are not there": (["--facts", "nowhere"], "There is no folder"),
    "a ward that is not there": (["--ward", "nowhere"], "no such folder"),
}


@pytest.mark.parametrize("name", UNFIT)
def test_what_cannot_be_served_is_said_before_anything_is_written(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    words, sentence = UNFIT[name]
    found = CliRunner().invoke(app, ["serve", *words])
    assert found.exit_code == 2
    assert sentence in found.output
    assert not list(tmp_path.rglob("*.db"))
