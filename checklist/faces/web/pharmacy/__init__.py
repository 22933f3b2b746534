"""The pharmacist's pages: workflows, proofs, hazards, formulary, settings and limits, to read.

Nothing here changes anything: these files are changed in the ward's folder, where they can be
looked over by a second person and proved before they are used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.routing import Route

from checklist.faces.web.pharmacy.pages import Pages

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk


def routes(desk: Desk) -> list[Route]:
    """The pages of this part."""
    pages = Pages(desk)
    return [
        Route("/pharmacy", pages.front, methods=["GET"]),
        Route("/pharmacy/workflows", pages.workflows, methods=["GET"]),
        Route("/pharmacy/workflows/{name}", pages.workflow, methods=["GET"]),
        Route("/pharmacy/workflows/{name}/drawing", pages.drawing, methods=["GET"]),
        Route("/pharmacy/proofs", pages.proofs, methods=["GET"]),
        Route("/pharmacy/proofs/{name}", pages.proof, methods=["GET"]),
        Route("/pharmacy/hazards", pages.hazards, methods=["GET"]),
        Route("/pharmacy/hazards/{id}", pages.hazard, methods=["GET"]),
        Route("/pharmacy/formulary", pages.formulary, methods=["GET"]),
        Route("/pharmacy/formulary/{code}", pages.product, methods=["GET"]),
        Route("/pharmacy/settings", pages.settings, methods=["GET"]),
        Route("/pharmacy/settings/{key}", pages.setting, methods=["GET"]),
        Route("/pharmacy/limits", pages.limits, methods=["GET"]),
        Route("/pharmacy/limits/{name}", pages.limit, methods=["GET"]),
    ]
