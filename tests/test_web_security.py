"""Hostile input at the ward's screens: refused, inert, and nothing recorded that was not done."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from starlette.routing import Route

from checklist.faces.web.desk import Desk
from checklist.faces.web.guard import FIELDS, LARGEST, LONGEST
from checklist.faces.web.signing_in import led_to
from checklist.faces.web.static_files import FOLDER
from checklist.faces.web.tries import Tries
from checklist.lockout import FOR_GOOD
from checklist.observation import Channel
from checklist.preparation import Act
from checklist.trail import Trail
from tests.scene import COLLEAGUE, LABELS, NURSE
from tests.web import ADDRESS, PINS, Tablet, make_desk, tablets
from tests.web_nurse import Shift, desk_and_clock

MARKUP = '"><script>alert(1)</script><img src=x onerror=alert(2)>{{7*7}}${7*7}'
OPEN_TO_ALL = {"/sign-in", "/sign-out", "/lock", "/help", "/health", "/events", "/static/{name}"}
"""Pages that anybody may ask for: none of them shows or does anything of a ward's work."""


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    return make_desk(tmp_path, monkeypatch)


@pytest.fixture
def tablet(desk: Desk) -> Iterator[Tablet]:
    with tablets(desk) as (one,):
        yield one


def recorded(desk: Desk) -> list[str]:
    """The kinds of all entries."""
    with Trail.open(desk.trail_path, read_only=True) as trail:
        return [entry.event.kind for entry in trail.since(0)]


# -- from elsewhere --------------------------------------------------------------------------------

ELSEWHERE: dict[str, dict[str, str | None]] = {
    "another site": {"Origin": "https://elsewhere.example", "Sec-Fetch-Site": "cross-site"},
    "another site, old browser": {"Origin": "https://elsewhere.example", "Sec-Fetch-Site": None},
    "the same name by TLS": {"Origin": "https://127.0.0.1", "Sec-Fetch-Site": None},
    "another port": {"Origin": "http://127.0.0.1:8421", "Sec-Fetch-Site": None},
    "a name that begins alike": {"Origin": "http://127.0.0.1.elsewhere.example"},
    "no page": {"Origin": "null", "Sec-Fetch-Site": None},
    "a page beside": {"Origin": ADDRESS, "Sec-Fetch-Site": "same-site"},
    "a bookmark": {"Origin": None, "Sec-Fetch-Site": "none"},
    "nothing said": {"Origin": None, "Sec-Fetch-Site": None},
}


def changed(tablet: Tablet, headers: dict[str, str | None]) -> None:
    for name, value in headers.items():
        tablet.headers.pop(name, None)
        if value is not None:
            tablet.headers[name] = value


@pytest.mark.parametrize("name", ELSEWHERE)
def test_a_form_from_elsewhere_is_refused(desk: Desk, tablet: Tablet, name: str) -> None:
    tablet.sign_in(NURSE)
    before = recorded(desk)
    changed(tablet, ELSEWHERE[name])
    answer = tablet.post("/orders", data={"order": "ORD-103"})
    assert answer.status_code == 403
    assert "nothing was done" in answer.text
    assert recorded(desk) == [*before, "turned_away"]


@pytest.mark.parametrize(
    "headers", [{"Origin": None}, {"Sec-Fetch-Site": None}], ids=["no Origin", "an old browser"]
)
def test_one_word_of_the_browser_is_enough(tablet: Tablet, headers: dict[str, str | None]) -> None:
    changed(tablet, headers)
    tablet.sign_in(NURSE)


def test_the_cookies_stay_with_this_server_and_out_of_reach(tablet: Tablet) -> None:
    answer = tablet.sign_in(NURSE)
    told = answer.headers.get_list("set-cookie")
    assert len(told) == 3
    for one in told:
        assert "HttpOnly" in one
        assert "SameSite=strict" in one
        assert "Domain" not in one
    (session,) = (one for one in told if one.startswith("session="))
    assert "Max-Age" not in session
    assert re.match(r"session=[A-Za-z0-9_-]{43};", session)


def test_by_tls_they_are_bound_to_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = make_desk(tmp_path, monkeypatch, secure=True)
    with tablets(desk) as (tablet,):
        tablet.base_url = "https://127.0.0.1"
        tablet.headers["Origin"] = "https://127.0.0.1"
        answer = tablet.sign_in(NURSE)
        for one in answer.headers.get_list("set-cookie"):
            assert one.startswith("__Host-")
            assert "Secure" in one
        assert answer.headers["strict-transport-security"].startswith("max-age=")


def test_a_session_begins_with_a_new_secret(desk: Desk, tablet: Tablet) -> None:
    tablet.cookies.set("session", "chosen-by-somebody-else")
    tablet.sign_in(NURSE)
    first = tablet.cookies.get("session", domain="127.0.0.1") or tablet.cookies.get("session")
    assert "chosen-by-somebody-else" not in {one.id for one in desk.sessions.all()}
    tablet.cookies.clear()
    tablet.sign_in(NURSE)
    assert first not in {one.id for one in desk.sessions.all()} or len(desk.sessions.all()) == 2


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "127.0.0.1.elsewhere.example", "", "127.0.0.2"]
)
def test_a_name_of_another_server_is_turned_away(tablet: Tablet, host: str) -> None:
    answer = tablet.get("/sign-in", headers={"Host": host})
    assert answer.status_code == 421
    assert "Sign in</h1>" not in answer.text


# -- too much, or not readable ---------------------------------------------------------------------

TYPE = {"Content-Type": "application/x-www-form-urlencoded"}
BODIES: dict[str, tuple[bytes, dict[str, str], int]] = {
    "more than is taken": (b"code=" + b"a" * LARGEST, TYPE, 413),
    "one long answer": (b"code=" + b"a" * (LONGEST + 1), TYPE, 413),
    "a long name": (b"a" * 201 + b"=1", TYPE, 413),
    "many fields": (b"&".join(b"f%d=1" % n for n in range(FIELDS + 1)), TYPE, 400),
    "no text": (b"code=%ff%fe", TYPE, 400),
    "overlong": (b"code=%c0%ae%c0%ae", TYPE, 400),
    "half a pair": (b"code=%ed%a0%80", TYPE, 400),
    "a NUL": (b"code=RN-12%00", TYPE, 400),
    "raw bytes": (b"code=\xc3\xa9", TYPE, 400),
    "another charset": (b"code=1", {"Content-Type": f"{TYPE['Content-Type']}; charset=utf-7"}, 415),
    "JSON": (b'{"code": "RN-12"}', {"Content-Type": "application/json"}, 415),
    "plain text": (b"code=RN-12", {"Content-Type": "text/plain"}, 415),
    "a file": (b"--x\r\n\r\n--x--", {"Content-Type": "multipart/form-data; boundary=x"}, 415),
    "packed": (b"\x1f\x8b", {**TYPE, "Content-Encoding": "gzip"}, 415),
}


@pytest.mark.parametrize("name", BODIES)
def test_a_form_that_is_none_is_refused(desk: Desk, tablet: Tablet, name: str) -> None:
    body, headers, status = BODIES[name]
    answer = tablet.post("/sign-in", content=body, headers=headers)
    assert answer.status_code == status
    assert answer.headers["content-type"].startswith("text/html")
    assert recorded(desk) == ["turned_away"]


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "X"])
def test_no_other_method_does_anything(tablet: Tablet, method: str) -> None:
    assert tablet.request(method, "/sign-in").status_code == 405


def test_a_page_that_takes_no_form_says_so(tablet: Tablet) -> None:
    answer = tablet.post("/help", data={"a": "1"})
    assert answer.status_code == 405
    assert "Not possible" in answer.text


@pytest.mark.parametrize(
    "path",
    [
        "/static/../desk.py",
        "/static/..%2fdesk.py",
        "/static/%2e%2e/%2e%2e/serve.py",
        "/static/....//desk.py",
        "/static//etc/passwd",
        "/static/%2fetc%2fpasswd",
        "/static/page.css%00.js",
        "/static/page.css/",
        "/static/",
        "/static",
        "/static/..%5cdesk.py",
        "/static/PAGE.CSS",
        "/.env",
        "/preparation/../../trail.db",
    ],
)
def test_nothing_but_the_files_of_the_pages_is_given(tablet: Tablet, path: str) -> None:
    answer = tablet.get(path)
    assert answer.status_code in (303, 404)
    assert "def " not in answer.text
    assert "root:" not in answer.text


def test_files_are_kept_by_browsers_under_their_version(tablet: Tablet) -> None:
    page = tablet.get("/sign-in").text
    addresses = re.findall(r'"(/static/[^"]+)"', page)
    assert len(addresses) >= 5
    for address in addresses:
        answer = tablet.get(address)
        assert "immutable" in answer.headers["cache-control"]
        tag = answer.headers["etag"]
        assert not tag.startswith("W/")
        again = tablet.get(address, headers={"If-None-Match": tag})
        assert (again.status_code, again.content) == (304, b"")
    assert tablet.get("/static/page.css?v=old").headers["cache-control"] == "no-cache"
    assert {one.name for one in FOLDER.iterdir()} >= {"page.css", "page.js", "scan.js"}


# -- what goes with every answer -------------------------------------------------------------------


@pytest.mark.parametrize(
    "path", ["/sign-in", "/help", "/no-such-page", "/static/page.css", "/static/none.css", "/"]
)
def test_every_answer_says_what_a_browser_may_do_with_it(tablet: Tablet, path: str) -> None:
    headers = tablet.get(path).headers
    policy = dict(
        one.strip().split(" ", 1) for one in headers["content-security-policy"].split(";")
    )
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
    assert policy["base-uri"] == policy["frame-ancestors"] == "'none'"
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert "camera=()" in headers["permissions-policy"]
    assert "server" not in headers
    if path != "/static/page.css":
        assert headers["cache-control"] == "no-store"


def test_no_page_holds_a_script_or_style_of_its_own_or_of_elsewhere() -> None:
    for template in sorted((FOLDER.parent / "templates").rglob("*.html")):
        text = template.read_text("utf-8")
        assert not re.search(r"<script(?![^>]* src=\"/static/)", text), template
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", text), template
        assert not re.search(r"(?:src|href|action)=\"(?:https?:)?//", text), template
        assert "| safe" not in text, template
        assert "autoescape" not in text, template


# -- who may ---------------------------------------------------------------------------------------


def pages(tablet: Tablet) -> list[tuple[str, str]]:
    """Every page of the application and a method that it takes."""
    app: Any = tablet.app
    found = []
    for route in app.app.routes if hasattr(app, "app") else app.routes:
        assert isinstance(route, Route)
        path = re.sub(r"\{[^}]*\}", "x", re.sub(r"\{[^}]*:int\}", "1", route.path))
        found += [(method, path) for method in sorted(route.methods or ()) if method != "HEAD"]
        assert route.path in OPEN_TO_ALL or route.methods
    return found


def test_no_page_opens_to_whoever_has_not_signed_in(desk: Desk, tablet: Tablet) -> None:
    every = pages(tablet)
    assert len(every) > 10
    open_paths = {re.sub(r"\{[^}]*\}", "x", path) for path in OPEN_TO_ALL}
    for method, path in every:
        if path in open_paths:
            continue
        answer = tablet.request(method, path)
        assert answer.status_code == 303, (method, path)
        assert answer.headers["location"].startswith("/sign-in"), (method, path)
    assert recorded(desk) == []


@pytest.mark.parametrize("code", ["CA-5", "AD-1"])
def test_no_page_opens_to_whoever_has_no_role_for_it(desk: Desk, tablet: Tablet, code: str) -> None:
    tablet.sign_in(code)
    open_paths = {re.sub(r"\{[^}]*\}", "x", path) for path in OPEN_TO_ALL} | {"/", "/stay"}
    others = [one for one in desk.ward.staff if one != code]
    refused = 0
    for method, path in pages(tablet):
        if path in open_paths or path.startswith("/quality/trail"):
            continue  # whoever may verify a trail may look at this one
        before = recorded(desk).count("not_allowed")
        answer = tablet.request(method, path)
        if path.startswith("/review"):  # everybody's own work, and nobody else's
            assert not [one for one in others if one in answer.text], (method, path)
            continue
        assert answer.status_code == 403, (method, path)
        assert "on record as" in answer.text
        assert recorded(desk).count("not_allowed") == before + 1, (method, path)
        refused += 1
    assert refused > 10


def test_wrong_pins_at_another_tablet_keep_everybody_out_but_end_no_session(desk: Desk) -> None:
    """Else whoever knows a code could take a nurse away from a dose in the middle."""
    with tablets(desk, 2) as (first, second):
        first.sign_in(NURSE)
        at = first.post("/orders", data={"order": "ORD-103"}).headers["location"]
        for _ in range(desk.ward.unit.pin_tries):
            second.sign_in(NURSE, "999999")
        assert recorded(desk)[-1] == "locked"
        assert first.get(at).status_code == 200
        assert first.post(at, data={"act": "attempt", "turn": "0"}).status_code in (303, 422)
        assert len(desk.sessions.all()) == 1


def test_the_right_pin_of_whoever_is_locked_does_and_tells_nothing(desk: Desk) -> None:
    with tablets(desk, 2) as (first, second):
        second.sign_in(COLLEAGUE)
        for _ in range(desk.ward.unit.pin_tries):
            first.sign_in(NURSE, "999999")
        told = [second.sign_in(NURSE, pin).text for pin in ("999999", PINS[NURSE])]
        assert told[0] == told[1]
        assert "is locked until" in told[0]
        # Who was here is here still; a right PIN would have sent them away.
        assert second.get("/orders").status_code == 200
        assert [one.person for one in desk.sessions.all()] == [COLLEAGUE]


def test_a_session_ends_when_the_person_is_locked_by_hand(desk: Desk) -> None:
    with tablets(desk) as (first,):
        first.sign_in(NURSE)
        assert first.get("/orders").status_code == 200
        act = Act(
            id="by-hand-1", kind="locked", at=desk.clock(), by="AD-1", station="",
            channel=Channel.TYPED.value,
            body={"person": NURSE, "until": FOR_GOOD, "why": "by hand"},
        )  # fmt: skip
        with Trail.open(desk.trail_path) as trail:
            trail.record(act)
        assert first.get("/orders").headers["location"].startswith("/sign-in")
        assert desk.sessions.all() == ()


def test_a_forged_or_old_cookie_opens_nothing(desk: Desk, tablet: Tablet) -> None:
    tablet.sign_in(NURSE)
    good = desk.sessions.all()[0].id
    tablet.post("/sign-out")
    for value in (good, good[:-1] + "A", "", "../x", "a" * 5_000):
        tablet.cookies.clear()
        answer = tablet.get("/orders", headers={"Cookie": f"session={value}"})
        assert answer.status_code == 303


# -- sign-in ---------------------------------------------------------------------------------------


def test_many_tries_from_one_address_are_slowed_down_and_the_trail_is_not_filled(
    desk: Desk, tablet: Tablet
) -> None:
    answers = [
        tablet.post("/sign-in", data={"code": f"X{n}", "pin": "1", "place": "W7E-1"})
        for n in range(40)
    ]
    statuses = [answer.status_code for answer in answers]
    assert statuses.count(422) == 20
    assert statuses.count(429) == 20
    assert int(answers[-1].headers["retry-after"]) > 0
    assert recorded(desk) == ["not_signed_in"] * 20


def test_tries_count_for_a_while_and_for_each_address() -> None:
    now = [0.0]
    tries = Tries(3, 60.0, clock=lambda: now[0])
    for _ in range(3):
        assert tries.wait("a") == 0
        tries.count("a")
    assert tries.wait("a") == 60
    assert tries.wait("b") == 0
    now[0] = 45.0
    assert tries.wait("a") == 15
    now[0] = 60.0
    assert tries.wait("a") == 0


@pytest.mark.parametrize("code", [MARKUP, "RN-12\r\nSet-Cookie: a=b", "\u202eRN-12", "' OR 1=1 --"])
def test_what_is_typed_to_sign_in_is_shown_as_text_or_not_at_all(
    desk: Desk, tablet: Tablet, code: str
) -> None:
    answer = tablet.post("/sign-in", data={"code": code, "pin": code, "place": "W7E-1"})
    assert answer.status_code == 422
    assert "<script>alert" not in answer.text
    assert "<img src=x" not in answer.text
    assert "Set-Cookie" not in str(answer.headers)
    with Trail.open(desk.trail_path, read_only=True) as trail:
        (entry,) = trail.since(0)
    assert "alert" not in str(entry.event.body)
    assert entry.event.body["person"] == ""


ASIDE = ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example",
         "javascript:alert(1)", "/\r\nSet-Cookie: a=b", "\\\\elsewhere.example", "x", "",
         "/\u2028", "///elsewhere.example", "/" + "a" * 3_000]  # fmt: skip


@pytest.mark.parametrize("path", ASIDE)
def test_nobody_is_led_elsewhere_after_signing_in(tablet: Tablet, path: str) -> None:
    answer = tablet.sign_in(NURSE, next_=path)
    assert answer.headers["location"] == "/"
    assert led_to(path) == "/"


def test_after_signing_in_the_way_leads_back_to_the_page_that_was_asked_for(
    tablet: Tablet,
) -> None:
    first = tablet.get("/preparation/abc?x=1&y=2")
    assert (
        first.headers["location"] == f"/sign-in?next={quote('/preparation/abc?x=1&y=2', safe='')}"
    )
    assert 'value="/preparation/abc?x=1&amp;y=2"' in tablet.get(first.headers["location"]).text


# -- in a preparation ------------------------------------------------------------------------------


def test_what_is_typed_in_a_preparation_is_inert_wherever_it_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk, clock = desk_and_clock(tmp_path, monkeypatch)
    with tablets(desk) as (tablet,):
        shift = Shift(desk, tablet, "ORD-103", clock)
        shift.begin()
        shift.send("note", note=MARKUP)
        texts = [tablet.get(f"{shift.address}{path}").text for path in ("", "/entries", "/why")]
        shift.to("take_the_product")
        answer = shift.attempt({"product": LABELS["ORD-103"] + MARKUP})
        texts += [answer.text, tablet.get(shift.address).text]
        answer = tablet.post(shift.address, data={"act": MARKUP, "turn": MARKUP})
        texts += [answer.text, tablet.get(f"/preparation/{quote(MARKUP)}").text]
        for text in texts:
            assert "<script>alert" not in text
            assert "<img src=x" not in text
        assert any("{{7*7}}${7*7}" in text for text in texts)
        shift.beside.close()


def test_a_form_sent_again_or_for_another_turn_moves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk, clock = desk_and_clock(tmp_path, monkeypatch)
    with tablets(desk) as (tablet,):
        shift = Shift(desk, tablet, "ORD-103", clock)
        shift.begin()
        form = {"act": "attempt", "turn": str(shift.screen.prep.turn), **shift.right()}
        assert tablet.post(shift.address, data=form).status_code == 303
        kinds = shift.kinds()
        for turn in (form["turn"], "999", "-1", "1e3", "", "0x1", "١", "9" * 40):
            answer = tablet.post(shift.address, data={**form, "turn": turn})
            assert answer.status_code in (303, 400, 409), turn
            assert shift.kinds() == kinds, turn
        shift.beside.close()


def test_a_fault_of_our_own_is_told_without_what_is_inside(
    desk: Desk, tablet: Tablet, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("secret 4711 of the inside")

    tablet.sign_in(NURSE)
    monkeypatch.setattr(desk, "links", broken)
    answer = tablet.get("/")
    assert answer.status_code == 500
    assert "4711" not in answer.text
    assert "RuntimeError" not in answer.text
    assert "secret 4711" in capsys.readouterr().err


def test_the_pins_are_in_no_page(desk: Desk, tablet: Tablet) -> None:
    tablet.sign_in(NURSE)
    for path in ("/", "/orders", "/help", "/sign-in"):
        text = tablet.get(path).text
        assert not any(pin in text for pin in PINS.values())
