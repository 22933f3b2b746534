"""The command that serves the ward's screens to browsers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from checklist.faces.options import PracticeOption, TrailOption, WardOption

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

SWITCH_S = 0.0005
"""After how many seconds Python lets another thread on. Whoever waits for the disk lets the others
on and then waits for its turn again; with the usual 5 ms the one who writes waits longest.
Measured: with 4 reading threads and 20 tablets this halves the time of a form."""


def serve(
    ward: WardOption = None,
    trail: TrailOption = None,
    facts: Annotated[
        Path | None,
        typer.Option("--facts", metavar="DIR", help="A folder of `checklist facts export`."),
    ] = None,
    host: Annotated[
        str, typer.Option("--host", metavar="ADDRESS", help="The address to listen at.")
    ] = "127.0.0.1",
    port: Annotated[
        int, typer.Option("--port", min=0, max=65_535, help="The port; 0 for any free one.")
    ] = 8420,
    name: Annotated[
        list[str] | None,
        typer.Option("--name", metavar="HOST", help="A name by which browsers reach this server."),
    ] = None,
    practice: PracticeOption = False,
    tls_cert: Annotated[
        Path | None, typer.Option("--tls-cert", metavar="FILE", help="The certificate chain, PEM.")
    ] = None,
    tls_key: Annotated[
        Path | None, typer.Option("--tls-key", metavar="FILE", help="Its private key, PEM.")
    ] = None,
    behind_proxy: Annotated[
        str,
        typer.Option(
            "--behind-proxy",
            metavar="ADDRESS",
            help="The address of the reverse proxy that ends TLS; only it is believed.",
        ),
    ] = "",
) -> None:
    """Serve the ward's screens: preparing, reviewing, quality and pharmacy in a browser.

    Without --ward it is the demonstration ward, in practice. Ctrl-C stops it.

    Exit code: 0 stopped, 2 the command or a file cannot be used, 3 the trail is not as it was
    recorded.
    """
    from checklist.faces.leaving import message, told

    with told():
        from checklist.extra import wanted

        for module in ("starlette", "jinja2", "python_multipart", "uvicorn"):
            wanted(module, "web")
        from checklist.faces.web.setting_up import desk_for

        names = _names(host, name or [])
        _reachable(host, tls=tls_cert is not None, proxy=behind_proxy)
        cert, key, remarks = _tls(tls_cert, tls_key, names)
        secure = cert is not None or bool(behind_proxy)
        desk = desk_for(
            ward,
            trail,
            facts=facts,
            practice=practice,
            secure=secure,
            names=names,
        )
        for remark in remarks:
            message(remark)
        _run(desk, host, port, cert=cert, key=key, proxy=behind_proxy)


def _run(
    desk: Desk, host: str, port: int, *, cert: Path | None, key: Path | None, proxy: str
) -> None:
    import signal
    import sys

    from checklist.faces.leaving import message
    from checklist.faces.web.app import make_app
    from checklist.faces.web.serving import Settled, loaded
    from checklist.faces.web.serving import server as server_of

    sys.setswitchinterval(SWITCH_S)
    listening = _listening(host, port)
    server = server_of(make_app(desk), cert=cert, key=key, proxy=proxy)

    def ended(*_: object) -> None:
        server.should_exit = True

    # While it runs the server has handlers of its own; these hold before and after.
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, ended)
    try:
        loaded()
        desk.start()
        settled = Settled(desk.compiled)
        settled()
        desk.every_while.append(settled)
        scheme = "https" if cert is not None else "http"
        shown = f"[{host}]" if ":" in host else host
        message(f"{scheme}://{shown}:{listening.getsockname()[1]}/")
        _told(desk, proxy)
        server.run(sockets=[listening])
    finally:
        desk.stop()
        listening.close()


def _told(desk: Desk, proxy: str) -> None:
    from checklist.faces.leaving import message

    if desk.practice:
        at = desk.ward.unit.local(desk.clock())
        message(
            f"Practice on {desk.ward.unit.name}: the clock shows {at:%H:%M} on {at.day} {at:%b %Y}."
            " Nothing counts."
        )
    message(f"Trail: {desk.trail_path}")
    if proxy:
        message(f"TLS is ended by the proxy at {proxy}; nobody else's word on addresses is taken.")
    message("Ctrl-C stops it; whatever was said to be recorded is in the trail.")


def _listening(host: str, port: int) -> Any:
    from checklist.faces.leaving import CannotGoOn
    from checklist.faces.web.serving import listening

    try:
        return listening(host, port)
    except OSError as fault:
        raise CannotGoOn(
            f"Nothing can be served at {host}, port {port} ({fault.strerror}). Another server may"
            " be there: give another --port, or an address of this machine with --host."
        ) from fault


def _tls(
    cert: Path | None, key: Path | None, names: frozenset[str]
) -> tuple[Path | None, Path | None, list[str]]:
    """The two files of TLS, both or none, and what IT should know of them. Raises CannotGoOn."""
    from datetime import UTC, datetime

    from checklist.faces.leaving import CannotGoOn
    from checklist.faces.web.desk import LOOPBACK
    from checklist.faces.web.tls import looked_at

    if cert is None and key is None:
        return None, None, []
    if cert is None or key is None:
        raise CannotGoOn("TLS needs both --tls-cert and --tls-key.")
    return cert, key, looked_at(cert, key, names - LOOPBACK, datetime.now(UTC))


def _reachable(host: str, *, tls: bool, proxy: str) -> None:
    """Refuse to be heard beyond this machine without TLS. Raises CannotGoOn."""
    from ipaddress import ip_address

    from checklist.faces.leaving import CannotGoOn

    def address(text: str, what: str) -> Any:
        try:
            return ip_address("127.0.0.1" if text == "localhost" else text)
        except ValueError as fault:
            raise CannotGoOn(
                f"{what} is {text!r}. Give an address in figures, such as 127.0.0.1."
            ) from fault

    at = address(host, "--host")
    if proxy:
        address(proxy, "--behind-proxy")
    if not at.is_loopback and not tls and not proxy:
        raise CannotGoOn(
            f"{host} can be reached from other machines, and PINs and names would go there for"
            " anybody to read. Give --tls-cert and --tls-key, or let a reverse proxy end TLS and"
            " name its address with --behind-proxy."
        )


def _names(host: str, given: list[str]) -> frozenset[str]:
    """The hosts by which browsers may know this server."""
    from checklist.faces.web.desk import LOOPBACK

    shown = f"[{host}]" if ":" in host else host
    every = {shown.lower()} | {one.lower().rstrip(".") for one in given}
    return LOOPBACK | (every - {"0.0.0.0", "[::]"})
