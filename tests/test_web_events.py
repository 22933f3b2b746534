"""Word to a page that its preparation moved on elsewhere, over real connections.

The lines of a stream are those of the HTML standard, section 9.2 (server-sent events):
https://html.spec.whatwg.org/multipage/server-sent-events.html
"""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx2
import pytest

from checklist.faces.web import events
from checklist.faces.web.desk import Desk
from tests.browser import served
from tests.crawl import Hands
from tests.scene import COLLEAGUE, NURSE
from tests.web_nurse import Shift, desk_and_clock

LINES = {"retry: 10000", ": here", "event: moved", "data: 1", ""}
"""All that ever stands in a stream: no id, no name, no dose, no step."""
MOVED = "event: moved"
SOON_S = 30.0
"""Seconds after which a test gives up; nothing here is a claim about speed."""


@dataclass
class Ward:
    """A served desk, the address, and an order that is in hand at the first tablet."""

    desk: Desk
    address: str
    shift: Shift
    people: list[Hands] = field(default_factory=list)

    def person(self, code: str = NURSE, place: str = "W7E-2") -> Hands:
        """Somebody at a tablet of their own."""
        self.people.append(Hands(self.address))
        self.people[-1].sign_in(code, place=place)
        return self.people[-1]

    @property
    def path(self) -> str:
        """The stream for the page as it stands now."""
        return f"/events?preparation={self.shift.id}&turn={self.shift.screen.prep.turn}"


@pytest.fixture
def ward(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Ward]:
    monkeypatch.setattr(events, "LOOK_S", 0.02)
    desk, clock = desk_and_clock(tmp_path, monkeypatch)
    with served(desk) as address:
        hands: Any = Hands(address)
        one = Shift(desk, hands, "ORD-103", clock)
        hands.sign_in(NURSE)
        one.open()
        here = Ward(desk, address, one, [hands])
        try:
            yield here
        finally:
            for each in here.people:
                each.close()
            one.beside.close()


class Stream(threading.Thread):
    """One page that follows its preparation: the lines that it heard, until its stream ends."""

    def __init__(self, by: httpx2.Client, path: str) -> None:
        super().__init__(daemon=True)
        self.lines: list[str] = []
        self.status = 0
        self.ended_well = False
        self._client, self._path = by, path
        self.start()

    def run(self) -> None:
        with (
            contextlib.suppress(httpx2.TransportError),
            self._client.stream("GET", self._path, timeout=SOON_S) as answer,
        ):
            self.status = answer.status_code
            self.kind = answer.headers.get("content-type", "")
            self.kept = answer.headers.get("cache-control", "")
            self.handed_on = answer.headers.get("x-accel-buffering", "")
            for line in answer.iter_lines():
                self.lines.append(line)
            self.ended_well = True

    def heard(self, line: str, *, times: int = 1) -> None:
        """Wait until a line was heard so many times."""
        until = time.monotonic() + SOON_S
        while self.lines.count(line) < times:
            assert time.monotonic() < until and self.is_alive(), (line, self.lines)
            time.sleep(0.005)

    def over(self) -> list[str]:
        """Wait for the end; every line that was heard, each of them one that a stream may hold."""
        self.join(SOON_S)
        assert not self.is_alive() and self.ended_well
        assert set(self.lines) <= LINES, self.lines
        return self.lines


def test_a_page_hears_once_that_another_tablet_moved_its_preparation_on(ward: Ward) -> None:
    other = ward.person()
    stream = Stream(ward.shift.tablet, ward.path)
    stream.heard(": here", times=2)
    # What moves nothing is no news: a page that was made before it still holds.
    assert ward.shift.send("note", note="the patient asked for water").status_code == 303
    stream.heard(": here", times=len(stream.lines) + 3)
    assert MOVED not in stream.lines
    form = {"act": "take_up", "turn": str(ward.shift.screen.prep.turn)}
    assert other.post(ward.shift.address, data=form).status_code == 303
    lines = stream.over()
    assert lines[-3:] == [MOVED, "data: 1", ""] and lines.count(MOVED) == 1
    assert stream.status == 200
    assert stream.kind.startswith("text/event-stream") and stream.kept == "no-store"
    assert stream.handed_on == "no"  # how nginx is told not to gather it


def test_a_page_that_comes_back_hears_at_once_what_it_missed(
    ward: Ward, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(events, "LOOKS", 3)
    path = ward.path
    ended = Stream(ward.shift.tablet, path)
    assert MOVED not in ended.over()  # at the end of its looks; a browser then asks again
    assert ended.lines[0] == "retry: 10000"
    ward.shift.on()
    again = Stream(ward.shift.tablet, path)
    assert MOVED in again.over() and ": here" not in again.lines
    # The page as it stands now has missed nothing.
    assert MOVED not in Stream(ward.shift.tablet, ward.path).over()


@pytest.mark.parametrize("how", ["signs out", "locked", "another person"])
def test_a_stream_ends_with_the_session_it_belongs_to(how: str, ward: Ward) -> None:
    tablet, path = ward.shift.tablet, ward.path
    stream = Stream(tablet, path)
    stream.heard(": here", times=2)
    beside = Hands(ward.address)
    beside.cookies = tablet.cookies
    ward.people.append(beside)
    if how == "another person":
        beside.sign_in(COLLEAGUE)
    else:
        beside.post("/sign-out" if how == "signs out" else "/lock")
    stream.over()
    # The break that leaving made is no word to a page that nobody looks at any more.
    assert tablet.get(path).status_code == 204 or how == "another person"


BAD = {
    "nothing": "/events",
    "no turn": "/events?preparation={id}",
    "a turn that is none": "/events?preparation={id}&turn=-1",
    "a figure of another script": "/events?preparation={id}&turn=%D9%A3",
    "a long turn": "/events?preparation={id}&turn=1234567890",
    "no preparation": "/events?turn=0",
    "a long name": "/events?preparation=" + "a" * 101 + "&turn=0",
}


def test_without_a_session_or_a_right_question_there_is_no_stream(ward: Ward) -> None:
    with Hands(ward.address) as stranger:
        answer = stranger.get(ward.path)
        assert (answer.status_code, answer.content) == (204, b"")
        stranger.cookies.set("session", "a" * 43)
        assert stranger.get(ward.path).status_code == 204
    for name, path in BAD.items():
        answer = ward.shift.tablet.get(path.format(id=ward.shift.id))
        assert (answer.status_code, answer.content) == (204, b""), name


def test_a_tablet_left_alone_has_no_stream_and_a_stream_is_nobodys_press(
    ward: Ward, monkeypatch: pytest.MonkeyPatch
) -> None:
    session = ward.desk.sessions.all()[0]
    seen = session.seen
    stream = Stream(ward.shift.tablet, ward.path)
    stream.heard(": here", times=2)
    assert session.seen == seen
    monkeypatch.setattr(type(ward.desk), "is_idle", lambda self, session: True)
    assert ward.shift.tablet.get(ward.path).status_code == 204


def test_a_preparation_that_there_is_not_gives_a_stream_that_says_nothing(
    ward: Ward, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(events, "LOOKS", 3)
    stream = Stream(ward.shift.tablet, "/events?preparation=nobody&turn=0")
    assert MOVED not in stream.over() and stream.status == 200


def test_one_sign_in_cannot_take_the_streams_of_all_others(ward: Ward) -> None:
    other = ward.person(COLLEAGUE)
    mine = [Stream(ward.shift.tablet, ward.path) for _ in range(events.MOST_HERE)]
    for one in mine:
        one.heard(": here")
    assert ward.shift.tablet.get(ward.path).status_code == 503
    theirs = Stream(other, ward.path)
    theirs.heard(": here")
    ward.shift.on()
    for one in (*mine, theirs):
        assert MOVED in one.over()
    until = time.monotonic() + SOON_S
    while (last := Stream(ward.shift.tablet, ward.path.rpartition("=")[0] + "=0")).over() == []:
        assert time.monotonic() < until and last.status == 503
        time.sleep(0.05)


def test_very_many_streams_stop_no_page_and_those_beyond_are_told_to_wait(
    ward: Ward, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(events, "LOOK_S", 1.0)
    monkeypatch.setattr(events, "MOST_HERE", events.MOST)
    tablet, most = ward.shift.tablet, events.MOST
    cookie = "; ".join(f"{one.name}={one.value}" for one in tablet.cookies.jar)
    host, port = ward.address.removeprefix("http://").split(":")
    asked = f"GET {ward.path} HTTP/1.1\r\nHost: {host}:{port}\r\nCookie: {cookie}\r\n\r\n"
    with contextlib.ExitStack() as open_:
        sockets = [
            open_.enter_context(socket.create_connection((host, int(port)), SOON_S))
            for _ in range(most)
        ]
        for one in sockets:
            one.sendall(asked.encode("ascii"))
        for one in sockets:
            heard = b""
            while b"retry: 10000" not in heard:
                more = one.recv(4_096)
                assert more, heard
                heard += more
        beyond = tablet.get(ward.path)
        assert beyond.status_code == 503 and int(beyond.headers["retry-after"]) > 0
        # Pages are read, and steps are taken, as if nobody followed anything.
        assert tablet.get("/orders").status_code == 200
        before = ward.shift.place
        ward.shift.on()
        assert ward.shift.place != before
        for one in sockets:  # each of them hears of it
            heard = b""
            while b"event: moved" not in heard:
                more = one.recv(4_096)
                assert more, heard
                heard += more
    # Whoever left made room.
    until = time.monotonic() + SOON_S
    while (last := Stream(tablet, ward.path.rpartition("=")[0] + "=0")).over() == []:
        assert time.monotonic() < until and last.status == 503
        time.sleep(0.05)
    assert MOVED in last.lines
