"""A seeded site in a real browser: every page of each role, and where a preparation can stand.

Pages are found by the links on them. For each way that the server knows (`/review/{id}` and so on)
a few pages are looked at; what is reached by an act alone is played.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import httpx2
import pytest
from starlette.routing import Match, Route

from checklist.faces.web.app import make_app
from checklist.faces.web.desk import Desk
from tests import charted
from tests.browser import chromium, pressed, served
from tests.browser import sign_in as sign_in_there
from tests.web import PINS, make_desk
from tests.web_nurse import Clock, Shift

NOT_PAGES = (
    "/static/{name}", "/health", "/events", "/preparation/{id}/label.svg",
    "/quality/download/chart.{ending}", "/quality/download/month.{ending}",
    "/quality/download/answer.{ending}", "/quality/download/preparations.{ending}",
    "/quality/download/events.zip", "/quality/trail/head.note", "/quality/trail/proof",
    "/review/{id}/now",
)  # fmt: skip
"""What the server gives that is no page for reading: files, pictures, and what scripts ask."""
A_WAY = 3 if os.environ.get("CHECKLIST_FULL") else 1
"""How many pages of one way, and of each form of its query, are looked at."""
LINKS = "all => all.map((one) => new URL(one.getAttribute('href'), location.href).href)"


class Hands(httpx2.Client):
    """Somebody at a tablet of the served site who sends forms without a browser."""

    def __init__(self, address: str) -> None:
        headers = {"Origin": address, "Sec-Fetch-Site": "same-origin"}
        super().__init__(
            base_url=address,
            headers=headers,
            follow_redirects=False,
            timeout=60,
            limits=httpx2.Limits(keepalive_expiry=1),
        )

    def sign_in(self, code: str, *, place: str = "W7E-1") -> Any:
        """Sign a person in with the PIN that the demonstration prints."""
        answer = self.post(
            "/sign-in", data={"code": code, "pin": PINS[code], "place": place, "next": "/"}
        )
        assert answer.status_code == 303, answer.text
        return answer


@dataclass(kw_only=True)
class Site:
    """A served desk with a browser before it. `seen` counts the pages of each way looked at."""

    desk: Desk
    address: str
    clock: Clock
    browser: Any
    seen: Counter[str] = field(default_factory=Counter)
    shifts: list[Shift] = field(default_factory=list)
    hands: list[Hands] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.routes = [route for route in make_app(self.desk).routes if isinstance(route, Route)]

    def ways(self, *prefixes: str) -> set[str]:
        """The ways below some paths that lead to a page."""
        return {
            route.path
            for route in self.routes
            if "GET" in (route.methods or ())
            and route.path.startswith(prefixes)
            and route.path not in NOT_PAGES
        }

    def way(self, path: str) -> str:
        """The way that a path is one of; "" where the server has none."""
        for route in self.routes:
            found, _ = route.matches({"type": "http", "path": path, "method": "GET"})
            if found is Match.FULL:
                return route.path
        return ""

    def person(self) -> Hands:
        """Somebody at a tablet of their own."""
        self.hands.append(Hands(self.address))
        return self.hands[-1]

    def shift(self, order: str, person: str = "RN-12", *, place: str = "W7E-1") -> Shift:
        """An order begun by somebody at a tablet of their own."""
        hands = self.person()
        shift = Shift(self.desk, hands, order, self.clock)  # type: ignore[arg-type]
        hands.sign_in(person, place=place)
        answer = hands.post("/orders", data={"order": order})
        assert answer.status_code == 303, answer.text
        shift.beside.id = answer.headers["location"].rpartition("/")[2]
        shift.person = person
        self.shifts.append(shift)
        return shift

    def page(self, **more: Any) -> Any:
        """A page of a browser that nobody has signed in at."""
        return self.browser.new_context(viewport={"width": 1280, "height": 800}, **more).new_page()

    def beside(self, shift: Shift) -> Any:
        """A browser's page at the tablet of a shift, as the person who works there."""
        page = self.page()
        hands: Any = shift.tablet
        page.context.add_cookies(
            [
                {"name": one.name, "value": one.value, "url": self.address}
                for one in hands.cookies.jar
            ]
        )
        return page

    def go(self, page: Any, path: str) -> None:
        """Go to a page, which has to be there; one that was just being loaded anew is asked again.

        A page of a preparation follows it: it is loaded anew when the preparation moves on.
        """
        from playwright.sync_api import Error

        answer = None
        for _ in range(3):
            try:
                answer = page.goto(f"{self.address}{path}") or page.reload()
                if answer is not None:
                    break
            except Error as fault:
                if not any(said in str(fault) for said in ("ERR_ABORTED", "is interrupted by")):
                    raise
        assert answer is not None and answer.status == 200, (path, answer and answer.status)
        self.seen[self.way(urlsplit(path).path)] += 1

    def linked(
        self, page: Any, code: str, first: str, *prefixes: str, also: Sequence[str] = ()
    ) -> Iterator[str]:
        """Go to every page that links lead to below some paths, a few of each way.

        `also` names pages that only one of many links of a kind leads to.
        """
        sign_in_there(page, self.address, code, path=first)
        kinds: Counter[tuple[str, str]] = Counter()
        waiting, known = [first, *also], {first, *also}
        while waiting:
            path = waiting.pop(0)
            parts = urlsplit(path)
            way = self.way(parts.path)
            query = parse_qsl(parts.query, keep_blank_values=True)
            kind = (way, ",".join(sorted({k for k, _ in query})))
            if not way or way in NOT_PAGES or not way.startswith(prefixes) or kinds[kind] >= A_WAY:
                continue
            if query and sum(n for (at, _), n in kinds.items() if at == way) >= 3 * A_WAY:
                continue
            kinds[kind] += 1
            self.go(page, path)
            yield path
            for link in page.eval_on_selector_all("a[href]", LINKS):
                at = urlsplit(link)
                onward = at.path + (f"?{at.query}" if at.query else "")
                if link.startswith(self.address) and onward not in known:
                    known.add(onward)
                    waiting.append(onward)


@contextmanager
def site(home: Path, *, facts: bool = True, **more: Any) -> Iterator[Site]:
    """A served site on folders of its own."""
    with pytest.MonkeyPatch.context() as patch:
        kept = charted.folder(home / "facts").path if facts else None
        clock = Clock()
        desk = make_desk(home, patch, clock=clock, facts=kept, **more)
        with served(desk) as address, chromium() as browser:
            one = Site(desk=desk, address=address, clock=clock, browser=browser)
            try:
                yield one
            finally:
                for shift in one.shifts:
                    shift.beside.close()
                for hands in one.hands:
                    hands.close()


def worked(site: Site) -> Shift:
    """A preparation that was given, after two stops and a break."""
    shift = site.shift("ORD-103")
    shift.attempt({"first_identifier": "99999999"})
    shift.send("remedy", remedy="recheck")
    shift.to("draw_up")
    shift.send("interrupt", cause="called away")
    shift.send("resume")
    shift.to("set_the_dose")
    shift.attempt({"drawn_volume": "1.5"})
    shift.send("remedy", remedy="adjust")
    shift.finish()
    return shift


def watched(site: Site, *ids: str) -> None:
    """Begin an observation of each of some preparations, as the educator beside them would."""
    educator = site.person()
    educator.sign_in("ED-1", place="W7E-2")
    for id_ in ids:
        data = {"item": "snaps_away", "answer": "seen", "phase": "open"}
        answer = educator.post(f"/review/{id_}/observe", data=data)
        assert answer.status_code == 303, answer.text


def stands(site: Site, shift: Shift, page: Any) -> Iterator[str]:
    """Go through where the preparation of ORD-101 can stand, one page after the other."""

    def shown(below: str = "") -> None:
        site.go(page, f"{shift.address}{below}")

    def sent(act: str, **more: str) -> None:
        answer = shift.send(act, **more)
        assert answer.status_code == 303, answer.text

    shown()
    yield "step: read the order"
    shift.attempt({"first_identifier": "99999999"})
    shown()
    yield "stop: another patient"
    shown("/why")
    yield "why it stops"
    sent("remedy", remedy="recheck")
    shift.to("witness_the_count")
    shown()
    yield "hand over to a witness"
    shift.hand_over("RN-27")
    shown()
    yield "step: the witness"
    shift.attempt()
    shown("/back")
    yield "handed back"
    shift.to("work_out_the_volume")
    shown()
    yield "step: a number"
    typed(page, "7,5")
    yield "a number that cannot be read"
    shown()
    typed(page, "0.75")
    yield "a number in words"
    shift.to("make_the_neck_ready")
    shift.attempt({"neck_wiped": "n"})
    assert shift.screen.stands == "caution", shift.place
    shown()
    yield "caution: the neck"
    sent("proceed", because="looked_again")
    shift.to("draw_up")
    sent("interrupt", cause="called away")
    shown()
    yield "away"
    sent("resume")
    shown()
    yield "after a break"
    shift.to("write_the_label")
    shown()
    yield "step: the label"
    for below, name in (("/label", "label"), ("/entries", "entries"), ("/steps", "on paper"),
                        ("/end", "end")):  # fmt: skip
        shown(below)
        yield name
    shift.to("identify_the_patient")
    shown()
    yield "step: at the bedside"
    shift.finish()
    shown()
    yield "given"


def typed(page: Any, text: str) -> None:
    """Type a text into each field for figures of a page, and hand it in."""
    for one in page.query_selector_all("main form.step input[inputmode=decimal]"):
        one.fill(text)
    pressed(page, "main form.step button.primary")


def told(found: Mapping[str, set[str]]) -> str:
    """Findings for reading: each kind once, with some of what it was seen of and where."""
    kinds: dict[str, list[tuple[str, str]]] = {}
    for sentence, where in sorted(found.items()):
        kind, _, of = sentence.partition(": <")
        kinds.setdefault(kind, []).extend((f"<{of}" if of else "", at) for at in sorted(where)[:2])
    lines = []
    for kind, seen in kinds.items():
        lines.append(f"- {kind} ({len(seen)} times)")
        lines += [f"    {of} at {at}" for of, at in seen[:4]]
    return "\n".join(lines)
