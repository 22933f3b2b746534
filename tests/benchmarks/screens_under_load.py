"""Fifty tablets at once against a bare endpoint that makes one durable commit.

Run it: python -m tests.benchmarks.screens_under_load [TABLETS] [PAUSE_MS]. Each tablet signs in,
begins an order of its own and sends the forms of a real preparation one after the other, with the
page looked at in between; it pauses up to PAUSE_MS (0: none) before the first step and after each.
The baseline is a bare Starlette application under the same server that reads a form and commits one
row of the size of an entry with `synchronous = FULL`, asked in the same way. Both are measured in
turn, three times, since a disk that others use as well holds up now one and now the other. Printed
are the times from sending a form to the whole answer, each the median of the rounds, and their
ratios (goal for the 99th percentile: at most 2). At the end of each round every step that was
acknowledged is looked up in the trail.
"""

from __future__ import annotations

import asyncio
import os
import random
import re
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

from checklist.trail import Trail
from tests import busy_ward
from tests.script_of_steps import Form, for_nurse, taken_down

TABLETS = 50
ROUNDS = 3
LONGEST_S = 240.0
"""The whole of one load, after which it is given up."""
ROW = "x" * 900


class Browser:
    """One connection that is kept, as a browser keeps it; just enough of HTTP/1.1."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.cookies: dict[str, str] = {}

    async def open(self) -> None:
        """Connect."""
        self.reader, self.writer = await asyncio.open_connection("127.0.0.1", self.port)

    async def ask(self, method: str, path: str, form: Form | None = None) -> tuple[int, str]:
        """Send one request; its status and where it leads."""
        body = urlencode(form or {}).encode()
        head = [f"{method} {path} HTTP/1.1", f"Host: 127.0.0.1:{self.port}"]
        if self.cookies:
            head.append("Cookie: " + "; ".join(f"{n}={v}" for n, v in self.cookies.items()))
        if method == "POST":
            head += [
                f"Origin: http://127.0.0.1:{self.port}", "Sec-Fetch-Site: same-origin",
                "Content-Type: application/x-www-form-urlencoded", f"Content-Length: {len(body)}",
            ]  # fmt: skip
        self.writer.write("\r\n".join(head).encode() + b"\r\n\r\n" + body)
        told = (await self.reader.readuntil(b"\r\n\r\n")).decode("latin-1")
        length = re.search(r"(?i)\r\ncontent-length: (\d+)", told)
        if length:
            await self.reader.readexactly(int(length[1]))
        for name, value in re.findall(r"(?i)\r\nset-cookie: ([^=]+)=([^;]*)", told):
            self.cookies[name] = value
        leads = re.search(r"(?i)\r\nlocation: (\S+)", told)
        return int(told.split(" ", 2)[1]), leads[1] if leads else ""


class Times:
    """How long each form and each page took, in milliseconds."""

    def __init__(self, count: int) -> None:
        self.forms: list[float] = []
        self.pages: list[float] = []
        self.acknowledged: list[tuple[str, int]] = []
        self.begun = asyncio.Barrier(count)
        """All have begun before the first step is timed."""

    async def form(self, browser: Browser, path: str, form: Form) -> str:
        """Send a form, and time it."""
        begun = time.perf_counter()
        status, leads = await browser.ask("POST", path, form)
        self.forms.append((time.perf_counter() - begun) * 1_000)
        if status != 303:
            raise RuntimeError(f"{path}: {status} for {form}")
        return leads

    async def page(self, browser: Browser, path: str) -> None:
        """Look at a page, and time it."""
        begun = time.perf_counter()
        status, _ = await browser.ask("GET", path)
        self.pages.append((time.perf_counter() - begun) * 1_000)
        if status != 200:
            raise RuntimeError(f"{path}: {status}")


async def at_work(port: int, number: int, forms: list[Form], times: Times, pause: float) -> None:
    """One nurse at one tablet, from the order to the labelled syringe."""
    browser, chance = Browser(port), random.Random(number)
    await browser.open()
    door = {"code": busy_ward.code(number), "pin": busy_ward.pin(number), "next": "/help"}
    status, _ = await browser.ask("POST", "/sign-in", {**door, "place": busy_ward.place(number)})
    assert status == 303, f"nurse {number} could not sign in: {status}"
    status, leads = await browser.ask("POST", "/orders", {"order": busy_ward.order(number)})
    assert status == 303, f"nurse {number} could not begin: {status}"
    times.acknowledged.append((leads.rpartition("/")[2], 0))
    await times.begun.wait()
    await asyncio.sleep(chance.random() * pause)
    for form in forms:
        await times.page(browser, leads)
        await asyncio.sleep(chance.random() * pause)
        await times.form(browser, leads, form)
        times.acknowledged.append((leads.rpartition("/")[2], int(form["turn"]) + 1))


async def at_bare(port: int, number: int, forms: list[Form], times: Times, pause: float) -> None:
    """The same number of forms of the same size, and pages, against the bare endpoint."""
    browser, chance = Browser(port), random.Random(number)
    await browser.open()
    await asyncio.sleep(chance.random() * pause)
    for form in forms:
        await times.page(browser, "/")
        await asyncio.sleep(chance.random() * pause)
        await times.form(browser, "/", form)


async def load(work: object, port: int, scripts: Sequence[list[Form]], pause: float) -> Times:
    """All of them at once."""
    times = Times(len(scripts))
    act = at_work if work is at_work else at_bare
    async with asyncio.timeout(LONGEST_S):
        await asyncio.gather(
            *(act(port, n, forms, times, pause) for n, forms in enumerate(scripts, start=1))
        )
    return times


def bare(folder: Path) -> None:
    """Serve the baseline."""
    import uvicorn
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import HTMLResponse, RedirectResponse, Response
    from starlette.routing import Route

    from checklist.faces.web.serving import listening

    db = sqlite3.connect(folder / "bare.db", isolation_level=None, check_same_thread=False)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("CREATE TABLE IF NOT EXISTS bare (text TEXT)")

    async def kept(request: Request) -> Response:
        await request.form()
        db.execute("BEGIN IMMEDIATE")
        db.execute("INSERT INTO bare VALUES (?)", (ROW,))
        db.execute("COMMIT")
        return RedirectResponse("/", 303)

    async def shown(request: Request) -> Response:
        return HTMLResponse(ROW)

    app = Starlette(routes=[Route("/", kept, methods=["POST"]), Route("/", shown)])
    open_at = listening("127.0.0.1", 0)
    print(f"http://127.0.0.1:{open_at.getsockname()[1]}/", file=sys.stderr, flush=True)
    uvicorn.Server(
        uvicorn.Config(app, log_level="warning", access_log=False, server_header=False)
    ).run(sockets=[open_at])


def started(folder: Path, *words: str) -> tuple[subprocess.Popen[str], int]:
    """A server as a process of its own, and the port it says."""
    env = {
        **os.environ,
        "CHECKLIST_KEYS": str(folder / "keys"),
        "CHECKLIST_CHECKPOINTS": str(folder / "heads"),
    }
    server = subprocess.Popen(
        [sys.executable, "-m", *words], env=env, stderr=subprocess.PIPE, text=True
    )
    assert server.stderr is not None
    for line in server.stderr:
        if found := re.match(r"http://127\.0\.0\.1:(\d+)/", line):
            return server, int(found[1])
    raise RuntimeError("the server did not come up")


@dataclass(frozen=True, kw_only=True)
class Round:
    """The times of one load on ours, and on the bare one."""

    ours: Times
    base: Times


def measured(folder: Path, ward: Path, scripts: Sequence[list[Form]], pause: float) -> Round:
    """One load on ours, whose trail is looked at afterwards, and one on the bare one."""
    trail = folder / "load.db"
    server, port = started(
        folder, "checklist.faces.cli", "serve", "--ward", str(ward), "--practice",
        "--trail", str(trail), "--port", "0",
    )  # fmt: skip
    try:
        ours = asyncio.run(load(at_work, port, scripts, pause))
    finally:
        server.terminate()
        server.communicate()
    beside, port = started(folder, "tests.benchmarks.screens_under_load", "bare", str(folder))
    try:
        base = asyncio.run(load(at_bare, port, scripts, pause))
    finally:
        beside.terminate()
        beside.communicate()
    with Trail.open(trail, read_only=True) as kept:
        assert kept.verify().whole
        stored = {(e.event.preparation, e.event.turn) for e in kept.since(0)}
    missing = set(ours.acknowledged) - stored
    assert not missing, f"acknowledged and not in the trail: {sorted(missing)[:5]}"
    print(f"{len(ours.acknowledged)} acknowledged steps, all in the trail", flush=True)
    return Round(ours=ours, base=base)


def told(what: str, ours: Sequence[list[float]], base: Sequence[list[float]]) -> None:
    """Two lines, of the medians and of the 99th percentiles; each list is of one round."""
    for name, at in (("p50", 49), ("p99", 98)):
        rounds = [[statistics.quantiles(one, n=100)[at] for one in each] for each in (ours, base)]
        one, other = (statistics.median(each) for each in rounds)
        print(f"{what} {name}: {one:.1f} ms; bare: {other:.1f} ms; ratio {one / other:.2f}")


def main(count: int = TABLETS, pause_ms: float = 0) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ward = busy_ward.make(folder / "ward", count)
        forms = taken_down(folder, ward)
        scripts = [for_nurse(forms, number) for number in range(1, count + 1)]
        rounds = []
        for number in range(1, ROUNDS + 1):
            place = folder / f"round-{number}"
            place.mkdir()
            rounds.append(measured(place, ward, scripts, pause_ms / 1_000))
    print(f"{count} tablets, up to {pause_ms:g} ms between two steps, {ROUNDS} rounds")
    told("form", [one.ours.forms for one in rounds], [one.base.forms for one in rounds])
    told("page", [one.ours.pages for one in rounds], [one.base.pages for one in rounds])


if __name__ == "__main__":
    if sys.argv[1:2] == ["bare"]:
        bare(Path(sys.argv[2]))
    else:
        main(*(int(word) for word in sys.argv[1:3]))
