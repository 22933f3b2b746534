"""What the scripts of every page do, in a real browser: scans, no connection, lock, themes."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from checklist.faces.web.static_files import FOLDER
from tests.browser import chromium, needs_chromium, pressed, served, sign_in
from tests.effort import FULL
from tests.scene import NURSE
from tests.web import make_desk

pytestmark = needs_chromium
GS = "\u001d"
# A page of one field that waits for a scan, with a control of each kind to have the focus instead.
PAGE = """<!doctype html><html lang="en"><title>t</title><body>
<form id="form" method="post" data-plain><input id="scan" data-scan name="a">
<input type="hidden" name="channel" value="typed"><button id="send" class="primary">Send</button>
</form>
<input id="other"><button type="button" id="danger">Discard</button>
<input type="checkbox" id="tick"><select id="list"><option>a<option>b<option>0</select>
<p id="said" role="status"></p>
<script src="/static/scan.js"></script></body></html>"""
WATCH = """() => {
  window.sent = []; window.presses = 0; window.begun = performance.now();
  document.getElementById("form").addEventListener("submit", (event) => {
    event.preventDefault();
    const form = new FormData(event.target);
    window.sent.push([form.get("a"), form.get("channel")]);
    event.target.reset();
    event.target.querySelector("[name=channel]").value = "typed";
  });
  document.getElementById("danger").addEventListener("click", () => { window.presses += 1; });
}"""


SLOWEST = """() => addEventListener("keydown", (event) => {
  if (window.last) { window.slowest = Math.max(window.slowest, event.timeStamp - window.last); }
  window.last = event.timeStamp;
}, true)"""
"""The longest time between two keys in ms, by the page's own clock."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as one:
        yield one


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """The page above, with nothing of a server behind it."""
    context = browser.new_context()
    one = context.new_page()
    script = (FOLDER / "scan.js").read_text("utf-8")

    def given(route: Any) -> None:
        kind = "text/javascript" if route.request.url.endswith(".js") else "text/html"
        route.fulfill(body=script if kind == "text/javascript" else PAGE, content_type=kind)

    one.route("**/*", given)
    one.goto("http://127.0.0.1/")
    one.evaluate(WATCH)
    one.wait_for_timeout(200)  # what comes at once on a new page is the end of an older scan
    yield one
    context.close()


def keyed(page: Any, text: str, gap: int, end: str = "") -> None:
    """Send keys as a scanner does, `gap` ms apart by the page's own clock."""
    for one in text:
        if one == GS:
            page.keyboard.press("Control+]")
        else:
            page.keyboard.press("Space" if one == " " else one)
        page.wait_for_timeout(gap) if gap else None
    if end:
        page.keyboard.press(end)


# The keys are dispatched within the page at exact times, so that a busy machine does not turn a
# scan into typing; `keyed` above goes the long way and is used once.
BURST = """([text, gap, end, at]) => new Promise((done) => {
  const keys = [...text, ...(end ? [end] : [])];
  const next = (n, when) => {
    if (n === keys.length) { setTimeout(done, 400); return; }
    const one = keys[n], gs = one === "\\u001d" && at === "control";
    const target = document.activeElement || document.body;
    const about = {
      key: gs ? "]" : one, code: gs ? "BracketRight" : "", ctrlKey: gs,
      bubbles: true, cancelable: true,
    };
    const down = new KeyboardEvent("keydown", about);
    Object.defineProperty(down, "timeStamp", { value: when });
    const goes = target.dispatchEvent(down);
    const text = target.tagName === "INPUT" && target.type === "text";
    if (goes && one.length === 1 && !gs && text) target.value += one;
    if (goes && one === "Enter" && target.tagName === "BUTTON") target.click();
    else if (goes && one === "Enter" && target.form) target.form.requestSubmit();
    const up = new KeyboardEvent("keyup", about);
    Object.defineProperty(up, "timeStamp", { value: when + 1 });
    const rises = target.dispatchEvent(up);
    const pressed = target.tagName === "BUTTON" || target.type === "checkbox";
    if (rises && one === " " && pressed) target.click();
    setTimeout(next, gap, n + 1, when + gap);
  };
  next(0, performance.now());
})"""
CODE = "01 0952000730041117273107310OX5528"
ENDINGS, FOCUSED = ("Enter", "Tab", ""), ("scan", "other", "danger", "tick", "")
# Slow scans take long: each focus meets one ending by turns, and all of them in the full run.
MATRIX = [
    (gap, end, focus)
    for gap in (0, 8, 16, 40)
    for (i, end), (j, focus) in itertools.product(enumerate(ENDINGS), enumerate(FOCUSED))
    if FULL or gap < 16 or (i + j + gap // 8) % len(ENDINGS) == 0
]


@pytest.mark.parametrize("gap", [0, 8, 16, 40])
def test_a_scan_is_an_event_of_its_own_wherever_the_focus_is(page: Any, gap: int) -> None:
    for _, end, focus in (one for one in MATRIX if one[0] == gap):
        page.evaluate("window.sent = []; window.presses = 0")
        page.evaluate("document.activeElement.blur()")
        if focus:
            page.focus(f"#{focus}")
        for at in ("control", "character"):
            page.evaluate(BURST, [f"{CODE}{GS}21A{at[0]}", gap, end, at])
        sent = page.evaluate("window.sent")
        assert sent == [[f"{CODE}{GS}21A{at}", "scanned"] for at in ("c", "c")], (end, focus)
        assert page.evaluate("window.presses") == 0, (end, focus)
        assert not page.is_checked("#tick"), (end, focus)
        assert page.input_value("#other") == "", (end, focus)
        assert page.input_value("#list") == "a"


def test_a_scan_of_real_keys(page: Any) -> None:
    page.evaluate(SLOWEST)
    for focus in ("#scan", "#danger", "#tick"):
        for _ in range(10):  # a machine so busy that its keys come slower than a scanner's: again
            page.evaluate("window.sent = []; window.presses = window.slowest = window.last = 0")
            page.evaluate("document.querySelectorAll('form').forEach((one) => one.reset())")
            page.set_checked("#tick", False)
            page.focus(focus)
            keyed(page, f"]d2010952000730041{GS}10AB 12", 0, "Enter")
            page.wait_for_timeout(600)
            if page.evaluate("window.slowest") < 40:
                break
        assert page.evaluate("window.sent") == [[f"]d2010952000730041{GS}10AB 12", "scanned"]]
        assert page.evaluate("window.presses") == 0
        assert not page.is_checked("#tick")


def test_plain_typing_and_keys_on_buttons_go_on_as_ever(page: Any) -> None:
    page.locator("#scan").press_sequentially("1.25", delay=120)
    page.keyboard.press("Enter")
    assert page.evaluate("window.sent") == [["1.25", "typed"]]
    page.wait_for_timeout(300)
    page.focus("#danger")
    page.keyboard.press("Enter")
    page.wait_for_timeout(150)
    page.keyboard.press("Space")
    assert page.evaluate("window.presses") == 2
    page.focus("#tick")
    page.keyboard.press("Space")
    assert page.is_checked("#tick")
    page.locator("#other").press_sequentially("a longer text, by hand", delay=90)
    assert page.input_value("#other") == "a longer text, by hand"


def test_what_is_typed_after_a_scan_is_typed(page: Any) -> None:
    page.evaluate("document.getElementById('form').requestSubmit = () => {}")
    page.evaluate(BURST, [CODE, 8, "Enter", "control"])
    assert page.input_value("#scan") == CODE
    assert page.input_value("[name=channel]") == "scanned"
    page.locator("#scan").press_sequentially("7", delay=120)
    assert page.input_value("[name=channel]") == "typed"


def test_a_scan_that_nobody_waits_for_is_said_and_changes_nothing(page: Any) -> None:
    page.evaluate("document.getElementById('scan').removeAttribute('data-scan')")
    page.focus("#other")
    page.evaluate(BURST, [CODE, 8, "Enter", "control"])
    assert "Scan not wanted here" in page.inner_text("#said")
    assert page.input_value("#other") == page.input_value("#scan") == ""
    assert page.evaluate("window.sent") == []


def test_a_scan_while_the_one_before_is_on_its_way_is_said_and_not_glued_to_it(page: Any) -> None:
    page.evaluate("document.documentElement.dataset.sending = '1'")
    page.evaluate(BURST, [CODE, 8, "Enter", "control"])
    assert "on its way" in page.inner_text("#said")
    assert page.evaluate("window.sent") == []


def test_a_scan_of_three_hundred_characters_is_whole_and_an_endless_one_is_refused(
    page: Any,
) -> None:
    page.evaluate(BURST, ["7" * 300, 0, "Enter", "control"])
    page.wait_for_timeout(1_500)
    assert page.evaluate("window.sent") == [["7" * 300, "scanned"]]
    page.evaluate(BURST, ["7" * 1_001, 0, "Enter", "control"])
    assert "longer than any label" in page.inner_text("#said")


# -- with the server -------------------------------------------------------------------------------


def test_offline_what_is_typed_stays_and_is_entered_once_afterwards(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, browser: Any
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with served(desk) as address:
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"{address}/sign-in?next=/help")
        page.fill("#code", NURSE)
        page.fill("#pin", "270612")
        page.select_option("#place", "W7E-1")
        context.set_offline(True)
        page.click("button.primary")
        page.locator("#offline").wait_for(state="visible")
        assert "Not recorded yet" in page.inner_text("#offline")
        assert page.input_value("#code") == NURSE
        assert page.input_value("#pin") == "270612"
        assert "/sign-in" in page.url
        context.set_offline(False)
        page.wait_for_timeout(700)
        pressed(page, "main button.primary")
        assert page.url.endswith("/help")
        assert len(desk.sessions.all()) == 1
        context.close()


def test_pressed_many_times_a_form_is_sent_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, browser: Any
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with served(desk) as address:
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"{address}/sign-in?next=/help")
        sent: list[str] = []
        page.on("request", lambda one: sent.append(one.url) if one.method == "POST" else None)
        page.fill("#code", NURSE)
        page.fill("#pin", "270612")
        page.select_option("#place", "W7E-1")

        page.hover("main button.primary")
        page.mouse.down()
        page.mouse.move(1, 1)
        page.mouse.up()
        page.wait_for_timeout(100)
        assert sent == [] and page.input_value("#code") == NURSE  # slid off before it came up

        def often() -> None:
            page.evaluate("""() => {
                const one = document.querySelector("main button.primary");
                one.click(); one.click(); one.form.requestSubmit(); one.click();
            }""")

        pressed(page, often)
        assert [one for one in sent if one.endswith("/sign-in")] == [f"{address}/sign-in"]
        context.close()


def test_a_tablet_left_alone_warns_waits_and_locks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, browser: Any
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with served(desk) as address:
        context = browser.new_context()
        page = context.new_page()
        page.clock.install()
        sign_in(page, address, NURSE, path="/help")
        idle = int(page.get_attribute("body", "data-idle") or 0)
        assert idle == 600
        for _ in range(10):
            page.clock.run_for((idle - 29) * 1_000)
            page.locator("#idle").wait_for(state="visible")
            assert 20 <= int(page.inner_text("#idle-left")) <= 30
            page.click("#stay")
            page.locator("#idle").wait_for(state="hidden")
        assert len(desk.sessions.all()) == 1
        page.clock.run_for((idle + 1) * 1_000)
        page.wait_for_url("**/sign-in?why=locked**")
        assert "This tablet was locked." in page.inner_text("main")
        assert "next=%2Fhelp" in page.url
        assert desk.sessions.all() == ()
        context.close()


def test_the_theme_is_chosen_and_kept_on_the_device(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, browser: Any
) -> None:
    with served(make_desk(tmp_path, monkeypatch)) as address:
        context = browser.new_context(color_scheme="light")
        page = context.new_page()
        page.goto(f"{address}/sign-in")
        ground = "getComputedStyle(document.body).backgroundColor"
        light = page.evaluate(ground)
        page.fill("#code", "RN")
        page.focus("#code")
        page.click("#theme")
        dark = page.evaluate(ground)
        assert dark != light
        assert page.input_value("#code") == "RN"
        page.reload()
        assert page.evaluate(ground) == dark
        context.close()
        context = browser.new_context(color_scheme="dark", reduced_motion="reduce")
        page = context.new_page()
        page.goto(f"{address}/sign-in")
        assert page.evaluate(ground) == dark
        assert page.evaluate("document.getAnimations().length") == 0
        context.close()


def test_signing_in_takes_a_paste_and_what_a_browser_keeps_and_a_badge_stands_for_the_code(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, browser: Any
) -> None:
    """WCAG 2.2, 3.3.8: pasting and a browser's own keeping of passwords spare the memory."""
    badge = "]d28017952000000000001122"  # NURSE, as `staff.toml` has it, behind a scanner's prefix
    with served(make_desk(tmp_path, monkeypatch)) as address:
        context = browser.new_context()
        context.grant_permissions(["clipboard-read", "clipboard-write"], origin=address)
        page = context.new_page()
        page.goto(f"{address}/sign-in?next=/help")
        kinds = [page.get_attribute(field, "autocomplete") for field in ("#code", "#pin")]
        assert kinds == ["username", "current-password"]
        for field, text in (("#code", badge), ("#pin", "270612")):
            page.evaluate("(text) => navigator.clipboard.writeText(text)", text)
            page.focus(field)
            page.keyboard.press("Control+V")
            assert page.input_value(field) == text
        page.select_option("#place", "W7E-1")
        pressed(page, "main button.primary")
        assert page.url == f"{address}/help", page.inner_text("main")
        assert NURSE in page.inner_text(".who")
        context.close()


def test_it_works_without_script(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, browser: Any
) -> None:
    with served(make_desk(tmp_path, monkeypatch)) as address:
        context = browser.new_context(java_script_enabled=False)
        page = context.new_page()
        page.goto(f"{address}/sign-in?next=/help")
        page.fill("#code", NURSE)
        page.fill("#pin", "270612")
        page.select_option("#place", "W7E-1")
        page.click("main button.primary")
        page.wait_for_url("**/help")
        assert NURSE in page.inner_text(".who")
        page.click("text=Sign out")
        page.wait_for_url("**/sign-in?why=out")
        context.close()


def test_no_page_of_the_frame_asks_another_host_or_breaks_the_policy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, browser: Any
) -> None:
    with served(make_desk(tmp_path, monkeypatch)) as address:
        context = browser.new_context()
        page = context.new_page()
        asked: list[str] = []
        said: list[str] = []
        page.on("request", lambda one: asked.append(one.url))
        page.on("console", lambda one: said.append(one.text))
        page.on("pageerror", lambda one: said.append(str(one)))
        sign_in(page, address, NURSE, path="/help")
        assert all(one.startswith(address) for one in asked)
        assert said == []
        context.close()
