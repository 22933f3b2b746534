"""A closed preparation as a health record asks for it, told from its entries alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from checklist.gate import Rules
from checklist.number import decimals
from checklist.observation import ProductRead
from checklist.order import Order
from checklist.preparation import FIRST, GIVEN, SECOND, Entry, Preparation
from checklist.quantity import Concentration, Quantity
from checklist.workflow import Who

_READ = ("passed", "cautioned", "refused", "proceeded")
_DOSES = ("bedside_dose", "label_dose")
_STRENGTHS = ("made_strength", "read_strength", "checker_strength")


class NotClosed(Exception):
    """The preparation is still under way, so nothing of it can be given back yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drug:
    """One drug of a preparation: what was ordered of it, what it came in, and what went in.

    `given` is the amount that went in; None where nothing did, where nobody can say how much, or
    where no decimals write it. `volume` is the volume of all that went in, with what goes with the
    drug; None where it was not measured. `strength` is in words, "" for none.
    """

    item: str
    order: Order
    given: Quantity | None
    volume: Quantity | None
    strength: str
    product: str
    lot: str
    expiry: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Closed:
    """What a closed preparation came to.

    `went_in` says that some of the dose went in; `at` is then when, else None. `because` is the
    listed reason of an end without giving. `containers` is each item that was read. `seconds` maps
    each second person's code to what they did: "checker" or "witness". `giver` is who gave, ""
    where nobody did. `first` and `last` are entries of the trail.
    """

    id: str
    place: str
    went_in: bool
    because: str
    opened_at: datetime
    ended_at: datetime
    at: datetime | None
    order: Order
    drugs: tuple[Drug, ...]
    containers: tuple[ProductRead, ...]
    site: str
    preparer: str
    giver: str
    seconds: Mapping[str, Who]
    stops: int
    cautions: int
    breaks: int
    restarts: int
    station: str
    workflow: str
    software: str
    first: Entry
    last: Entry


def closed_of(
    prep: Preparation, entries: Sequence[Entry], rules: Rules, giving: Sequence[str]
) -> Closed:
    """What a preparation came to; `giving` names the fields that are taken when a dose is in.

    Raises NotClosed for one that is still under way.
    """
    if not prep.closed:
        raise NotClosed(
            f"Preparation {prep.id[:8]} is still under way, at {prep.place.partition('/')[0]}."
            " Finish it first: checklist prepare"
        )
    views = [prep] if prep.order.second is None else [prep.of(FIRST), prep.of(SECOND)]
    taken = [name for name in giving if prep.latest(name) is not None]
    ended = next(one for one in entries if one.event.lands == prep.place)
    opened = entries[0].event
    return Closed(
        id=prep.id,
        place=prep.place,
        went_in=bool(taken),
        because=prep.ended_because,
        opened_at=prep.opened_at,
        ended_at=ended.event.at,
        at=_given_at(prep, taken, ended.event.at),
        order=prep.order,
        drugs=tuple(_drug(view, prep, bool(taken)) for view in views),
        containers=tuple(_containers(prep)),
        site=_text(prep, "site_given"),
        preparer=prep.preparer,
        giver=next((prep.person_of(name) for name in taken), ""),
        seconds=dict(_seconds(prep, entries, rules)),
        stops=prep.refusals,
        cautions=prep.cautions,
        breaks=sum(one.event.kind == "interrupted" for one in entries),
        restarts=prep.restarts,
        station=prep.station,
        workflow=f"{opened.body['name']} version {opened.body['version']}",
        software=opened.body["software"],
        first=entries[0],
        last=entries[-1],
    )


def _given_at(prep: Preparation, taken: Sequence[str], ended: datetime) -> datetime | None:
    """When the dose began to go in: as the giver said, or when it was entered."""
    if not taken:
        return None
    said = prep.latest("time_given")
    if said is not None and isinstance(said.value, datetime):
        return said.value
    return prep.time_of(taken[0]) or (ended if prep.place == GIVEN else None)


def _drug(view: Preparation, prep: Preparation, went_in: bool) -> Drug:
    """One drug; `view` is the preparation as its item sees it, `prep` itself where it is alone."""
    read, lot, expiry = view.latest("product"), view.latest("lot"), view.latest("expiry")
    product = read.value if read is not None and isinstance(read.value, ProductRead) else None
    day = product.expiry if product is not None else None
    if day is None and expiry is not None and isinstance(expiry.value, date):
        day = expiry.value
    typed = lot.value if lot is not None and isinstance(lot.value, str) else ""
    return Drug(
        item=view.item,
        order=view.order,
        given=_amount(view, prep) if went_in else None,
        volume=_quantity(prep, "given_volume") if went_in else None,
        strength=next((str(found) for found in _strengths(view)), ""),
        product=product.code if product is not None else "",
        lot=(product.lot if product is not None else "") or typed,
        expiry=day,
    )


def _amount(view: Preparation, prep: Preparation) -> Quantity | None:
    """The amount that went in: the dose on the label, or the share of it that was given.

    The label's dose is the one that was read back at the bedside; it is taken from what was read
    then, so that a weight that was changed since changes nothing. Two drugs in one syringe have a
    dose each by the order, and what the syringe held is what was read after the second.
    """
    doses = [_quantity(prep, name) for name in _DOSES] if view is prep else []
    whole = next((one for one in doses if one is not None), view.order.dose)
    given = _quantity(prep, "given_volume")
    held = _quantity(prep if view is prep else prep.of(SECOND), "drawn_volume")
    if given is None:
        # Without a volume only a dose that was given to the end is known to be all in.
        return whole if prep.place == GIVEN else None
    if whole is None or held is None or not given.alike(held) or given == held:
        return whole
    part = whole * given.ratio(held)
    return part if decimals(part.magnitude) is not None else None


def _quantity(prep: Preparation, name: str) -> Quantity | None:
    found = prep.latest(name)
    return found.value if found is not None and isinstance(found.value, Quantity) else None


def _containers(prep: Preparation) -> Iterator[ProductRead]:
    """Each item that was read and accepted, once."""
    known: dict[tuple[str, str], ProductRead] = {}
    for observation in prep.seen.values():
        for reading in observation.values():
            if isinstance(reading.value, ProductRead):
                known.setdefault((reading.value.code, reading.value.lot), reading.value)
    yield from known.values()


def _strengths(view: Preparation) -> Iterator[Concentration]:
    for name in _STRENGTHS:
        found = view.latest(name)
        if found is not None and isinstance(found.value, Concentration):
            yield found.value


def _text(prep: Preparation, name: str) -> str:
    found = prep.latest(name)
    return found.value if found is not None and isinstance(found.value, str) else ""


def _seconds(
    prep: Preparation, entries: Sequence[Entry], rules: Rules
) -> Iterator[tuple[str, Who]]:
    """Who stood at a second person's step; a witness counts as one even where they checked too."""
    found: dict[str, Who] = {}
    for one in entries:
        event = one.event
        if event.kind not in _READ or event.by == prep.preparer:
            continue
        who = rules.layout.base(event.place).step.who
        if who is Who.WITNESS or (who is Who.CHECKER and event.by not in found):
            found[event.by] = who
    yield from found.items()
