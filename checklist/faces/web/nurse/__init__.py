"""The nurse's pages: orders due, the guided step, the second person, the bedside."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.routing import Route

from checklist.faces.web.nurse.acts import Acts
from checklist.faces.web.nurse.calling import CallPages
from checklist.faces.web.nurse.entries import EntryPages
from checklist.faces.web.nurse.hands import Hands
from checklist.faces.web.nurse.labels import LabelPages
from checklist.faces.web.nurse.look import Looking
from checklist.faces.web.nurse.orders import OrderPages
from checklist.faces.web.nurse.pages import Pages
from checklist.faces.web.nurse.spoken import spoken
from checklist.faces.web.nurse.true_size import TrueSize
from checklist.faces.web.session import Handler, allowed
from checklist.permission import Action

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk


def routes(desk: Desk) -> list[Route]:
    """The pages of this part."""
    looking, hands = Looking(desk), Hands()
    calls = CallPages(desk, hands)
    orders = OrderPages(desk, looking, hands, emergencies=calls.offered)
    pages = Pages(desk, looking, hands)
    screen = TrueSize()
    acts, labels, entries = Acts(pages), LabelPages(pages), EntryPages(pages)
    one = "/preparation/{id}"
    table: tuple[tuple[str, str, Handler], ...] = (
        ("GET", "/orders", orders.list),
        ("POST", "/orders", orders.begin),
        ("GET", "/called", calls.show),
        ("POST", "/called", calls.begin),
        ("GET", "/true-size", screen.show),
        ("POST", "/true-size", screen.keep),
        ("GET", one, pages.show),
        ("POST", one, acts.take),
        ("GET", f"{one}/back", pages.back),
        ("GET", f"{one}/end", pages.end),
        ("GET", f"{one}/why", pages.why),
        ("GET", f"{one}/entries", entries.history),
        ("GET", f"{one}/steps", entries.on_paper),
        ("GET", f"{one}/label", labels.show),
        ("GET", f"{one}/label.svg", labels.picture),
        ("POST", f"{one}/label", labels.print),
        ("POST", "/spoken", spoken),
    )
    may = allowed(Action.PREPARE, Action.PRACTISE)
    return [Route(path, may(page), methods=[method]) for method, path, page in table]
