"""A closed preparation as a health record asks for it, told from its entries alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction

from checklist.gate import Rules
from checklist.number import decimals
from checklist.observation import ProductRead
from checklist.order import Order
from checklist.preparation import GIVEN, Entry, Preparation
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

    `given` is the amount that went in, `volume` the volume of all that did; each is None where
    nothing did, or where it has no decimals that write it. `strength` is in words, "" for none.
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
    listed reason of an end without giving. `seconds` maps each second person's code to what they
    did: "checker" or "witness". `giver` is who gave, "" where nobody did. `first` and `last` are
    entries of the trail.
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
    views = [prep.of(item) for item in prep.items if prep.of(item).latest("product")] or [prep]
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
        drugs=tuple(_drug(view, bool(taken)) for view in views),
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


def _drug(view: Preparation, went_in: bool) -> Drug:
    read, lot, expiry = view.latest("product"), view.latest("lot"), view.latest("expiry")
    product = read.value if read is not None and isinstance(read.value, ProductRead) else None
    day = product.expiry if product is not None else None
    if day is None and expiry is not None and isinstance(expiry.value, date):
        day = expiry.value
    typed = lot.value if lot is not None and isinstance(lot.value, str) else ""
    volume = _given_volume(view) if went_in else None
    return Drug(
        item=view.item,
        order=view.order,
        given=_amount(view) if went_in else None,
        volume=volume,
        strength=next((str(found) for found in _strengths(view)), ""),
        product=product.code if product is not None else "",
        lot=(product.lot if product is not None else "") or typed,
        expiry=day,
    )


def _amount(view: Preparation) -> Quantity | None:
    """The amount that went in: the dose on the label, or the share of it that was given.

    The label's dose is the one that was read back at the bedside; it is taken from what was read
    then, so that a weight that was changed since changes nothing.
    """
    readings = [view.latest(name) for name in _DOSES] if not view.item else []
    doses = [one.value for one in readings if one is not None]
    whole = next((one for one in doses if isinstance(one, Quantity)), view.order.dose)
    given, drawn = view.latest("given_volume"), view.latest("drawn_volume")
    if whole is None or given is None or drawn is None:
        return whole
    if not isinstance(given.value, Quantity) or not isinstance(drawn.value, Quantity):
        return whole
    if not given.value.alike(drawn.value) or given.value == drawn.value:
        return whole
    share: Fraction = given.value.ratio(drawn.value)
    part = whole * share
    return part if decimals(part.magnitude) is not None else None


def _given_volume(view: Preparation) -> Quantity | None:
    for name in ("given_volume", "drawn_volume"):
        found = view.latest(name)
        if found is not None and isinstance(found.value, Quantity):
            return found.value
    return None


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
