"""Hostile input through every form and address of the screens: refused, recorded, inert.

Forms and their fields are taken from the pages as they are drawn, ways from the application itself,
so that a new one without a row here fails.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import cycle
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

import pytest
from starlette.routing import Match, Route

from checklist.educator.watch import WORDS as TALK
from checklist.engine import ways
from checklist.faces.web.app import make_app
from checklist.faces.web.desk import Desk
from checklist.faces.web.guard import LARGEST
from checklist.faces.web.nurse.acts import _ACTS
from checklist.faces.web.tries import Tries
from checklist.faces.web.turned_away import MOST
from checklist.faces.workplace import OBSERVATIONS
from checklist.trail import Trail
from tests.crawl import NOT_PAGES
from tests.read_page import PLANTED, Form, Page
from tests.scene import COLLEAGUE, NURSE
from tests.web import Tablet, make_desk, tablets
from tests.web_nurse import Shift, desk_and_clock

ROWS: dict[str, tuple[str, str]] = {
    "/sign-in": ("", ""),
    "/sign-out": ("", ""),
    "/lock": ("", ""),
    "/stay": (NURSE, ""),
    "/orders": (NURSE, "AD-1"),
    "/called": (NURSE, "AD-1"),
    "/true-size": (NURSE, "AD-1"),
    "/preparation/{id}": (NURSE, "AD-1"),
    "/preparation/{id}/label": (NURSE, "AD-1"),
    "/spoken": (NURSE, "AD-1"),
    "/review/{id}/observe": ("ED-1", ""),
    "/review/feedback/{id}/talk": ("ED-1", ""),
    "/review/progress/{person}": ("ED-1", ""),
    "/quality/facts": ("QI-1", NURSE),
    "/quality/lines": ("QI-1", NURSE),
    "/quality/trail/look": ("QI-1", ""),
    "/quality/trail/head": ("PH-2", NURSE),
}
"""Each way that takes a form: somebody who may send one ("" for whoever comes), and somebody whose
role opens none of it ("" where every role opens it, or it turns on whose work it is)."""
BARE = {"/lock", "/stay", "/spoken"}
"""Ways that scripts send to, from no form of a page."""
WORDS = {"note", "remark", "words", "reason", *TALK}
"""Fields for words of one's own: these may hold anything; they are kept, and shown as text."""
LEADING = {"phase", "next"}
"""Fields that only say which page comes next."""
ANY_TURN = {"interrupt", "nobody_free", "resume", "cause", "note", "second_in"}
"""Acts that are taken for any turn: a break is never refused, whoever comes back reads again, words
beside move nothing, and the station holds a second person to the step."""
ODD = (PLANTED, "\u202e-1\x1b[2J", "١", "999999999")
"""Markup, text that turns and steers, a figure of another script, and a turn that never was."""
STILL = {"noted", "turned_away", "not_signed_in", "refused", "signed", "not_allowed"}
"""What may be recorded of a hostile form: that it could not be read, or was refused, with the
signature of a second person's refusal."""
FOCUSED = re.compile(r'<(h1|div(?=[^>]* role="alert"))(?=[^>]* tabindex="-1")[^>]* autofocus[ >]')
"""What a page of a preparation puts the focus on: its heading, or what stands in the way."""
QUALITY = tuple(f"/quality/{one}" for one in ("before-after", "gaps", "audit-size", "settings"))
"""Pages that a trail of one day has no marks for that would lead there."""


@dataclass(kw_only=True)
class Walk:
    """Work on one ward through every page, each field tried once on the way."""

    desk: Desk
    routes: list[Route]
    shift: Shift | None = None
    done: set[tuple[str, str, str]] = field(default_factory=set)
    kinds_done: set[tuple[str, str, bool]] = field(default_factory=set)
    trails: dict[Path, Trail] = field(default_factory=dict)
    seen: Counter[tuple[str, str]] = field(default_factory=Counter)
    shown: list[str] = field(default_factory=list)

    def way(self, path: str, method: str = "GET") -> str:
        """The way that a path is one of; "" for none."""
        scope = {"type": "http", "path": path, "method": method}
        return next((r.path for r in self.routes if r.matches(scope)[0] is Match.FULL), "")

    def sizes(self) -> tuple[int, int]:
        """How many entries there are, and how many of observations."""
        paths = (self.desk.trail_path, self.desk.trail_path.with_suffix(OBSERVATIONS))
        for path in paths:
            if path not in self.trails and path.exists():
                self.trails[path] = Trail.open(path, read_only=True)
        work, beside = (self.trails[p].head().seq if p in self.trails else 0 for p in paths)
        return work, beside

    def kinds(self, after: tuple[int, int] = (0, 0)) -> list[str]:
        """The kinds of all entries since then, those of observations behind."""
        self.sizes()
        both = zip(self.trails.values(), after, strict=False)
        return [one.event.kind for trail, seq in both for one in trail.since(seq)]

    def inert(self, answer: Any, where: object) -> Page:
        """An answer that is no fault of ours, in which nothing is alive."""
        assert answer.status_code < 500, (where, answer.text[-900:])
        for name in ("location", "content-disposition", "set-cookie"):
            value = answer.headers.get(name, "")
            assert value.isascii() and value.isprintable() and "<" not in value, (where, value)
        kind = answer.headers.get("content-type", "")
        page = Page(answer.text if kind.startswith(("text/html", "image/svg")) else "")
        assert page.alive == [], where
        work = answer.url.path.startswith("/preparation") and kind.startswith("text/html")
        if work and answer.text:
            assert len(FOCUSED.findall(answer.text)) == answer.text.count(" autofocus") == 1, where
        if "planted()" in page.text:
            self.shown.append(self.way(answer.url.path))
        return page

    def tried(self, tablet: Tablet, path: str) -> Page:
        """A page; each field of its forms that was not tried yet gets each odd value."""
        answer = tablet.get(path)
        assert answer.status_code == 200, (path, answer.status_code, answer.text[-900:])
        page = self.inert(answer, path)
        parts = urlsplit(path)
        self.seen["GET", self.way(parts.path)] += 1
        last: list[tuple[Form, str, str]] = []
        for form in page.forms:
            action = form.action or parts.path
            if action.startswith("?"):
                action = parts.path + action
            way = self.way(urlsplit(action).path, form.method.upper())
            assert way, (path, action)
            self.seen[form.method.upper(), way] += 1
            for name in dict.fromkeys(form.names):
                if (way, form.act, name) in self.done:
                    continue
                self.done.add((way, form.act, name))
                if form.method == "get":
                    self.asked(tablet, action, {**form.values}, name)
                elif name in WORDS | LEADING or (form.act in ANY_TURN and name == "turn"):
                    last.append((form, action, name))
                else:
                    self.sent(tablet, form, action, name)
        for form, action, name in last:
            answer = tablet.post(action, data={**form.values, name: PLANTED})
            self.inert(answer, (action, form.act, name))
        return page

    def asked(self, tablet: Tablet, path: str, query: dict[str, str], name: str) -> None:
        """Ask for a page with odd words in its address."""
        before = self.sizes()
        for odd in ODD[:2]:
            answer = tablet.get(f"{urlsplit(path).path}?{urlencode({**query, name: odd})}")
            self.inert(answer, (path, name, odd))
        assert self.sizes() == before, (path, name)

    def sent(self, tablet: Tablet, form: Form, action: str, name: str) -> None:
        """Send a form with one odd field: nothing moves, and at most a refusal is recorded."""
        stood = self.stands()
        kind = (form.act, name.partition(".")[0], name.rpartition(".")[2] in ("none", "said"))
        odd = ODD[:1] if "." in name and kind in self.kinds_done else ODD
        self.kinds_done.add(kind)
        for value in odd:
            before = self.sizes()
            where = (action, form.act, name, value)
            self.inert(tablet.post(action, data={**form.values, name: value}), where)
            added = self.kinds(before)
            assert set(added) <= STILL, (where, added)
            if self.shift and self.stands() == "refused" != stood:
                again(self.shift, self.shift.place.partition("/")[0])
                if form.act == "attempt" and "own." in name:
                    self.shift.hand_over()

    def close(self) -> None:
        """Let the trails go."""
        while self.trails:
            self.trails.popitem()[1].close()

    def stands(self) -> str:
        """How the preparation stands, "" before there is one."""
        return self.shift.screen.stands if self.shift and self.shift.id else ""

    def linked(self, tablet: Tablet, code: str, *prefixes: str) -> None:
        """Sign a person in and go through the pages below some paths, one of each kind."""
        tablet.sign_in(code)
        waiting, kinds = list(prefixes), set[tuple[str, ...]]()
        while waiting:
            path = waiting.pop(0)
            parts = urlsplit(path)
            way, query = self.way(parts.path), dict(parse_qsl(parts.query, keep_blank_values=True))
            kind = (way, *sorted(query))
            again = sum(one[0] == way for one in kinds) > 1
            if not way or kind in kinds or again or not path.startswith(prefixes):
                continue
            kinds.add(kind)
            for name in query:
                if (way, "", name) not in self.done:
                    self.done.add((way, "", name))
                    self.asked(tablet, path, query, name)
            if way in NOT_PAGES:
                self.inert(tablet.get(path), path)
                continue
            for link in self.tried(tablet, path).links:
                at = link if link.startswith("/") else parts.path + link
                waiting.append(at.partition("#")[0])


@pytest.fixture(scope="module")
def walk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Walk, Any, list[Tablet]]]:
    with pytest.MonkeyPatch.context() as patch:
        desk, clock = desk_and_clock(tmp_path_factory.mktemp("hostile"), patch)
        with tablets(desk, 3) as found:
            routes = [one for one in make_app(desk).routes if isinstance(one, Route)]
            one = Walk(desk=desk, routes=routes)
            yield one, clock, found
            one.close()


def prepared(walk: Walk, shift: Shift, tablet: Tablet) -> None:
    """Go through a whole preparation with a witness, a stop, a caution, a break and a label."""

    def here(*below: str) -> None:
        for path in below or ("",):
            place = shift.place
            walk.tried(tablet, f"{shift.address}{path}")
            if shift.screen.stands == "interrupted" and not place.endswith("interrupted"):
                shift.send("resume")  # a break with a forged turn is a break all the same
                again(shift, place.partition("/")[0])

    shift.open()
    here("", "/end")
    shift.attempt({"first_identifier": "99999999"})
    here("", "/why")
    if shift.screen.stands == "refused":
        shift.send("remedy", remedy="recheck", note=PLANTED)
    shift.to("witness_the_count")
    here()
    shift.hand_over()
    here()
    shift.attempt()
    here("/back")
    shift.to("make_the_neck_ready")
    shift.attempt({"neck_wiped": "n"})
    here()
    assert shift.send("proceed", because="other", note=PLANTED).status_code == 303
    while shift.place != "write_the_label":
        here()
        if shift.place == "set_the_dose":
            shift.attempt({"drawn_volume": "0.9"})
            here()
            again(shift, "set_the_dose")
        if shift.place == "draw_up":
            shift.send("interrupt")
            here()
            again(shift, "draw_up")
        shift.on()
    here("/label")
    turn = str(shift.screen.prep.turn)
    assert tablet.post(f"{shift.address}/label", data={"size": "", "turn": turn}).is_success
    here("/label", "/steps")
    shift.finish()
    here("", "/entries")


def again(shift: Shift, step: str) -> None:
    """Come back to a step after a break, whatever the break asks for."""
    for _ in range(60):
        if shift.place == step:
            return
        if shift.screen.stands == "refused":
            prep = shift.screen.prep
            way = ways(prep, shift.beside.station.rules_of(prep.workflow))[0]
            assert shift.send("remedy", remedy=way.remedy.value).status_code == 303
        else:
            shift.attempt()
    raise AssertionError(f"never came back to {step}; stands at {shift.place}")


def test_every_form_and_address_of_the_pages_takes_odd_words_and_stays_inert(
    walk: tuple[Walk, Any, list[Tablet]],
) -> None:
    one, clock, (nurse, other, third) = walk
    shift = one.shift = Shift(one.desk, nurse, "ORD-101", clock)
    one.tried(nurse, "/sign-in")
    one.tried(nurse, "/help")
    nurse.sign_in(NURSE)
    one.tried(nurse, "/orders")
    one.tried(nurse, "/called")
    one.tried(nurse, "/true-size")
    prepared(one, shift, nurse)
    assert shift.place == "given"
    second = Shift(one.desk, nurse, "ORD-103", clock)
    second.open()
    one.shift = None
    other.sign_in(COLLEAGUE)
    one.tried(other, second.address)  # it is in somebody else's hands
    assert second.send("end", because="other", note=PLANTED).status_code == 303

    one.linked(third, "ED-1", "/review", f"/review/{shift.id}", f"/review/{shift.id}/observe")
    observe, talk = f"/review/{shift.id}/observe", f"/review/feedback/{shift.id}/talk"
    mark = next(f for f in one.tried(third, observe).forms if "item" in f.values)
    for word in ("seen", "not seen"):
        data = {**mark.values, "answer": word, "remark": PLANTED, "words": PLANTED}
        one.inert(third.post(observe, data=data), observe)
    nurse.sign_in(NURSE)
    for tablet, column in ((nurse, "learner"), (third, "observer")):
        one.tried(tablet, talk)
        data = {**dict.fromkeys(TALK, PLANTED), "column": column}
        one.inert(tablet.post(talk, data=data), talk)
        one.tried(tablet, talk)
    one.linked(
        third, "ED-1", "/review", f"/review/progress/{NURSE}", f"/review/feedback/{shift.id}"
    )
    one.linked(other, "PH-2", "/pharmacy", "/quality/trail")
    other.sign_in("QI-1")
    one.tried(other, "/quality")
    assert other.post("/quality/facts").status_code == 303
    one.linked(other, "QI-1", f"/quality/preparation/{shift.id}", *QUALITY, "/quality")
    for name in ("measure", "since", "until", "reason"):  # its form wants weeks of work
        data = {"measure": "stops", "reason": "as it was", name: PLANTED}
        one.inert(other.post("/quality/lines", data=data), ("/quality/lines", name))
    for name in ("of", "measure", "mark"):  # it is led to from a mark
        one.asked(other, "/quality/preparations", {"of": "series", "mark": "point-0"}, name)
    one.seen["POST", "/quality/lines"] += 1
    one.seen["GET", "/quality/preparations"] += 1
    assert not list(one.desk.trail_path.parent.rglob("baselines.jsonl"))

    ways = {("GET", way) for way in (r.path for r in one.routes if "GET" in (r.methods or ()))}
    ways |= {("POST", way) for way in ROWS}
    apart = {("GET", way) for way in NOT_PAGES} | {("POST", way) for way in BARE} | {("GET", "/")}
    assert ways - apart - set(one.seen) == set(), "pages or forms that nothing led to"
    acts = {act for way, act, _ in one.done if way == "/preparation/{id}" and act}
    assert acts == set(_ACTS), "acts that no form of a page was found for"
    assert set(one.shown) >= {talk.replace(shift.id, "{id}")}, "nothing that was kept was shown"
    shift.beside.close()
    second.beside.close()
    with Trail.open(one.desk.trail_path, read_only=True) as trail:
        assert trail.verify().whole


# -- one row for each way --------------------------------------------------------------------------

GOOD = {"Content-Type": "application/x-www-form-urlencoded"}
FORMS: dict[str, tuple[dict[str, str], bytes, int]] = {
    "from elsewhere": ({"Origin": "https://elsewhere.example"}, b"act=note", 403),
    "too much": (GOOD, b"note=" + b"a" * LARGEST, 413),
    "a NUL": (GOOD, b"turn=0%00", 400),
    "half a pair": (GOOD, b"note=%ed%a0%80", 400),
    "half a percent": (GOOD, b"note=%&turn=%zz", 0),
    "several parts": ({"Content-Type": "multipart/form-data; boundary=x"}, b"--x--", 415),
}
"""Headers and bodies that no page sends, and the status; 0 for what a form may hold."""
OWN_FORMS = {"/orders", "/called", "/true-size", "/preparation/{id}", "/preparation/{id}/label"}
"""Ways that read the nurse's forms, each field of which is sent once."""
ODD_PATHS = (quote(PLANTED, safe=""), "..%2f..%2ftrail.db", "%00", "%ff%zz%", "a" * 9_000)


def filled(path: str) -> str:
    """A path of a way, with something for each part that is left open."""
    return path.replace("{id}", "x").replace("{person}", NURSE)


def test_every_way_that_takes_a_form_has_a_row_and_turns_hostile_forms_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    desk.turned_away._noted = desk.asked_in_vain = Tries(10_000, 1.0)
    with tablets(desk) as (tablet,):
        routes = [one for one in make_app(desk).routes if isinstance(one, Route)]
        assert {one.path for one in routes if "POST" in (one.methods or ())} == set(ROWS)
        walk = Walk(desk=desk, routes=routes)
        for way, (code, wrong) in ROWS.items():
            path = filled(way)
            if code:
                tablet.cookies.clear()
                before = walk.kinds()
                answer = tablet.post(path, data={"act": "note"})
                assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in"), way
                assert walk.kinds() == before
                tablet.sign_in(code)
            for name, (headers, body, status) in FORMS.items():
                before = walk.kinds()
                answer = tablet.post(path, content=body, headers=headers)
                walk.inert(answer, (way, name))
                if status:
                    assert answer.status_code == status, (way, name)
                    assert walk.kinds() == [*before, "turned_away"], (way, name)
            if wrong:
                tablet.sign_in(wrong)
                before = walk.kinds()
                assert tablet.post(path, data={"act": "note"}).status_code == 403, way
                assert walk.kinds() == [*before, "not_allowed"], way
        methods = cycle(("PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"))
        for way in {one.path for one in routes}:
            assert tablet.request(next(methods), filled(way)).status_code == 405, way
            walk.inert(tablet.head(f"{filled(way)}?%ff={ODD_PATHS[0]}"), way)
            head, found, tail = way.partition("{")
            for odd in ODD_PATHS if found else ():
                at = head + odd + tail.partition("}")[2]
                walk.inert(tablet.get(at), at)
        walk.close()


@pytest.mark.parametrize("way", sorted(OWN_FORMS))
def test_a_field_sent_twice_is_turned_away_and_recorded(
    way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    with tablets(desk) as (tablet,):
        tablet.sign_in(NURSE)
        path = tablet.post("/orders", data={"order": "ORD-103"}).headers["location"]
        at = way.replace("/preparation/{id}", path)
        walk = Walk(desk=desk, routes=[])
        before = walk.kinds()
        body = b"turn=0&turn=0&once=a&once=b"
        assert tablet.post(at, content=body, headers=GOOD).status_code == 400
        assert walk.kinds() == [*before, "turned_away"]
        walk.close()


def test_a_flood_of_forged_forms_is_counted_and_does_not_fill_the_trail(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    desk, now = make_desk(tmp_path, monkeypatch), [0.0]
    desk.turned_away._noted = Tries(MOST, 3_600.0, clock=lambda: now[0])
    with tablets(desk) as (tablet,):
        tablet.sign_in(NURSE)
        way = tablet.post("/orders", data={"order": "ORD-103"}).headers["location"]
        for turn in range(MOST + 30):
            data = {"act": "attempt\r\nAll is well\x1b[2J", "turn": str(turn)}
            assert tablet.post(way, data=data).status_code == 400
        now[0] = 3_601.0
        tablet.post(way, data={"act": "nothing"})
        tablet.post(way, data={"act": "note"}, headers={"Origin": "https://elsewhere.example"})
    with Trail.open(desk.trail_path, read_only=True) as trail:
        acts = [one.event for one in trail.since(0) if one.event.kind == "turned_away"]
        assert trail.verify().whole
    assert len(acts) == MOST + 2
    assert {one.by for one in acts} == {NURSE}
    assert [one.body["left_out"] for one in acts] == ["0"] * MOST + ["30", "0"]
    assert [one.body["why"] for one in acts[-2:]] == ["no form of these pages", "from elsewhere"]
    assert {one.body["way"] for one in acts} == {"/preparation/{id}"}
    said = capsys.readouterr().err
    assert "All is well" not in said and "\x1b" not in said
    assert said.count("Turned away") == MOST + 2


def test_what_a_role_does_not_open_is_recorded_so_often_and_no_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path, monkeypatch)
    desk.asked_in_vain = Tries(3, 60.0)
    with tablets(desk) as (tablet,):
        tablet.sign_in(NURSE)
        statuses = [tablet.get("/quality").status_code for _ in range(5)]
        assert statuses == [403, 403, 403, 429, 429]
        assert tablet.get("/orders").status_code == 200
        walk = Walk(desk=desk, routes=[])
        kinds = walk.kinds()
        walk.close()
    assert kinds == ["signed_in", "not_allowed", "not_allowed", "not_allowed"]
