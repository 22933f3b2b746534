"""The pages of workflows: the list, one in words, one as a picture, and what is proved of them."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from checklist.faces.web.pharmacy.drawing import in_words, picture
from checklist.faces.web.pharmacy.keeper import Keeper
from checklist.faces.web.pharmacy.telling import plain, told


async def front(keeper: Keeper, request: Request) -> Response:
    """Where the pharmacist begins: what is amiss, and the parts with how they stand."""
    from checklist import library
    from checklist.faces.choosing import tightened

    found = await keeper.now()
    keeper.proofs.begin(found.flows.values(), found.required)
    unit, known = keeper.unit(found), library.settings()
    proofs = [keeper.proofs.known(flow, found.required) for flow in found.flows.values()]
    other = [key for key, one in known.choices.items() if unit.settings[key] != one.default]
    return keeper.page(
        request,
        "front",
        found,
        flows=found.flows,
        own=found.own,
        proved=sum(1 for one in proofs if one and not one.faults),
        dodged=sum(1 for one in proofs if one and one.faults),
        hazards=len(library.hazards().hazards),
        ward=found.ward,
        changed=len(other) + len(list(tightened(unit, known))) + len(unit.raised),
    )


async def every(keeper: Keeper, request: Request) -> Response:
    """The list of workflows."""
    found = await keeper.now()
    drugs: dict[str, int] = {}
    for one in found.ward.formulary.products.values() if found.ward else ():
        drugs[one.container] = drugs.get(one.container, 0) + 1
    return keeper.page(
        request, "workflows", found, flows=found.flows, own=found.own, products=drugs, plain=plain
    )


async def one(keeper: Keeper, request: Request) -> Response:
    """One workflow in words."""
    found = await keeper.now()
    flow = found.flows.get(request.path_params["name"])
    if flow is None:
        return keeper.missing(request, "workflow")
    return keeper.page(
        request,
        "workflow",
        found,
        told=told(flow, keeper.unit(found)),
        flow=flow,
        digest=keeper.shelf.digest(flow),
        own=flow.name in found.own,
        proof=keeper.proofs.known(flow, found.required),
        plain=plain,
    )


async def drawn(keeper: Keeper, request: Request) -> Response:
    """One workflow as a picture, and what it shows in words."""
    found = await keeper.now()
    flow = found.flows.get(request.path_params["name"])
    if flow is None:
        return keeper.missing(request, "workflow")
    return keeper.page(
        request,
        "drawing",
        found,
        flow=flow,
        picture=picture(flow, f"/pharmacy/workflows/{flow.name}"),
        words=list(in_words(flow)),
    )


async def proofs(keeper: Keeper, request: Request) -> Response:
    """What is proved of every workflow; what is not known yet is worked out meanwhile."""
    found = await keeper.now()
    keeper.proofs.begin(found.flows.values(), found.required)
    known = {name: keeper.proofs.known(flow, found.required) for name, flow in found.flows.items()}
    return keeper.page(
        request,
        "proofs",
        found,
        flows=found.flows,
        known=known,
        digest=keeper.shelf.digest,
        waiting=sum(1 for proof in known.values() if proof is None),
    )


async def proof(keeper: Keeper, request: Request) -> Response:
    """The proof of one workflow, worked out now where it is not known."""
    found = await keeper.now()
    flow = found.flows.get(request.path_params["name"])
    if flow is None:
        return keeper.missing(request, "workflow")
    return keeper.page(
        request,
        "proof",
        found,
        flow=flow,
        digest=keeper.shelf.digest(flow),
        proof=await keeper.proofs.of(flow, found.required),
        plain=plain,
    )
