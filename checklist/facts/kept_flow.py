"""What a kept workflow says about its steps: phase, stage, hands, least time."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from checklist.preparation import ITEM
from checklist.workflow import CAUTION, INTERRUPTED, REFUSED, REVERIFY


@dataclass(frozen=True, slots=True, kw_only=True)
class StepOut:
    """A step as the facts name it; `number` counts the main sequence from 1, 0 in a side phase."""

    step: str
    item: str = ""
    side: str = ""
    phase: str = ""
    stage: str = ""
    who: str = "preparer"
    shortest: int = 0
    critical: bool = False
    gives: bool = False
    number: int = 0

    @property
    def cells(self) -> dict[str, Any]:
        """The cells of a row that tell a step."""
        return {
            "step": self.step,
            "item": self.item,
            "side": self.side,
            "phase": self.phase,
            "stage": self.stage,
            "who": self.who,
        }


class KeptFlow:
    """The steps of one kept workflow by place. `giving` are the fields taken when a dose is in."""

    def __init__(self, text: str, giving: frozenset[str]) -> None:
        flow = json.loads(text)
        self.name: str = flow["name"]
        self._known: dict[str, StepOut] = {}
        self._of_step: dict[str, StepOut] = {}
        main = [(phase, step) for phase in flow["phases"] for step in phase["steps"]]
        order = {step["name"]: at for at, (_, step) in enumerate(main)}
        gives = {
            step["name"] for _, step in main if giving & {each["name"] for each in step["fields"]}
        }
        given = min((order[name] for name in gives), default=len(order))
        marks = [order.get(flow[key], len(order)) for key in ("opens", "withdraw", "ready")]
        for at, (phase, step) in enumerate(main):
            reached = sum(at >= mark for mark in marks)
            stage = ("before opening", "open", "drawn up", "at the bedside")[reached]
            name = step["name"]
            stage = "once given" if at > given else stage
            self._of_step[name] = _out(step, phase, stage, at + 1, gives=name in gives)
        for phase in flow["asides"]:
            for step in phase["steps"]:
                self._of_step.setdefault(step["name"], _out(step, phase, "account", side="account"))

    def at(self, place: str) -> StepOut:
        """The step at a place; an unknown one stands under its own name."""
        found = self._known.get(place)
        if found is None:
            found = self._known[place] = self._found(place)
        return found

    def _found(self, place: str) -> StepOut:
        name, _, ends = place.partition("/")
        base = self._of_step.get(name) or StepOut(step=name)
        if REVERIFY not in ends.split("/"):
            return base
        return StepOut(
            step=base.step,
            item=base.item,
            side="reverify",
            phase=base.phase,
            stage=base.stage,
            critical=base.critical,
        )


def base_place(place: str) -> str:
    """A place without the end that says a reason or a break stands there."""
    stem, _, end = place.rpartition("/")
    return stem if end in (REFUSED, CAUTION, INTERRUPTED) else place


def _out(
    step: dict[str, Any],
    phase: dict[str, Any],
    stage: str,
    number: int = 0,
    *,
    side: str = "",
    gives: bool = False,
) -> StepOut:
    plain, _, item = step["name"].partition(ITEM)
    return StepOut(
        step=plain,
        item=item,
        side=side,
        phase=phase["name"],
        stage=stage,
        who=step["who"],
        shortest=step["shortest"],
        critical=step["critical"],
        gives=gives,
        number=number,
    )
