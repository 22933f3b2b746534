"""A real server on a free port and a headless Chromium, for the tests of the screens."""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from checklist.faces.web.app import make_app
from checklist.faces.web.desk import Desk
from checklist.faces.web.serving import listening
from checklist.faces.web.serving import server as server_of
from tests.web import PINS

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
MUST = os.environ.get("CHECKLIST_BROWSER") == "must"
"""Whether a machine without Chromium fails the tests of the screens; `.ci/run` asks for it."""
MISSING = (
    "There is no Chromium here, so the screens are not tried. Install it, on Debian by"
    " `apt-get install chromium`, and run the tests again."
)
needs_chromium = pytest.mark.skipif(CHROMIUM is None and not MUST, reason=MISSING)


@contextmanager
def served(desk: Desk, **how: Any) -> Iterator[str]:
    """The address of a server of this desk, while it runs; `how` is what `server` of the face
    takes: a certificate and its key, or a proxy.
    """
    with listening("127.0.0.1", 0) as open_at:
        port = open_at.getsockname()[1]
        server = server_of(make_app(desk), **how)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [open_at]})
        thread.start()
        try:
            until = time.monotonic() + 30
            while not server.started and thread.is_alive() and time.monotonic() < until:
                time.sleep(0.01)
            assert server.started, "the server did not come up"
            yield f"{'https' if 'cert' in how else 'http'}://127.0.0.1:{port}"
        finally:
            server.should_exit = True
            thread.join(30)


@contextmanager
def chromium(**more: Any) -> Iterator[Any]:
    """A headless Chromium of the system, through playwright."""
    from playwright.sync_api import sync_playwright

    assert CHROMIUM is not None, MISSING
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"], **more)
        try:
            yield browser
        finally:
            browser.close()


def until(page: Any, expression: str, within: float = 30) -> None:
    """Wait until an expression is true in a page, asked from outside.

    The driver's own waiting puts a script together in the page, which the page's policy refuses.
    """
    from playwright.sync_api import Error

    end = time.monotonic() + within
    while time.monotonic() < end:
        try:
            if page.evaluate(expression):
                return
        except Error:
            pass  # the page was replaced in between
        page.wait_for_timeout(20)
    raise AssertionError(f"{expression} did not come true")


def pressed(page: Any, press: str | Callable[[], object]) -> None:
    """Press something that sends a form, by its selector or by an act; wait for what came of it.

    Forms are sent by script and the page is then changed or replaced, so a browser's own waiting
    does not cover it.
    """
    page.evaluate("document.documentElement.dataset.before = '1'")
    page.click(press) if isinstance(press, str) else press()
    until(page, "!document.documentElement.dataset.before && document.readyState === 'complete'")


def sign_in(page: Any, address: str, code: str, *, place: str = "W7E-1", path: str = "/") -> None:
    """Sign a person in at a browser's page, and go on to a path."""
    page.goto(f"{address}/sign-in?next={path}")
    page.fill("#code", code)
    page.fill("#pin", PINS[code])
    page.select_option("#place", place)
    pressed(page, "main button.primary")
