"""How a dose gets in: straight from its syringe, with a carrier fluid, or two drugs in one go."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from checklist.formulary import Formulary, Product
from checklist.order import Order
from checklist.preparation import FIRST, SECOND
from checklist.unit import Unit
from checklist.workflow import Workflow

# Which workflow a dose goes by that does not stay in the syringe it was drawn into.
_VESSELS = {
    "bag": "bag_additive",
    "bottle": "infusion_bottle",
    "burette": "burette",
    "pump syringe": "pump_syringe",
    "": "premixed_bag",
}
EMERGENCY = "emergency_kit"
"""The container of the short way, which only a leader's call opens."""
TUBES = ("NG", "PEG")
"""Routes by a tube into the stomach."""


class NoWayIn(Exception):
    """The order's drug comes in no container that the workflow can start from, or in several."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One drug of an order line, and the container it comes in ("" where the workflow says).

    `name` is "" for the only drug of a line, else the item of a mixture, in the order of drawing.
    """

    name: str
    drug: str
    container: str


def container_by_order(order: Order) -> str:
    """The container whose workflow the order itself asks for; "" when the drug's own decides."""
    if order.called:
        return EMERGENCY
    if order.second is not None:
        return "mixed_syringe"
    if order.infusion is not None:
        return _VESSELS.get(order.infusion.into, order.infusion.into)
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What the person who begins has to name, where the formulary leaves it open: the container in
    hand, and for each drug the containers of which one is. Empty where nothing is open.
    """

    containers: tuple[str, ...] = ()
    sources: tuple[tuple[str, tuple[str, ...]], ...] = ()


def open_choice(order: Order, workflows: Sequence[Workflow], formulary: Formulary) -> Choice:
    """What `chosen` would ask for of this order."""
    way = container_by_order(order)
    kept = {way} if way else _containers(order, formulary) - {EMERGENCY}
    fitting = sorted({w.container for w in workflows if w.container in kept})
    if len(fitting) != 1:
        return Choice(containers=tuple(fitting))
    starts = {source for w in workflows if w.container == fitting[0] for source in w.sources}
    drugs = [order.drug] if order.second is None else [order.drug, order.second.drug]
    each = [
        (drug, sorted({p.container for p in formulary.of_drug(drug)} & starts)) for drug in drugs
    ]
    return Choice(sources=tuple((drug, tuple(found)) for drug, found in each if len(found) > 1))


def chosen(
    order: Order,
    workflows: Sequence[Workflow],
    formulary: Formulary,
    container: str = "",
    named: Sequence[str] = (),
) -> tuple[Workflow, tuple[Item, ...]]:
    """The workflow for the order's way in, or for the container of its drug, and the drugs of it.

    An order that says how its dose runs in, or which drug goes with it, has its own workflow.
    Otherwise the containers count that the drug comes in for the ordered route, or `container` is
    the one in hand. Raises NoWayIn when there is none, or when several would do.
    """
    way = container_by_order(order)
    kept = {way} if way else _containers(order, formulary)
    wanted = kept if not container else kept & {container} if way else {container}
    wanted = wanted if order.called else wanted - {EMERGENCY}
    fitting = [w for w in workflows if w.container in wanted]
    names = ", ".join(sorted({w.container for w in fitting or workflows}))
    if not fitting:
        raise NoWayIn(f"no workflow for this order's container; there are: {names}")
    if len({w.container for w in fitting}) > 1:
        raise NoWayIn(f"name the container you have in hand; this drug comes in: {names}")
    starts = tuple(dict.fromkeys(source for w in fitting for source in w.sources))
    items = items_of(order, starts, formulary, named)
    from_ = tuple(item.container for item in items if item.container)
    for workflow in fitting:
        if workflow.sources == from_:
            return workflow, items
    raise NoWayIn(f"no workflow draws in the order {', '.join(from_)}")


def _containers(order: Order, formulary: Formulary) -> set[str]:
    """The containers that the drug comes in for the ordered route; for any, where none does.

    What only an infusion asks for, such as a ready-mixed bag, is none of them.
    """
    runs = (*_VESSELS.values(), "fluid_bag", "fluid_bottle")
    products = [p for p in formulary.of_drug(order.drug) if p.container not in runs]
    fitting = {p.container for p in products if order.route in p.routes}
    return fitting or {p.container for p in products}


def items_of(
    order: Order, sources: Sequence[str], formulary: Formulary, named: Sequence[str] = ()
) -> tuple[Item, ...]:
    """The drugs of an order line, those of a mixture in the order in which they are drawn.

    `sources` are the containers that the workflow can start from, none where it is for one
    container itself; `named` are those in hand, where the formulary leaves a choice. Raises NoWayIn
    when a drug comes in none of them, or in several.
    """

    def item(name: str, drug: str) -> Item:
        container = _source(drug, sources, formulary, named) if sources else ""
        return Item(name=name, drug=drug, container=container)

    if order.second is None:
        return (item("", order.drug),)
    one, other = item(FIRST, order.drug), item(SECOND, order.second.drug)
    if _place(other, formulary) < _place(one, formulary):
        return (item(FIRST, other.drug), item(SECOND, one.drug))
    return (one, other)


def _source(drug: str, sources: Sequence[str], formulary: Formulary, named: Sequence[str]) -> str:
    kept = {product.container for product in formulary.of_drug(drug)}
    fitting = sorted(kept & set(sources))
    fitting = [container for container in fitting if container in named] or fitting
    if len(fitting) == 1:
        return fitting[0]
    names = ", ".join(c.replace("_", " ") for c in fitting or sources)
    if fitting:
        raise NoWayIn(f"name the container of {drug} that you have in hand: {names}")
    raise NoWayIn(f"{drug} comes in none of the containers that this can start from: {names}")


def _place(item: Item, formulary: Formulary) -> tuple[int, bool]:
    """Where a drug stands in the order of drawing: the smaller goes first.

    A container that others will use after comes before one that is used up, a vial before an
    ampoule, and a clear liquid before a cloudy one, so that no drug is carried into a container
    that stays in use. Sources: Skyscape nursing procedures, mixing from vials and ampoules, and
    several teaching pages on insulin pairs, all secondary.
    """
    rank = {"multi_dose_vial": 0, "powder_vial": 1, "single_dose_vial": 1}
    cloudy = any(p.suspension for p in _of(item, formulary))
    return rank.get(item.container, 2), cloudy


def _of(item: Item, formulary: Formulary) -> Iterator[Product]:
    return (p for p in formulary.of_drug(item.drug) if p.container == item.container)


def order_matters(items: Sequence[Item], formulary: Formulary) -> bool:
    """Whether it makes a difference which of the two drugs is drawn first."""
    return len({_place(item, formulary) for item in items}) > 1


def recorded(order: Order, items: Sequence[Item]) -> dict[str, Any]:
    """What the opening entry keeps: the container of each item, and whether the two are turned."""
    return {
        "sources": {item.name: item.container for item in items if item.container},
        "turned": items[0].drug != order.drug,
    }


def traits(
    order: Order, items: Iterable[Item], formulary: Formulary, unit: Unit, *, child: bool
) -> frozenset[str]:
    """What about this order decides which steps are asked; `child` says that the patient is one.

    What is true of one item of a mixture stands twice: with the item's name before it, and without.
    """
    items = tuple(items)
    drugs = [formulary.drug(item.drug) for item in items]
    high_alert = any(drug is None or drug.high_alert for drug in drugs)
    controlled = any(drug is not None and drug.controlled for drug in drugs)
    held = {
        "high_alert": high_alert,
        "double_check": order.double_check
        or unit.asks_second_person(
            high_alert=high_alert,
            controlled=controlled,
            intravenous=order.route == "IV",
            child=child,
        ),
        "intravenous": order.route == "IV",
        "intramuscular": order.route == "IM",
        "hold_rule": order.hold is not None,
        "suspension": any(
            p.suspension and p.resuspend_how for i in items for p in formulary.of_drug(i.drug)
        ),
        "tube": order.route in TUBES,
        "by_mouth": order.route == "PO",
        "order_matters": order_matters(items, formulary),
        **_infusion_traits(order, formulary),
    }
    found = {name for name, holds in held.items() if holds}
    for item, drug in zip(items, drugs, strict=True):
        own = {"controlled"} if drug is not None and drug.controlled else set()
        own |= {"lookalike"} if drug is not None and drug.lookalikes else set()
        found |= own | ({f"{item.name}_{trait}" for trait in own} if item.name else set())
    return frozenset(found)


def _infusion_traits(order: Order, formulary: Formulary) -> dict[str, bool]:
    run = order.infusion
    if run is None:
        return {}
    drug = formulary.drug(order.drug)
    return {
        "gravity": run.gravity,
        "pump": not run.gravity,
        "first_out": run.first_out,
        "overfill": drug is not None and drug.infusion.overfill_matters,
        "chambers": any(
            p.chambers for p in formulary.of_drug(order.drug) if p.container == "premixed_bag"
        ),
    }
