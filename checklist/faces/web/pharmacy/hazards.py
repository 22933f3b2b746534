"""The pages of hazards: which reasons stand against each, in which workflow, at which step."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from checklist import library
from checklist.checks import REASONS
from checklist.faces.looking_over import LookedOver
from checklist.faces.web.pharmacy.keeper import Keeper
from checklist.faces.web.pharmacy.telling import ToldReason, plain, reason
from checklist.hazard import Cell, Gap, Hazard, matrix, orphans
from checklist.requirement import stops
from checklist.unit import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A hazard with what stands against it: reasons that stop, and those that warn or note."""

    hazard: Hazard
    workflows: int
    stop: tuple[str, ...]
    warn: tuple[str, ...]
    gaps: tuple[Gap, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Against:
    """One reason against a hazard: its words, and the steps that may give it, by workflow."""

    told: ToldReason
    where: tuple[tuple[str, tuple[str, ...]], ...]


async def every(keeper: Keeper, request: Request) -> Response:
    """The matrix: every hazard, for all workflows or for the one that is asked for."""
    found = await keeper.now()
    wanted = request.query_params.get("workflow", "")
    if wanted and wanted not in found.flows:
        return keeper.missing(request, "workflow")
    flows = {wanted: found.flows[wanted]} if wanted else found.flows
    cells = await asyncio.to_thread(_cells, found)
    alone = await asyncio.to_thread(_alone, found, cells)
    return keeper.page(
        request,
        "hazards",
        found,
        flows=found.flows,
        wanted=wanted,
        rows=rows(tuple(cell for cell in cells if cell.workflow in flows)),
        cells={(cell.hazard, cell.workflow): cell for cell in cells},
        alone=alone,
        left_out=library.hazards().left_out,
        plain=plain,
    )


async def one(keeper: Keeper, request: Request) -> Response:
    """One hazard: its cause, its harm, and every reason that stands against it."""
    found = await keeper.now()
    hazard = library.hazards().hazards.get(request.path_params["id"])
    if hazard is None:
        return keeper.missing(request, "hazard")
    cells = await asyncio.to_thread(_cells, found)
    mine = tuple(cell for cell in cells if cell.hazard == hazard.id)
    return keeper.page(
        request,
        "hazard",
        found,
        row=rows(mine, [hazard])[0],
        against=against(mine, keeper.unit(found)),
        flows=found.flows,
        plain=plain,
    )


def rows(cells: tuple[Cell, ...], hazards: list[Hazard] | None = None) -> list[Row]:
    """A row for each hazard that some of the cells concern, in the order of the register."""
    register = library.hazards()
    made = []
    for hazard in hazards or register.hazards.values():
        mine = [cell for cell in cells if cell.hazard == hazard.id]
        codes = dict.fromkeys(code for cell in mine for code in cell.steps)
        if mine or hazards:
            made.append(
                Row(
                    hazard=hazard,
                    workflows=len(mine),
                    stop=tuple(code for code in codes if stops(code)),
                    warn=tuple(code for code in codes if not stops(code)),
                    gaps=tuple(gap for gap in register.gaps if gap.hazard == hazard.id),
                )
            )
    return made


def against(cells: tuple[Cell, ...], unit: Unit) -> list[Against]:
    """The reasons of a hazard's cells; those that stop stand first."""
    where: dict[str, dict[str, tuple[str, ...]]] = {}
    for cell in cells:
        for code, steps in cell.steps.items():
            where.setdefault(code, {})[cell.workflow] = steps
    order = sorted(where, key=lambda code: (not stops(code), code))
    return [
        Against(told=reason(REASONS[code], unit), where=tuple(where[code].items()))
        for code in order
    ]


def _cells(found: LookedOver) -> tuple[Cell, ...]:
    return matrix(library.hazards(), found.flows.values(), found.required)


def _alone(found: LookedOver, cells: tuple[Cell, ...]) -> list[str]:
    return list(orphans(library.hazards(), cells, found.flows.values(), found.required))
