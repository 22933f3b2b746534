"""The server itself: TLS of its own, its patience, and what no page ever sees."""

from __future__ import annotations

import datetime
import socket
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import trustme
from typer.testing import CliRunner

from checklist.faces.cli import app
from checklist.faces.web import guard, serving, tls
from checklist.faces.web.app import make_app
from checklist.faces.web.desk import LOOPBACK, Desk
from checklist.trail import Trail
from tests.faces import ROOT
from tests.scene import NURSE
from tests.web import PINS, make_desk

NAME = "ward7.hospital.example"


@contextmanager
def running(desk: Desk, **more: str | Path) -> Iterator[int]:
    """The port of the real server of this desk."""
    with serving.listening("127.0.0.1", 0) as open_at:
        server = serving.server(make_app(desk), **more)  # type: ignore[arg-type]
        thread = threading.Thread(target=server.run, kwargs={"sockets": [open_at]})
        thread.start()
        try:
            until = time.monotonic() + 30
            while not server.started and thread.is_alive() and time.monotonic() < until:
                time.sleep(0.01)
            assert server.started
            yield open_at.getsockname()[1]
        finally:
            server.should_exit = True
            thread.join(30)


def sent(port: int, raw: bytes, *, then: bytes = b"") -> bytes:
    """What comes back for these bytes, until the server lets go."""
    with socket.create_connection(("127.0.0.1", port), timeout=30) as talk:
        talk.sendall(raw)
        got = b""
        try:
            if then:
                talk.sendall(then)
            while part := talk.recv(65_536):
                got += part
        except (ConnectionResetError, BrokenPipeError):
            pass  # it let go before it had read everything
        return got


def test_what_is_accepted_sends_at_once() -> None:
    with (
        serving.listening("127.0.0.1", 0) as open_at,
        socket.create_connection(open_at.getsockname()),
        open_at.accept()[0] as accepted,
    ):
        assert accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


IN_THE_MIDDLE = """
import sys
from pathlib import Path
from pytest import MonkeyPatch
from checklist.faces.web.serving import loaded
from tests.web_nurse import shift
with MonkeyPatch.context() as patch, shift(Path(sys.argv[1]), patch, "ORD-101") as (one, _):
    if sys.argv[2] == "loaded":
        loaded()
    before = set(sys.modules)
    one.to("write_the_label")
    one.page("/label")
    print(*{name.partition(".")[0] for name in set(sys.modules) - before})
"""


def test_no_other_library_is_loaded_in_the_middle_of_a_preparation(tmp_path: Path) -> None:
    late = {}
    for how in ("loaded", "not"):
        home = tmp_path / how
        home.mkdir()
        ran = subprocess.run(
            [sys.executable, "-c", IN_THE_MIDDLE, str(home), how],
            cwd=ROOT, capture_output=True, text=True, check=True,
        )  # fmt: skip
        late[how] = set(ran.stdout.split()) - {"checklist"} - sys.stdlib_module_names
    assert late["loaded"] == set()
    assert late["not"] >= {"biip"}


def asked(path: str = "/sign-in", *lines: str, method: str = "GET", close: bool = True) -> bytes:
    """A request as bytes; lines that are given stand beside the usual ones."""
    every = [f"{method} {path} HTTP/1.1", *(["Connection: close"] if close else []), *lines]
    if not any(one.lower().startswith("host:") for one in lines):
        every.insert(1, "Host: 127.0.0.1")
    return ("\r\n".join(every) + "\r\n\r\n").encode("latin-1")


# -- TLS -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    return trustme.CA()


def written(home: Path, made: trustme.LeafCert) -> tuple[Path, Path]:
    cert, key = home / "cert.pem", home / "key.pem"
    cert.write_bytes(b"".join(one.bytes() for one in made.cert_chain_pems))
    made.private_key_pem.write_to_path(str(key))
    key.chmod(0o600)
    return cert, key


def test_by_tls_of_its_own_a_browser_that_trusts_the_authority_comes_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, authority: trustme.CA
) -> None:
    cert, key = written(tmp_path, authority.issue_cert(NAME))
    desk = make_desk(tmp_path, monkeypatch, secure=True, names=LOOPBACK | {NAME})
    trusting = ssl.create_default_context()
    authority.configure_trust(trusting)
    with running(desk, cert=cert, key=key) as port:

        def talk(context: ssl.SSLContext, raw: bytes, name: str = NAME) -> tuple[str, str, bytes]:
            with (
                socket.create_connection(("127.0.0.1", port), timeout=30) as bare,
                context.wrap_socket(bare, server_hostname=name) as talking,
            ):
                talking.sendall(raw)
                got = b""
                while part := talking.recv(65_536):
                    got += part
                cipher = talking.cipher()
                return talking.version() or "", cipher[0] if cipher else "", got

        host = f"Host: {NAME}:{port}"
        version, cipher, page = talk(trusting, asked("/sign-in", host))
        assert version == "TLSv1.3" and page.startswith(b"HTTP/1.1 200")
        assert b"strict-transport-security: max-age=31536000" in page.lower()
        older = ssl.create_default_context()
        authority.configure_trust(older)
        older.maximum_version = ssl.TLSVersion.TLSv1_2
        version, cipher, page = talk(older, asked("/sign-in", host))
        # RFC 9325, section 4.2: forward secrecy and authenticated encryption.
        assert version == "TLSv1.2" and cipher.startswith("ECDHE")
        assert "GCM" in cipher or "POLY1305" in cipher
        form = f"code={NURSE}&pin={PINS[NURSE]}&place=W7E-1&next=/"
        post = asked(
            "/sign-in", host, f"Origin: https://{NAME}:{port}", f"Content-Length: {len(form)}",
            "Content-Type: application/x-www-form-urlencoded", method="POST",
        )  # fmt: skip
        _, _, came = talk(trusting, post + form.encode())
        assert came.startswith(b"HTTP/1.1 303")
        cookies = [one for one in came.lower().split(b"\r\n") if one.startswith(b"set-cookie")]
        assert len(cookies) == 3
        assert all(b"__host-" in one and b"; secure" in one for one in cookies)
        with pytest.raises(ssl.SSLCertVerificationError):
            talk(ssl.create_default_context(), asked())
        with pytest.raises(ssl.SSLCertVerificationError):
            talk(trusting, asked(), name="elsewhere.example")
        assert b"Sign in" not in sent(port, asked())


def test_beside_the_proxy_nothing_is_taken_that_did_not_come_by_tls(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path, monkeypatch, secure=True, names=LOOPBACK | {NAME})
    host, by_tls = f"Host: {NAME}", "X-Forwarded-Proto: https"
    with running(desk, proxy="127.0.0.1") as port:
        assert sent(port, asked("/sign-in", host, by_tls)).startswith(b"HTTP/1.1 200")
        assert b"Only by TLS" in sent(port, asked("/sign-in", host))
        assert sent(port, asked("/health")).startswith(b"HTTP/1.1 200")
    apart = tmp_path / "apart"
    apart.mkdir()
    with running(make_desk(apart, monkeypatch, secure=True), proxy="10.0.0.1") as port:
        # Whoever is not the proxy may write into its headers what they like.
        assert b"Only by TLS" in sent(port, asked("/sign-in", by_tls))


DAY = datetime.timedelta(days=1)


def made_wrong(home: Path, authority: trustme.CA, name: str) -> tuple[Path, Path]:
    """A certificate and key with one thing wrong."""
    now = datetime.datetime.now(datetime.UTC)
    times = {"over": (now - 9 * DAY, now - DAY), "not yet": (now + DAY, now + 9 * DAY)}
    begins, ends = times.get(name, (now - DAY, now + 300 * DAY))
    cert, key = written(home, authority.issue_cert(NAME, not_before=begins, not_after=ends))
    if name == "no certificate":
        cert.write_text("-----BEGIN CERTIFICATE-----\nno\n-----END CERTIFICATE-----\n")
    if name == "the key in its place":
        cert, key = key, cert
    if name == "no key":
        key.write_bytes(b"")
    if name == "another key":
        authority.issue_cert("other.example").private_key_pem.write_to_path(str(key))
    if name == "a locked key":
        from cryptography.hazmat.primitives import serialization as to

        own = to.load_pem_private_key(key.read_bytes(), None)
        form, how = to.PrivateFormat.PKCS8, to.BestAvailableEncryption(b"x")
        key.write_bytes(own.private_bytes(to.Encoding.PEM, form, how))
    if name == "a file that is not there":
        key.unlink()
    return cert, key


WRONG = {
    "over": "it ended on",
    "not yet": "it holds only from",
    "no certificate": "no certificate in PEM",
    "the key in its place": "no certificate in PEM",
    "no key": "no private key in PEM",
    "another key": "belongs to another certificate",
    "a locked key": "a password locks it",
    "a file that is not there": "cannot be read",
}


@pytest.mark.parametrize("name", WRONG)
def test_a_certificate_that_would_not_do_is_told_before_anything_begins(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, authority: trustme.CA, name: str
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    cert, key = made_wrong(tmp_path, authority, name)
    done = CliRunner().invoke(app, ["serve", "--tls-cert", str(cert), "--tls-key", str(key)])
    assert done.exit_code == 2
    assert WRONG[name] in done.output and "cannot be used for TLS" in done.output
    assert "PRIVATE KEY-----\n" not in done.output
    assert not list(tmp_path.rglob("*.db"))


def test_what_it_should_know_of_a_certificate_is_told(
    tmp_path: Path, authority: trustme.CA
) -> None:
    now = datetime.datetime.now(datetime.UTC)
    made = authority.issue_cert("*.hospital.example", "10.1.2.3", not_after=now + 20 * DAY)
    cert, key = written(tmp_path, made)
    names = (NAME, "10.1.2.3", "[::1]", "ward7.elsewhere.example", "a.b.hospital.example")
    (ending, missing) = tls.looked_at(cert, key, names, now)
    assert "ends on" in ending
    assert "not for [::1], a.b.hospital.example, ward7.elsewhere.example:" in missing
    key.chmod(0o644)
    later = tls.looked_at(*written(tmp_path, authority.issue_cert(NAME)), (NAME,), now)
    assert later == []
    key.chmod(0o644)
    (others,) = tls.looked_at(cert, key, (NAME,), now)
    assert "chmod 600" in others


# -- what no page sees -----------------------------------------------------------------------------

MANY = "Cookie: " + "; ".join(f"session={n}" for n in range(500))
ODD: dict[str, tuple[bytes, set[int]]] = {
    "no HTTP": (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\0" * 600, {400}),
    "no host": (b"GET / HTTP/1.1\r\n\r\n", {400}),
    "two hosts": (asked("/", "Host: 127.0.0.1", "Host: elsewhere.example"), {400, 421}),
    "half a bracket": (asked("/", "Host: [::1"), {421}),
    "a bracket and more": (asked("/", "Host: [::1]elsewhere.example"), {421}),
    "a host with a path": (asked("/", "Host: 127.0.0.1:80/x?"), {421}),
    "a host with a person": (asked("/", "Host: 127.0.0.1:80@elsewhere.example"), {421}),
    "a whole address": (asked("http://elsewhere.example/sign-in"), {303, 404}),
    "a long address": (asked("/" + "a" * 100_000), {400, 414}),
    "a long header": (asked("/orders", "Cookie: session=" + "a" * 100_000), {400, 431}),
    "many cookies": (asked("/orders", MANY), {303}),
    "odd cookies": (asked("/orders", 'Cookie: session="\xff\x80;;=;place=99;=\x7f'), {303, 400}),
    "a half percent": (asked("/%zz%&%ff?%zz=%ff"), {303, 404}),
    "a NUL": (asked("/preparation/%00"), {404}),
    "up": (asked("/static/../../serve.py"), {404}),
    "up, hidden": (asked("/static/%2e%2e%2f%2e%2e%2fserve.py"), {404}),
    "TRACE": (asked("/", method="TRACE"), {405}),
    "a star": (asked("*", method="OPTIONS"), {400, 405}),
    "CONNECT": (asked("127.0.0.1:22", method="CONNECT"), {400, 404, 405}),
    "another protocol": (
        asked(
            "/events", "Upgrade: websocket", "Connection: Upgrade", "Sec-WebSocket-Version: 13",
            "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==",
        ),
        {204, 400, 426},
    ),
    "two lengths": (asked("/", "Content-Length: 1", "Content-Length: 2", method="POST"), {400}),
    "length and pieces": (
        asked("/", "Content-Length: 4", "Transfer-Encoding: chunked", method="POST") + b"0\r\n\r\n",
        {400, 403, 405},
    ),
    "pieces that are none": (
        asked("/sign-in", "Origin: http://127.0.0.1", "Transfer-Encoding: chunked", method="POST")
        + b"zz\r\nno",
        {400},
    ),
}  # fmt: skip


def test_what_is_no_request_is_answered_shortly_and_the_server_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with running(desk) as port:
        for name, (raw, statuses) in ODD.items():
            got = sent(port, raw)
            assert got.startswith(b"HTTP/1.1 "), (name, got[:200])
            assert int(got[9:12]) in statuses, (name, got[:200])
            assert b"Traceback" not in got and b"def " not in got, name
        head = ("Origin: http://127.0.0.1", "Content-Type: application/x-www-form-urlencoded")
        large = 10 * 1024 * 1024
        whole = asked("/sign-in", *head, f"Content-Length: {large}", method="POST")
        assert sent(port, whole, then=b"a" * large)[:12] in (b"HTTP/1.1 413", b"")
        pieces = asked("/sign-in", *head, "Transfer-Encoding: chunked", method="POST")
        chunk = b"10000\r\n" + b"a" * 65_536 + b"\r\n"
        assert sent(port, pieces, then=chunk * 160)[:12] in (b"HTTP/1.1 413", b"")
        assert sent(port, asked()).startswith(b"HTTP/1.1 200")
    with Trail.open(desk.trail_path, read_only=True) as trail:
        kinds = {one.event.kind for one in trail.since(0)}
    assert kinds == {"turned_away"}
    assert "Traceback" not in capfd.readouterr().err


SLOW = {
    "nothing at all": (b"", b""),
    "half a request": (b"GET /sign-in HTTP/1.1\r\nHost: 127", b""),
    "a form that never comes": (
        asked("/sign-in", "Origin: http://127.0.0.1", "Content-Length: 9", method="POST"),
        b"408",
    ),
    "after an answer": (asked("/health", close=False) + b"GET /sig", b"200"),
    "a body where none is read": (
        asked("/health", "Content-Length: 9", close=False) + b"a",
        b"200",
    ),
}


def test_whoever_never_finishes_asking_is_let_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guard, "PATIENCE_S", 0.5)
    monkeypatch.setattr(serving, "PATIENCE_S", 0.5)
    with running(make_desk(tmp_path, monkeypatch)) as port:
        for name, (raw, status) in SLOW.items():
            # `sent` gives up after 30 s: that it comes back at all is what is shown.
            assert sent(port, raw)[9:12] == status, name
