"""A nurse at the ward's screens for the tests: the right answer to each page, sent as a form."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from checklist.faces.web.desk import Desk
from checklist.faces.web.nurse.look import Looking
from checklist.faces.web.nurse.view import OTHER, PREPARER, SECOND
from checklist.observation import Kind
from checklist.screen import Screen
from checklist.station import Station
from checklist.trail import Trail
from tests.scene import COLLEAGUE, NURSE, START, Scene
from tests.web import PINS, Tablet, make_desk, tablets

LATER = {"ORD-105": 56}
"""Minutes after the scenario's start at which an order is begun, where its time is not yet."""


class Beside(Scene):
    """A scene that only looks: its answers come from the trail that the server writes."""

    def __init__(self, desk: Desk, order_id: str) -> None:
        self.desk, self.order_id, self.ward = desk, order_id, desk.ward
        self.now, self.id = START, ""
        self.trail = Trail.open(desk.trail_path, read_only=True)
        self.station: Station = Looking(desk).station(self.trail)  # type: ignore[assignment]

    def close(self) -> None:
        """Let the trail go."""
        self.trail.close()


class Shift:
    """One order at one tablet, worked by forms."""

    def __init__(self, desk: Desk, tablet: Tablet, order: str, clock: Clock) -> None:
        self.tablet = tablet
        self.clock = clock
        self.beside = Beside(desk, order)
        self.order = order
        self.pages: list[str] = []
        self.person = NURSE

    @property
    def id(self) -> str:
        """The preparation's id."""
        return self.beside.id

    @property
    def address(self) -> str:
        """Where the preparation's page is."""
        return f"/preparation/{self.id}"

    @property
    def screen(self) -> Screen:
        """Where it stands by the trail."""
        return self.beside.station.screen(self.id)

    @property
    def place(self) -> str:
        """The place where it stands."""
        return self.screen.prep.place

    def kinds(self) -> list[str]:
        """The kinds of its entries so far."""
        return [entry.event.kind for entry in self.beside.station.entries(self.id)]

    def begin(self, person: str = NURSE) -> None:
        """Sign in and begin."""
        self.person = person
        self.tablet.sign_in(person)
        self.open()

    def open(self) -> None:
        """Begin the order."""
        answer = self.tablet.post("/orders", data={"order": self.order})
        assert answer.status_code == 303, answer.text
        self.beside.id = answer.headers["location"].rpartition("/")[2]

    def page(self, path: str = "") -> str:
        """The page for where it stands, or one below it."""
        answer = self.tablet.get(f"{self.address}{path}")
        assert answer.status_code == 200, answer.text
        self.pages.append(answer.text)
        return answer.text

    def send(self, act: str, **more: str) -> Any:
        """Send one act as the present page would."""
        turn = str(self.screen.prep.turn)
        return self.tablet.post(self.address, data={"turn": turn, **more, "act": act})

    def right(self, changes: Mapping[str, str | None] | None = None) -> dict[str, str]:
        """The right form for the present step, some answers changed or (None) said not to be there.

        Each number is sent with its words as shown.
        """
        self.beside.now = self.clock.now
        prefix = OTHER if self.screen.spot and self.screen.spot.step.who in SECOND else PREPARER
        answers: dict[str, str | None] = {**self.beside.right(), **(changes or {})}
        form: dict[str, str] = {}
        for field in self.screen.fields:
            value = answers.get(field.name, "")
            scanned = str(answers.get("product", "")).startswith("]")
            brought = field.carried and scanned and field.name not in (changes or {})
            if value is None or (value == "" and field.if_missing and not brought):
                form[f"{prefix}.{field.name}.none"] = "1"
                continue
            if field.kind is Kind.SEEN:
                value = {"y": "yes", "n": "no"}.get(value, value)
            form[f"{prefix}.{field.name}"] = value
            if field.kind is Kind.PRODUCT and not value.startswith("]"):
                form[f"{prefix}.{field.name}.keyed"] = "no_code"
            if field.kind in (Kind.QUANTITY, Kind.COUNT, Kind.CONCENTRATION):
                form[f"{prefix}.{field.name}.said"] = value
        return form

    def hand_over(self, code: str = COLLEAGUE) -> None:
        """A colleague signs in where the page asks for one."""
        answer = self.send("second_in", code=code, pin=PINS[code])
        assert answer.status_code == 303, answer.text

    def attempt(self, changes: Mapping[str, str | None] | None = None, *, wait: int = 20) -> Any:
        """Answer the present step, with a second person where one is asked for."""
        spot = self.screen.spot
        assert spot is not None
        if spot.step.who in SECOND and "second_in" in self.page():
            self.hand_over()
        self.clock.wait(wait)
        return self.send("attempt", **self.right(changes))

    def on(self) -> str:
        """One right step; where it leads."""
        before = self.place
        answer = self.attempt()
        assert answer.status_code == 303, (before, faults(answer.text))
        if self.screen.stands == "caution":
            answer = self.send("proceed", because="looked_again")
            assert answer.status_code == 303, (before, answer.text)
        assert self.screen.stands in ("step", "closed"), (
            before,
            [(one.code, one.found) for one in self.screen.reasons],
        )
        return str(answer.headers["location"])

    def to(self, step: str) -> None:
        """Go on rightly until a step is the present one."""
        for _ in range(90):
            if self.place == step:
                return
            self.on()
        raise AssertionError(f"never came to {step}; stands at {self.place}")

    def finish(self) -> None:
        """Go on rightly to the end."""
        while not self.screen.prep.closed:
            self.on()


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = START

    def __call__(self) -> Any:
        return self.now

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        from datetime import timedelta

        self.now += timedelta(seconds=seconds)


def desk_and_clock(
    home: Path, monkeypatch: pytest.MonkeyPatch, *, ward: Path | None = None
) -> tuple[Desk, Clock]:
    """A desk in practice whose clock the test sets, of the demonstration ward or of a folder."""
    clock = Clock()
    return make_desk(home, monkeypatch, ward=ward, clock=clock), clock


def words(page: str) -> str:
    """What a page says, without its tags."""
    body = re.sub(r"<(script|style)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", body)).split())


def faults(page: str) -> list[str]:
    """The sentences at the fields of a page, and those above them."""
    return [words(one) for one in re.findall(r'class="error".*?</p>|role="alert".*?</div>', page)]


@contextmanager
def shift(
    home: Path, monkeypatch: pytest.MonkeyPatch, order: str = "ORD-103", *, many: int = 1
) -> Iterator[tuple[Shift, list[Tablet]]]:
    """An order begun at the first of some tablets."""
    desk, clock = desk_and_clock(home, monkeypatch)
    with tablets(desk, many) as found:
        clock.wait(60 * LATER.get(order, 0))
        one = Shift(desk, found[0], order, clock)
        one.begin()
        try:
            yield one, found
        finally:
            one.beside.close()


def is_wiped(one: Shift, page: str) -> None:
    prep = one.screen.prep
    text = words(page)
    dose = str(prep.order.dose)
    for hidden in (prep.order.patient, prep.order.drug, dose, dose.replace(" ", "\u00a0")):
        assert hidden not in text, hidden
    assert "Give this device to a colleague" in text
    assert 'name="seen.' not in page and 'name="own.' not in page
