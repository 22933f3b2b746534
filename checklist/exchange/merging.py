"""What was taken of a file, put together with the orders that stand on the ward already."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from checklist.exchange.taken import OVER, Line, Taken
from checklist.intake.fault import Findings, said_place
from checklist.intake.infusion import InfusionRecord, infusion_of
from checklist.intake.orders import WRITTEN
from checklist.number import quoted
from checklist.order import Infusion
from checklist.quantity import Concentration, Quantity, same

OWN = ("hold", "double_check", "time_critical", "verbal", "read_back", "last_given")
"""What only this ward's file says of an order: it stays, whatever is taken."""
OWN_OF_INFUSION = ("first_out", "gravity")
"""The same of how a dose runs in."""
_ORDERED = (*WRITTEN, "form", "site", "interval", "patient", "infusion")
"""What a pharmacist's review was of; it falls when one of these changes."""


_SHOWN = ("weight", "weighed_on")
"""What is told of a patient in figures; the rest says who it is."""


class Kind(StrEnum):
    """What becomes of an order line."""

    NEW = "new"
    CHANGED = "changed"
    SAME = "the same"
    STAYS = "stays"
    DROPPED = "dropped"
    PASSED_OVER = "passed over"
    LEFT_OUT = "left out"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One order: its id, what becomes of it, its line then, and each change in words."""

    id: str
    kind: Kind
    line: Mapping[str, Any]
    said: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Merged:
    """The orders.json that would be, and what would change. `people` are changes of patients."""

    document: Mapping[str, Any]
    changes: tuple[Change, ...]
    people: tuple[str, ...]

    @property
    def moves(self) -> bool:
        """Whether anything would be another than it is."""
        kinds = (Kind.NEW, Kind.CHANGED, Kind.DROPPED)
        return bool(self.people) or any(one.kind in kinds for one in self.changes)


@dataclass(slots=True)
class _Merging:
    """The work under way: the lines that stand, by their names."""

    findings: Findings
    new_code: Callable[[], str]
    people: dict[str, Line]
    said: list[str] = field(default_factory=list)

    def patient(self, taken: Line) -> str:
        """The code of the patient; the line is put together with the one that stands."""
        number = taken["record_number"]
        place = f"patient {quoted(number)}"
        before = self.people.get(number)
        if before is None:
            code = self.new_code()
            self.people[number] = _tidy({"code": code, **taken})
            self.said.append(f"{code}: new on this ward")
            return code
        code = str(before["code"])
        if before["birth_date"] != taken["birth_date"]:
            self.findings.add(
                place,
                "Here this record number has another date of birth. Look at both records: it may"
                " be another person.",
            )
            return code
        after = {**before, "name": taken["name"], "sex": taken["sex"] or before.get("sex", "")}
        after["band_numbers"] = taken["band_numbers"] or before.get("band_numbers", [])
        self._allergies(before, taken, after, place)
        if taken["weight"] and taken["weighed_on"] >= before.get("weighed_on", ""):
            after |= {"weight": taken["weight"], "weighed_on": taken["weighed_on"]}
        after = _tidy(after)
        for key in sorted(after.keys() | before.keys()):
            if after.get(key) != before.get(key):
                change = f": {_said(before.get(key))}, then {_said(after.get(key))}"
                shown = change if key in _SHOWN else " changes"
                self.said.append(f"{code}: {key.replace('_', ' ')}{shown}")
        self.people[number] = after
        return code

    def _allergies(self, before: Line, taken: Line, after: Line, place: str) -> None:
        """An allergy that stands here is never taken away by a file that does not name it."""
        stand, come = before.get("allergies"), taken["allergies"]
        if come is None:
            return
        if not come and stand:
            names = ", ".join(one["substance"] for one in stand)
            self.findings.add(
                place, f"It says that no allergies are known; here stand: {names}. Look at both."
            )
            return
        known = {one["substance"].casefold(): one for one in stand or ()}
        fresh = []
        for one in come:
            own = known.pop(one["substance"].casefold(), {})
            fresh.append(_tidy({**own, **_tidy(one)}))
        after["allergies"] = [*fresh, *known.values()]


def merged(
    base: Mapping[str, Any],
    taken: Taken,
    findings: Findings,
    *,
    new_code: Callable[[], str],
    drop: Sequence[str] = (),
) -> Merged:
    """The file that would be, and every change to it.

    `base` is the content of the orders.json that stands. An order that is not in the file taken
    stays as it is, unless its id is in `drop`. `new_code` gives a code for a patient who is not
    known yet. Each thing that cannot be put together is a fault of `findings`.
    """
    work = _Merging(
        findings=findings,
        new_code=new_code,
        people={one["record_number"]: dict(one) for one in base.get("patients", ())},
    )
    codes = {one["record_number"]: work.patient(one) for one in taken.patients}
    lines: dict[str, Line] = {one["id"]: dict(one) for one in base.get("orders", ())}
    changes: dict[str, Change] = {}
    for one in taken.orders:
        line = {**one, "patient": codes[one["patient"]]}
        if one["id"] in changes:
            findings.add(f"order {quoted(one['id'])}", "It is there twice. Have it sent once.")
            continue
        changes[one["id"]] = _change(lines.get(one["id"]), line, findings)
    for id_ in drop:
        if id_ not in lines:
            findings.add(f"order {quoted(id_)}", "It does not stand here, so it is not dropped.")
        elif id_ in changes:
            findings.add(f"order {quoted(id_)}", "It is to be dropped, and is in the file. Decide.")
        else:
            changes[id_] = Change(id=id_, kind=Kind.DROPPED, line=lines[id_])
    stay = [
        Change(id=id_, kind=Kind.STAYS, line=line)
        for id_, line in lines.items()
        if id_ not in changes
    ]
    for id_, change in changes.items():
        if change.kind in (Kind.NEW, Kind.CHANGED):
            lines[id_] = dict(change.line)
        elif change.kind is Kind.DROPPED:
            del lines[id_]
    out = [Change(id=id_, kind=Kind.LEFT_OUT, line={}) for id_ in taken.left_out]
    return Merged(
        document={"patients": list(work.people.values()), "orders": list(lines.values())},
        changes=(*changes.values(), *out, *stay),
        people=tuple(work.said),
    )


def _change(before: Line | None, taken: Line, findings: Findings) -> Change:
    """What becomes of one order that was taken."""
    id_, place = taken["id"], f"order {quoted(taken['id'])}"
    if before is None:
        if taken["status"] in OVER:
            return Change(id=id_, kind=Kind.PASSED_OVER, line=taken)
        return Change(id=id_, kind=Kind.NEW, line=_tidy(taken))
    if before["patient"] != taken["patient"]:
        findings.add(place, "Here it is for another patient. Look at both records.")
    if taken["status"] in OVER:
        after = {**before, "status": taken["status"]}
    else:
        for key in ("infusion", "second"):
            if key in before and key not in taken:
                findings.add(
                    place,
                    f"Here it has {key} beside it, which the file does not say. Leave it out.",
                )
        after = _tidy({**taken, **{key: before[key] for key in OWN if key in before}})
        if "infusion" in taken:
            stands = before.get("infusion", {})
            kept = {key: stands[key] for key in OWN_OF_INFUSION if key in stands}
            run = {**taken["infusion"], **kept}
            after["infusion"] = stands if _alike(run, stands) else run
        ordered = any(after.get(key, "") != before.get(key, "") for key in _ORDERED)
        if not ordered and not after.get("reviewed_by") and before.get("reviewed_by"):
            after["reviewed_by"] = before["reviewed_by"]
    old, new = _flat(before), _flat(after)
    said = tuple(
        f"{key.replace('_', ' ')}: {_said(old.get(key))}, then {_said(new.get(key))}"
        for key in sorted(new.keys() | old.keys())
        if new.get(key, "") != old.get(key, "") and not _both_active(key, old, new)
    )
    kind = Kind.CHANGED if said else Kind.SAME
    return Change(id=id_, kind=kind, line=after if said else before, said=said)


def _alike(one: Line, other: Line) -> bool:
    """Whether two infusions mean the same: 0.9 % is 0.9 g in 100 mL, and 4 h are 4 hours."""
    first, second = _run(one), _run(other)
    if first is None or second is None:
        return False
    for key in Infusion.__slots__:
        a, b = getattr(first, key), getattr(second, key)
        measured = isinstance(a, (Quantity, Concentration))
        if not (same(a, b) if measured else type(a) is type(b) and a == b):
            return False
    return True


def _run(line: Line) -> Infusion | None:
    """What an infusion says; None where any of it is not clear."""
    findings, unreadable = Findings(""), dict[str, str]()
    one = findings.check(InfusionRecord, line, said_place(""))
    run = infusion_of(one, "", findings, unreadable)
    return None if findings.faults or unreadable else run


def _flat(line: Line) -> Line:
    """The line with each part of its infusion under a name of its own, to tell what changes."""
    run = {f"infusion, {key}": value for key, value in line.get("infusion", {}).items()}
    return {**{key: value for key, value in line.items() if key != "infusion"}, **run}


def _both_active(key: str, before: Line, after: Line) -> bool:
    """A status that is left out means active."""
    usual = "active"
    return key == "status" and before.get(key, usual) == after.get(key, usual)


def _said(value: Any) -> str:
    return "nothing" if value in (None, "", []) else str(value)


def _tidy(line: Mapping[str, Any]) -> Line:
    """The line without what is empty. An empty list of allergies says that none are known."""
    return {
        key: value
        for key, value in line.items()
        if value not in ("", None) and (value != [] or key == "allergies")
    }
