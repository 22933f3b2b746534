"""What a server of the ward's screens does with bytes that no browser sends, and with TLS."""

from __future__ import annotations

import asyncio
import re
import socket
import ssl
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from http.client import HTTPResponse
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import trustme
from typer.testing import CliRunner

from checklist.faces.cli import app
from checklist.faces.web import guard, serving
from checklist.faces.web.desk import Desk
from checklist.trail import Trail
from tests.browser import served
from tests.web import make_desk

NAME = "ward7.hospital.example"


def recorded(desk: Desk) -> list[str]:
    """The kinds of all entries."""
    with Trail.open(desk.trail_path, read_only=True) as trail:
        return [entry.event.kind for entry in trail.since(0)]


def connected(address: str) -> socket.socket:
    """A connection to a server."""
    at = urlsplit(address)
    assert at.hostname and at.port
    return socket.create_connection((at.hostname, at.port), timeout=20)


def answered(address: str, sent: bytes) -> tuple[int, dict[str, str], bytes]:
    """What a server answers to some bytes: status, headers, body. 0 where it only lets go."""
    with connected(address) as talking:
        with suppress(OSError):  # it let go before all was sent; what it said first is read
            talking.sendall(sent)
        try:
            answer = HTTPResponse(talking)
            answer.begin()
            return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
        except (OSError, ValueError) as fault:  # closed, or no answer in HTTP
            assert not isinstance(fault, TimeoutError), "it kept us waiting"
            return 0, {}, b""


# -- bytes that no browser sends -------------------------------------------------------------------


def get(target: str, *headers: str, host: str = "127.0.0.1", version: str = "1.1") -> bytes:
    """A request to look at something; the server lets go after it."""
    lines = [f"GET {target} HTTP/{version}", f"Host: {host}", *headers, "Connection: close"]
    return ("\r\n".join(lines) + "\r\n\r\n").encode("latin-1")


def post(*headers: str, body: bytes = b"", target: str = "/sign-in") -> bytes:
    """A form from a page of this server."""
    lines = [
        f"POST {target} HTTP/1.1", "Host: 127.0.0.1", "Sec-Fetch-Site: same-origin",
        "Content-Type: application/x-www-form-urlencoded", *headers, "Connection: close",
    ]  # fmt: skip
    return ("\r\n".join(lines) + "\r\n\r\n").encode("latin-1") + body


REFUSED = {400, 0}
"""Not HTTP, or not in a way that two readers would take alike: said so, or let go."""
ODD: dict[str, tuple[bytes, set[int]]] = {
    "a greeting of HTTP/2": (b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", REFUSED | {421}),
    "no version": (b"GET /sign-in\r\n\r\n", REFUSED),
    "noise": (bytes(range(256)) * 8, REFUSED),
    "no host, of old": (b"GET /sign-in HTTP/1.0\r\n\r\n", {421}),
    "a host with a port that is none": (get("/sign-in", host="127.0.0.1:x"), {421}),
    "a host with a blank": (get("/sign-in", host="127.0.0.1 elsewhere.example"), {421}),
    "a host that only a proxy says": (
        get("/sign-in", "X-Forwarded-Host: 127.0.0.1", host="elsewhere.example"), {421}),
    "a name that is none": (get("/sign-in", "a b: c"), REFUSED),
    "a header with a NUL": (get("/sign-in", "X-A: a\0b"), REFUSED),
    "a broken line": (get("/sign-in", "X-A: a\nSet-Cookie: b=c"), {200, *REFUSED}),
    "too many headers": (get("/sign-in", *(f"X-{n}: {'a' * 90}" for n in range(500))), {431}),
    "one long header": (get("/sign-in", "Cookie: session=" + "a" * 50_000), {431, 400}),
    "a language beyond belief": (get("/sign-in", "Accept-Language: \xff\xfe;q=x"), {200}),
    "a date that is none": (
        get("/static/page.css", "If-Modified-Since: \xff", "Range: bytes=9-1,-"), {200}),
    "a long query": (get("/sign-in?next=" + "%2f" * 9_000), {414}),
    "HTTP/2 in the clear": (
        get("/sign-in", "Upgrade: h2c", "HTTP2-Settings: AAMAAABkAAQAAP__"), {200}),
    "a length below nothing": (post("Content-Length: -1"), REFUSED),
    "a length in words": (post("Content-Length: 0x4", body=b"a=12"), REFUSED),
    "pieces packed in a way of their own": (
        post("Transfer-Encoding: xchunked", body=b"0\r\n\r\n"), {*REFUSED, 501}),
    "a form with a look": (
        get("/sign-in", "Content-Length: 100000") + b"a" * 100_000, {200, 0}),
}  # fmt: skip


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Desk, str]]:
    with pytest.MonkeyPatch.context() as patch:
        desk = make_desk(tmp_path_factory.mktemp("connections"), patch)
        with served(desk) as address:
            yield desk, address


@pytest.mark.parametrize("name", ODD)
def test_bytes_that_no_browser_sends_get_an_answer_or_none(
    ward: tuple[Desk, str], name: str
) -> None:
    desk, address = ward
    sent, statuses = ODD[name]
    before = recorded(desk)
    status, headers, body = answered(address, sent)
    assert status in statuses, (status, headers, body[:300])
    assert "set-cookie" not in headers
    assert b"elsewhere.example" not in body
    assert "elsewhere.example" not in headers.get("location", "")
    assert not re.search(rb"Traceback|h11|uvicorn|starlette|root:x", body, re.IGNORECASE)
    assert "server" not in headers
    assert set(recorded(desk)[len(before) :]) <= {"turned_away"}
    assert answered(address, get("/health"))[0] == 200


def test_one_request_hides_no_other(ward: tuple[Desk, str]) -> None:
    _, address = ward
    hidden = get("/static/page.css")
    body = b"0\r\n\r\n" + hidden
    sent = post(f"Content-Length: {len(body)}", "Transfer-Encoding: chunked", body=body)
    with connected(address) as talking:
        talking.sendall(sent)
        came = b""
        while more := talking.recv(65_536):
            came += more
    # RFC 9112, section 6.1: such a request is refused, or the connection ends after it.
    assert came.count(b"HTTP/1.1 ") == 1
    assert b"text/css" not in came


# -- whoever keeps others waiting ------------------------------------------------------------------


def test_whoever_never_finishes_is_let_go_and_keeps_nobody_waiting(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serving, "PATIENCE_S", 0.5)
    monkeypatch.setattr(guard, "PATIENCE_S", 0.5)
    desk = make_desk(tmp_path, monkeypatch)
    slow: dict[str, tuple[bytes, bytes]] = {
        "a header now and then": (b"GET /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\n", b"X: a\r\n"),
        "a form that hardly comes": (post("Content-Length: 50000", body=b"code="), b"a"),
        "pieces that hardly come": (post("Transfer-Encoding: chunked"), b"1\r\na\r\n"),
        "a look, and a form after it": (get("/health", "Content-Length: 90000"), b"a"),
    }
    with served(desk) as address:
        talks = {name: (connected(address), drop) for name, (_, drop) in slow.items()}
        for name, (first, _) in slow.items():
            talks[name][0].sendall(first)
        begun, left, came = time.monotonic(), set(talks), dict.fromkeys(talks, b"")
        while left and time.monotonic() - begun < 20:
            for name in list(left):
                talking, drop = talks[name]
                talking.settimeout(0.05)
                try:
                    if drop:
                        talking.sendall(drop)
                    piece = talking.recv(65_536)
                    came[name] += piece
                    if not piece:
                        left.discard(name)
                except TimeoutError:
                    continue
                except OSError:
                    left.discard(name)
            assert answered(address, get("/health"))[0] == 200
        for talking, _ in talks.values():
            talking.close()
        assert left == set(), "still connected"
    assert b" 408 " in came["a form that hardly comes"].partition(b"\r\n")[0]
    assert set(recorded(desk)) <= {"turned_away"}


def test_a_page_asked_for_over_one_connection_again_and_again_is_given(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The patience with a connection is not used up by what was whole before."""
    monkeypatch.setattr(serving, "PATIENCE_S", 0.4)
    with served(make_desk(tmp_path, monkeypatch)) as address, connected(address) as talking:
        for _ in range(6):
            talking.sendall(b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            answer = HTTPResponse(talking)
            answer.begin()
            assert (answer.status, answer.read()) == (200, b"up\n")
            time.sleep(0.15)


def test_no_other_protocol_than_http_is_spoken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Should a server ever hand on a WebSocket, the guard closes it (RFC 6455, 7.4.1: 1008)."""
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "websocket.connect"}

    async def note(*_: object) -> None:
        return None

    async def never(*_: object) -> None:
        raise AssertionError("it came to a page")

    around = guard.Guard(never, ["127.0.0.1"], secure=False, noting=note)
    scope = {"type": "websocket", "path": "/events", "headers": []}
    asyncio.run(around(scope, receive, send))
    assert sent == [{"type": "websocket.close", "code": 1008}]


# -- TLS -------------------------------------------------------------------------------------------


class Papers:
    """A certificate with its key as files, and the authority that vouches for it."""

    def __init__(self, home: Path, *names: str, **more: Any) -> None:
        self.authority = trustme.CA()
        made = self.authority.issue_cert(*(names or (NAME, "127.0.0.1")), **more)
        self.cert, self.key = home / "chain.pem", home / "key.pem"
        self.cert.write_bytes(b"".join(one.bytes() for one in made.cert_chain_pems))
        self.key.write_bytes(made.private_key_pem.bytes())
        self.key.chmod(0o600)

    def trusting(self) -> ssl.SSLContext:
        """What a browser that trusts the authority goes by."""
        context = ssl.create_default_context()
        self.authority.configure_trust(context)
        return context


def test_nothing_older_than_tls_1_2_is_spoken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As RFC 8996 has it: TLS 1.0 and 1.1 are not to be used."""
    papers = Papers(tmp_path)
    desk = make_desk(tmp_path, monkeypatch, secure=True)
    with served(desk, cert=papers.cert, key=papers.key) as address:
        with connected(address) as plain:
            papers.trusting().wrap_socket(plain, server_hostname=NAME).close()
        with (
            pytest.raises(ssl.SSLError, match=r"(?i)version|protocol"),
            connected(address) as plain,
        ):
            _old(papers).wrap_socket(plain, server_hostname=NAME)


def _old(papers: Papers) -> ssl.SSLContext:
    context = papers.trusting()
    context.set_ciphers("ALL:@SECLEVEL=0")
    with pytest.warns(DeprecationWarning):
        context.minimum_version = ssl.TLSVersion.TLSv1
        context.maximum_version = ssl.TLSVersion.TLSv1_1
    return context


def test_of_what_a_proxy_hands_on_only_its_own_word_is_believed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    said = ("X-Forwarded-Proto: https", "X-Forwarded-For: 9.9.9.9, 10.7.0.31")
    desk = make_desk(tmp_path, monkeypatch, secure=True)
    with served(desk, proxy="127.0.0.1") as address:
        ours = post(*said, "Origin: https://127.0.0.1", "Content-Length: 6", body=b"code=x")
        assert answered(address, ours)[0] == 422
        theirs = post(*said, "Origin: http://127.0.0.1", "Content-Length: 6", body=b"code=x")
        assert answered(address, theirs)[0] == 403
    noted = capsys.readouterr().err
    # The proxy adds the address it saw at the end; what stands before it anybody may have written.
    assert "from 10.7.0.31" in noted and "9.9.9.9" not in noted
    assert recorded(desk) == ["turned_away"]


def test_where_no_proxy_is_named_nobody_is_believed(ward: tuple[Desk, str]) -> None:
    _, address = ward
    origin = ("Origin: https://127.0.0.1", "X-Forwarded-Proto: https")
    sent = post(*origin, "Content-Length: 6", body=b"code=x")
    assert answered(address, sent)[0] == 403


# -- the files of TLS ------------------------------------------------------------------------------

Spoiled = Callable[[Path], Papers]


def spoiled(change: Callable[[Papers, Path], object], **more: Any) -> Spoiled:
    """Papers in a folder, changed afterwards."""

    def made(home: Path) -> Papers:
        papers = Papers(home, **more)
        change(papers, home)
        return papers

    return made


def _turned(papers: Papers, home: Path) -> None:
    authority = papers.authority.cert_pem.bytes()
    papers.cert.write_bytes(authority + papers.cert.read_bytes())


FAULTS: dict[str, tuple[Spoiled, str]] = {
    "a folder": (spoiled(lambda p, home: setattr(p, "key", home)), "cannot be read"),
    "the chain for both": (
        spoiled(lambda p, _: setattr(p, "key", p.cert)), "no private key in PEM"),
    "bytes": (spoiled(lambda p, _: p.key.write_bytes(b"\xff" * 900)), "no private key in PEM"),
    "the authority first": (spoiled(_turned), "comes first"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_files_that_are_of_no_use_for_tls_are_told_before_anything_is_served(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    make, words = FAULTS[name]
    papers = make(tmp_path)
    done = CliRunner().invoke(
        app, ["serve", "--port", "0", f"--tls-cert={papers.cert}", f"--tls-key={papers.key}"]
    )
    assert done.exit_code == 2, done.output
    said = " ".join(done.output.split())
    assert words in said and "cannot be used for TLS" in said
    assert "PRIVATE KEY-----\n" not in done.output
    assert not (tmp_path / "data").exists()
