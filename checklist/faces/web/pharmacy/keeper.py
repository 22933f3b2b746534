"""What the pharmacist's pages share: the ward's files, the proofs, and who may look."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response

from checklist.faces.looking_over import LookedOver
from checklist.faces.web.pharmacy.proving import Proofs
from checklist.faces.web.pharmacy.shelf import Shelf
from checklist.faces.web.session import Endpoint, allowed
from checklist.permission import MAY, Action
from checklist.unit import Unit

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk
    from checklist.people import StaffMember

PARTS = (
    ("/pharmacy/workflows", "Workflows"),
    ("/pharmacy/proofs", "Proofs"),
    ("/pharmacy/hazards", "Hazards"),
    ("/pharmacy/formulary", "Formulary"),
    ("/pharmacy/settings", "Settings"),
    ("/pharmacy/limits", "Limits"),
)


class Keeper:
    """The files and proofs of one ward, for as long as the server runs."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.shelf = Shelf(desk.folder)
        self.proofs = Proofs(self.shelf.digest)
        desk.at_end.append(self.proofs.stop)

    async def now(self) -> LookedOver:
        """The ward's files as they lie there now."""
        return await self.shelf.now()

    def unit(self, found: LookedOver) -> Unit:
        """The unit's settings as its file has them; those in force where it has faults."""
        return found.ward.unit if found.ward else self.desk.ward.unit

    def page(self, request: Request, name: str, found: LookedOver, /, **more: Any) -> Response:
        """A page of this part, with the faults of the ward's files above everything else."""
        return self.desk.page(
            request,
            f"pharmacy/{name}.html",
            parts=PARTS,
            faults=found.faults,
            keepers=keepers(),
            **more,
        )

    def missing(self, request: Request, what: str) -> Response:
        """The answer where a name in the address is of nothing that is kept here."""
        return self.desk.said(request, "Not kept here", f"There is no such {what} here.", 404)


Page = Callable[[Keeper, Request], Awaitable[Response]]


def keeping(keeper: Keeper, page: Page) -> Endpoint:
    """A page for whoever may keep workflows."""

    async def handler(request: Request, desk: Desk, person: StaffMember) -> Response:
        return await page(keeper, request)

    return allowed(Action.KEEP_WORKFLOWS)(handler)


def keepers() -> str:
    """The roles that keep workflows, formulary and limits, in words."""
    roles = [role.value for role, acts in MAY.items() if Action.KEEP_WORKFLOWS in acts]
    return " or ".join(role.replace("_", " ") for role in roles)
