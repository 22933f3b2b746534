"""A dose called for in an emergency: what may be called for on a ward, and who may call for it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Self

from checklist.attendance import found
from checklist.faces.handover import sentence
from checklist.formulary import Product
from checklist.intake.ward import Ward
from checklist.label import ROUTE_WORDS
from checklist.observation import Kind
from checklist.order import Call
from checklist.people import StaffMember
from checklist.permission import Action, may
from checklist.station import NotHere
from checklist.way_in import EMERGENCY, open_choice
from checklist.workflow import Field, Workflow

DOSE = Field(name="dose", kind=Kind.QUANTITY, say="Dose, with its unit")
FIRST = "Only while a leader has declared an emergency. Your unit's own emergency rules come first."
PUT_OFF = (
    "What is put off now (the written order, the review, the second look, the kit) is asked for at"
    " the end, before this preparation is over."
)
NO_WAY = (
    "This ward keeps no workflow for an emergency. Go by your unit's own rules, and have the dose"
    " written as an order."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Calls:
    """What can be called for on a ward, with its workflows for an emergency."""

    ward: Ward
    flows: tuple[Workflow, ...]

    @classmethod
    def on(cls, ward: Ward, workflows: Iterable[Workflow]) -> Self:
        """What can be called for on a ward with these workflows."""
        return cls(ward=ward, flows=tuple(w for w in workflows if w.container == EMERGENCY))

    def drugs(self) -> list[str]:
        """The drugs that come in a container from which an emergency dose is drawn."""
        return sorted({one.drug for one in self._products if one.container in self._starts})

    def routes(self) -> Mapping[str, str]:
        """The routes for which there are such containers, in words."""
        starts = self._starts
        codes = {route for one in self._products if one.container in starts for route in one.routes}
        return {code: words for code, words in ROUTE_WORDS.items() if code in codes}

    def not_leading(self, code: str, person: StaffMember) -> str:
        """Why nobody with this code leads an emergency whose dose this person prepares; "" for
        somebody who may.
        """
        if not code:
            return "No answer yet. Who leads and calls for it?"
        try:
            leader = found(self.ward, code)
        except NotHere as fault:
            return sentence(fault)
        if leader.code == person.code:
            return "You prepare this dose, so somebody else has to lead and call for it."
        if not may(leader, Action.LEAD):
            return f"{leader.code} may not lead an emergency here. Ask who does."
        return ""

    def containers(self, call: Call, at: datetime) -> tuple[str, ...]:
        """The containers of which one has to be named; none where there is no choice."""
        choice = open_choice(call.order(id_="", at=at), self.flows, self.ward.formulary)
        return dict(choice.sources).get(call.drug, ())

    @property
    def _products(self) -> tuple[Product, ...]:
        return tuple(self.ward.formulary.products.values())

    @property
    def _starts(self) -> frozenset[str]:
        return frozenset(source for flow in self.flows for source in flow.sources)
