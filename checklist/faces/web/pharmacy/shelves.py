"""The pages of what the ward keeps: its formulary, and its own choices."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass

from starlette.requests import Request
from starlette.responses import Response

from checklist import library
from checklist.checks import REASONS
from checklist.faces.choosing import direction, following, hangs_on, said, tightened
from checklist.faces.web.pharmacy.keeper import Keeper
from checklist.faces.web.pharmacy.telling import plain, reason
from checklist.formulary import Drug, Product
from checklist.quantity import Rounding


async def formulary(keeper: Keeper, request: Request) -> Response:
    """Every drug with its limits and its products."""
    found = await keeper.now()
    kept = (found.ward or keeper.desk.ward).formulary
    return keeper.page(
        request,
        "formulary",
        found,
        formulary=kept,
        readable=found.ward is not None,
        drugs=[(drug, marks(drug), kept.of_drug(drug.name)) for drug in kept.drugs.values()],
        plain=plain,
    )


async def product(keeper: Keeper, request: Request) -> Response:
    """One product and its drug, with everything that is kept of both."""
    found = await keeper.now()
    kept = (found.ward or keeper.desk.ward).formulary
    one = kept.products.get(request.path_params["code"])
    if one is None:
        return keeper.missing(request, "product")
    drug = kept.drug(one.drug)
    return keeper.page(
        request,
        "product",
        found,
        product=one,
        told=list(facts(one)),
        drug=drug,
        of_drug=list(facts(drug)) if drug else [],
        flows=[
            flow
            for flow in found.flows.values()
            if one.container == flow.container or one.container in flow.sources
        ],
    )


def marks(drug: Drug) -> list[str]:
    """What asks for more care with a drug, a word or two each."""
    known = {
        "controlled": drug.controlled,
        "high alert": drug.high_alert,
        "hazardous to handle": drug.hazardous,
        "dosed by weight": drug.weight_based,
        "by the pharmacy only": drug.pharmacy_only,
    }
    return [word for word, holds in known.items() if holds]


def facts(kept: Drug | Product) -> Iterator[tuple[str, str]]:
    """Everything that is kept of a drug or product as pairs of words; what is empty is left out."""
    yield from _facts(kept, "")


def _facts(kept: object, before: str) -> Iterator[tuple[str, str]]:
    assert is_dataclass(kept)
    for field in fields(kept):
        value, name = getattr(kept, field.name), f"{before}{field.name.replace('_', ' ')}"
        if value is None or value == "" or value == () or value is False:
            continue
        if value is True:
            yield name, "yes"
        elif isinstance(value, Rounding):
            yield name, value.value
        elif isinstance(value, tuple) and is_dataclass(value[0]):
            for at, one in enumerate(value, 1):
                yield from _facts(one, f"{name} {at}: ")
        elif isinstance(value, tuple):
            yield name, ", ".join(map(plain, value))
        elif type(value).__name__ in ("DoseRange", "InfusionLimits"):
            yield from _facts(value, f"{name}: ")
        elif value != 0:
            yield name, plain(value) if field.name in ("container",) else str(value)


async def settings(keeper: Keeper, request: Request) -> Response:
    """What the unit has chosen: what differs from the shipped choice stands first."""
    found = await keeper.now()
    unit, known = keeper.unit(found), library.settings()
    choices = [
        (one, said(unit.settings[key]), direction(one, unit.settings[key]))
        for key, one in known.choices.items()
    ]
    return keeper.page(
        request,
        "settings",
        found,
        unit_kept=unit,
        other=[told for told in choices if told[2] != "as shipped"],
        same=[told for told in choices if told[2] == "as shipped"],
        said=said,
        tightened=list(tightened(unit, known)),
        raised=[reason(REASONS[code], unit) for code in unit.raised],
        eased=[reason(REASONS[code], unit) for code in sorted(unit.eased)],
    )


async def setting(keeper: Keeper, request: Request) -> Response:
    """One choice: who says what, and what hangs on it."""
    found = await keeper.now()
    one = library.settings().choices.get(request.path_params["key"])
    if one is None:
        return keeper.missing(request, "setting")
    value = keeper.unit(found).settings[one.key]
    return keeper.page(
        request,
        "setting",
        found,
        one=one,
        value=said(value),
        shipped=said(one.default),
        direction=direction(one, value),
        following=following,
        hangs=hangs_on(one),
    )
