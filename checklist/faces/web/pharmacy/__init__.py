"""The pharmacist's pages: workflows, proofs, hazards, formulary, settings and limits, to read.

Nothing here changes anything: these files are changed in the ward's folder, where they can be
looked over by a second person and proved before they are used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.routing import Route

from checklist.faces.web.pharmacy import figures, hazards, shelves, workflows
from checklist.faces.web.pharmacy.keeper import Keeper, keeping

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk


def routes(desk: Desk) -> list[Route]:
    """The pages of this part."""
    keeper = Keeper(desk)
    pages = {
        "/pharmacy": workflows.front,
        "/pharmacy/workflows": workflows.every,
        "/pharmacy/workflows/{name}": workflows.one,
        "/pharmacy/workflows/{name}/drawing": workflows.drawn,
        "/pharmacy/proofs": workflows.proofs,
        "/pharmacy/proofs/{name}": workflows.proof,
        "/pharmacy/hazards": hazards.every,
        "/pharmacy/hazards/{id}": hazards.one,
        "/pharmacy/formulary": shelves.formulary,
        "/pharmacy/formulary/{code}": shelves.product,
        "/pharmacy/settings": shelves.settings,
        "/pharmacy/settings/{key}": shelves.setting,
        "/pharmacy/limits": figures.every,
        "/pharmacy/limits/{name}": figures.one,
    }
    return [Route(path, keeping(keeper, page), methods=["GET"]) for path, page in pages.items()]
