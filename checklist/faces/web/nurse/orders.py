"""The orders that are due: one's own open work first, then what is still to be made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from checklist import library
from checklist.definition import WorkflowFaults
from checklist.faces.blocks import short
from checklist.faces.handover import sentence
from checklist.faces.web.nurse.form import UNHEARD_OF, BadForm, plain
from checklist.faces.web.nurse.hands import Hands
from checklist.faces.web.nurse.look import Looking
from checklist.faces.web.nurse.view import amount_of, kept, more_of, route_of
from checklist.faces.web.session import to_sign_in
from checklist.intake.fault import Faults
from checklist.intake.ward import Ward
from checklist.order import Order
from checklist.people import StaffMember
from checklist.preparation import GIVEN
from checklist.screen import Screen
from checklist.station import PEN, NotAllowed, NotHere, NotSignedIn
from checklist.timing import said_span, said_time
from checklist.trail import Listed, Trail, TrailBusy
from checklist.way_in import open_choice
from checklist.workflow import Workflow

if TYPE_CHECKING:
    from checklist.faces.web.desk import Desk

DAY = timedelta(hours=24)
"""How far back a dose that was given is still told beside its order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """A preparation that is not finished: its order, where it stands, since when."""

    id: str
    name: str
    patient: str
    drug: str
    amount: str
    number: int
    total: int
    on_hold: bool
    since: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """An order line. `state` says why it is not to be begun, "" where it is."""

    id: str
    patient: str
    drug: str
    amount: str
    due: str
    left: str
    late: bool
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """What one person sees when they look for work: their own open ones, then the orders."""

    mine: tuple[Open, ...]
    due: tuple[Due, ...]
    rest: tuple[Due, ...]
    patients: tuple[str, ...]


def work_of(
    ward: Ward,
    now: datetime,
    person: str,
    standing: Mapping[str, Screen],
    listed: Sequence[Listed],
    given: Mapping[str, datetime],
    *,
    patient: str = "",
) -> Work:
    """Sort orders and open preparations for one person; no name of a patient is in it.

    `standing` are the screens of the open preparations by id, `listed` their lines in the trail,
    `given` when a dose of an order line was last given here.
    """
    others = {standing[one.id].prep.order.id: one for one in listed if one.opened_by != person}
    orders = [o for o in ward.orders.values() if patient in ("", o.patient)]
    mine = [
        _open(standing[one.id], ward)
        for one in sorted(listed, key=lambda one: one.opened_at)
        if one.opened_by == person
    ]
    busy = {standing[one.id].prep.order.id for one in listed if one.opened_by == person}
    lines = [
        _due(o, ward, now, others.get(o.id), given.get(o.id))
        for o in sorted(orders, key=lambda o: (o.due is None, o.due or now, o.id))
        if o.id not in busy
    ]
    return Work(
        mine=tuple(mine),
        due=tuple(line for line in lines if not line.state),
        rest=tuple(line for line in lines if line.state),
        patients=tuple(sorted({o.patient for o in ward.orders.values()})),
    )


def _open(screen: Screen, ward: Ward) -> Open:
    prep = screen.prep
    return Open(
        id=prep.id,
        name=short(prep.id),
        patient=prep.order.patient,
        drug=prep.order.drug,
        amount=_amount(prep.order),
        number=screen.number,
        total=screen.total,
        on_hold=screen.stands == "interrupted",
        since=f"{ward.unit.local(prep.opened_at):%H:%M}",
    )


def _due(
    order: Order, ward: Ward, now: datetime, other: Listed | None, given: datetime | None
) -> Due:
    left = order.due - now if order.due else None
    state = "" if order.status == "active" else order.status
    if other is not None:
        state = f"begun by {other.opened_by}, {ward.unit.local(other.opened_at):%H:%M}"
    elif given is not None:
        state = f"given {said_time(given, ward.unit, now)}"
    return Due(
        id=order.id,
        patient=order.patient,
        drug=order.drug,
        amount=_amount(order),
        due=said_time(order.due, ward.unit, now) if order.due else "no time",
        left="" if left is None else _left(left),
        late=left is not None and left < timedelta(0),
        state=state,
    )


def _left(left: timedelta) -> str:
    return f"{said_span(-left)} ago" if left < timedelta(0) else f"in {said_span(left)}"


def _amount(order: Order) -> str:
    """Dose, route and second drug of an order line in one phrase."""
    parts = (amount_of(order), route_of(order), more_of(order))
    return kept(", ".join(part for part in parts if part))


class OrderPages:
    """The list of orders, and the beginning of a preparation.

    `emergencies` says whether a dose can be begun here on a leader's call.
    """

    def __init__(self, desk: Desk, looking: Looking, hands: Hands, *, emergencies: bool) -> None:
        self._desk = desk
        self._looking = looking
        self._hands = hands
        self._workflows = library.of_ward(desk.folder)[0]
        self._orders: dict[str, str] = {}
        self._emergencies = emergencies

    async def list(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """The orders due, with the person's own open ones first."""
        return await self._listed(request, person)

    async def _listed(
        self, request: Request, person: StaffMember, said: str = "", status: int = 200
    ) -> Response:
        ward, now = self._desk.ward, self._desk.clock()
        patient = request.query_params.get("patient", "")
        patient = patient if patient in ward.patients else ""

        def read(trail: Trail) -> Work:
            station = self._looking.station(trail)
            listed = trail.open_preparations()
            standing = {one.id: station.screen(one.id) for one in listed}
            return work_of(
                ward,
                now,
                person.code,
                standing,
                listed,
                self._given(trail, now),
                patient=patient,
            )

        work = await self._desk.read(read)
        return self._desk.page(
            request,
            "nurse/orders.html",
            status=status,
            work=work,
            said=said,
            patient=patient,
            untried=not self._desk.codes(request).scanner.tried,
            emergencies=self._emergencies,
        )

    async def begin(self, request: Request, desk: Desk, person: StaffMember) -> Response:
        """Open the preparation of an order, or go to the one that is open; where several
        containers would do, ask which is in hand.
        """
        try:
            form = await plain(request)
        except BadForm as fault:
            await desk.turned_away.note(request, UNHEARD_OF)
            return await self._listed(request, person, sentence(fault), 400)
        ward = self._desk.ward
        order = ward.orders.get(form.get("order", ""))
        if order is None:
            return await self._listed(
                request, person, "This order is no longer in the list. Look again.", 404
            )
        open_one = await self._desk.read(lambda trail: self._open_for(trail, order.id))
        if open_one:
            return RedirectResponse(f"/preparation/{open_one}", 303)
        choice = open_choice(order, self._flows(), ward.formulary)
        container = form.get("container", "")
        sources = tuple(form.get(f"source{n}", "") for n in range(len(choice.sources)))
        if (choice.containers and container not in choice.containers) or any(
            name not in fitting for name, (_, fitting) in zip(sources, choice.sources, strict=True)
        ):
            return desk.page(
                request, "nurse/choose.html", order=order.id, patient=order.patient,
                drug=order.drug, amount=_amount(order), choice=choice,
                named="container" in form or "source0" in form,
            )  # fmt: skip
        try:
            outcome = await desk.act(
                request,
                lambda at: at.open(order.id, person.code, container=container, sources=sources),
            )
        except (NotHere, NotAllowed, WorkflowFaults, Faults) as fault:
            return await self._listed(request, person, f"Nothing was begun. {sentence(fault)}", 409)
        except NotSignedIn:
            return to_sign_in(request)
        except TrailBusy as fault:
            return await self._listed(request, person, str(fault), 503)
        id_ = outcome.screen.prep.id
        session = desk.session(request)
        self._hands.take(id_, session.id if session else "")
        return RedirectResponse(f"/preparation/{id_}", 303)

    def _flows(self) -> tuple[Workflow, ...]:
        """The workflows that work may begin by on this unit."""
        pens = self._desk.ward.unit.word("insulin_pens_in_use") == "yes"
        return tuple(w for w in self._workflows.values() if pens or w.container != PEN)

    def _open_for(self, trail: Trail, order: str) -> str:
        """The id of the open preparation of an order, "" where there is none."""
        station = self._looking.station(trail)
        for one in trail.open_preparations():
            if station.find(one.id).order.id == order:
                return one.id
        return ""

    def _given(self, trail: Trail, now: datetime) -> dict[str, datetime]:
        """When a dose of each order line was last given here, within a day."""
        given: dict[str, datetime] = {}
        for one in trail.preparations():
            if one.place == GIVEN and one.last_at >= now - DAY:
                if one.id not in self._orders:
                    entry = trail.of(one.id)[0]
                    self._orders[one.id] = str(entry.event.body["order"]["id"])
                order = self._orders[one.id]
                given[order] = max(one.last_at, given.get(order, one.last_at))
        return given
