"""A pharmacy order of HL7 v2 (RDE^O11, OMP^O09) as patients and order lines.

Fields: HL7 v2.5.1, chapters 3 (PID, AL1), 4 (ORC, TQ1, RXO, RXE, RXR) and 7 (OBX). Routes: HL7
table 0162; its IO is intraocular, where this program's is intraosseous, so that only the codes of
`ROUTES` are read.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from checklist import ucum
from checklist.exchange.hl7_message import KINDS, Segment, groups, segments_of
from checklist.exchange.hl7_patient import allergies_of, code_key, patient_of, weight_of
from checklist.exchange.hl7_time import times_of
from checklist.exchange.taken import OVER, Line, Taken, amount, fitting
from checklist.intake.amount import strength_of
from checklist.intake.exchange import Exchange
from checklist.intake.fault import Findings
from checklist.intake.orders import ordered_dose
from checklist.intake.route import route_of, word_of
from checklist.number import NumberFault, quoted
from checklist.quantity import UnitFault

ROUTES: Mapping[str, str] = {
    "IV": "IV", "IM": "IM", "SC": "SC", "ID": "ID", "IT": "IT", "EP": "EPI", "IP": "IP",
    "PO": "PO", "NG": "NG", "GTT": "PEG", "PR": "PR", "NS": "NAS", "IN": "NAS", "OP": "OPH",
    "OT": "OT", "TP": "TOP", "SL": "SL", "B": "BUC", "TD": "TD", "IH": "INH",
}  # fmt: skip
"""Codes of HL7 table 0162 that mean a route of this program."""
CONTROL: Mapping[str, str] = {
    "NW": "active", "RE": "active", "XO": "active", "RL": "active", "SC": "active",
    "HD": "held", "DC": "stopped", "CA": "cancelled",
}  # fmt: skip
"""What an order control code (HL7 table 0119) makes of the order."""
STATUS: Mapping[str, str] = {
    "": "", "A": "", "IP": "", "SC": "",
    "HD": "held", "DC": "stopped", "CA": "cancelled", "CM": "completed", "RP": "replaced",
}  # fmt: skip
"""What an order status (HL7 table 0038) adds to that; "" for nothing."""
_BY_HAND = "Leave the order out by its id and enter it in orders.json by hand."


@dataclass(frozen=True, slots=True)
class _Fields:
    """Where the same thing stands in RXE and in RXO."""

    code: int
    least: int
    most: int
    units: int
    form: int
    words: tuple[int, ...]
    reviewed: int
    each: int
    rate: int
    strength: int
    strength_units: int
    volume: int
    volume_units: int
    indication: int


FIELDS = {
    "RXE": _Fields(2, 3, 4, 5, 6, (7, 21), 14, 22, 23, 25, 26, 33, 34, 27),
    "RXO": _Fields(1, 2, 3, 4, 5, (6, 7), 15, 17, 21, 18, 19, 25, 26, 20),
}


def taken_of(
    text: str,
    words: Exchange,
    zone: str,
    findings: Findings,
    *,
    leave_out: Sequence[str] = (),
) -> Taken:
    """The patient and orders of one message; each thing that cannot be taken is a fault.

    As `fhir_bundle.taken_of`; places are like RXE-3. Raises NeedsExtra.
    """
    taken = Taken()
    segments = segments_of(text, findings)
    if not segments:
        return taken
    patients = [one for one in segments if one.name == "PID"]
    if len(patients) != 1:
        findings.add("PID", f"There are {len(patients)} patients. Have one sent in a message.")
        return taken
    line = patient_of(patients[0], words, taken)
    if line is not None:
        line["allergies"] = allergies_of([s for s in segments if s.name == "AL1"], words)
        weight_of([s for s in segments if s.name == "OBX"], words, taken, line)
        taken.patients.append(line)
    holds = KINDS[segments[0].text(9, 1), segments[0].text(9, 2)]
    every = list(groups(segments))
    if not every:
        findings.add("ORC", "There is no order in the message. Have one sent.")
    for group in every:
        id_ = group[0].text(2)
        if id_ and id_ in leave_out:
            taken.left_out.append(id_)
            continue
        order = _order(group, holds, words, zone, taken)
        if not id_:
            group[0].doubt(2, "The order has no number to know it by. Have it sent.")
        if order is not None and line is not None:
            taken.orders.append({"id": id_, "patient": line["record_number"], **order})
    _passed_over(segments, taken)
    return taken


def _passed_over(segments: Sequence[Segment], taken: Taken) -> None:
    read = ("MSH", "PID", "AL1", "ORC", "TQ1", "RXE", "RXO", "RXR", "RXC", "OBX")
    for name in dict.fromkeys(one.name for one in segments if one.name not in read):
        many = sum(one.name == name for one in segments)
        taken.remark(name, f"{many} of these segments; nothing of them is taken.")


def _order(
    group: Sequence[Segment], holds: str, words: Exchange, zone: str, taken: Taken
) -> Line | None:
    """The order line of one ORC without its id and patient; None, with doubts, for no order."""
    head = group[0]
    status = _status(head, holds)
    if status in ("", *OVER):
        return {"status": status} if status else None
    orders = [one for one in group if one.name == holds]
    if len(orders) != 1:
        head.findings.add(holds, f"There are {len(orders)} to one {head.place}. Have one sent.")
        return None
    order, at = orders[0], FIELDS[holds]
    _whole(group, order, at)
    for field in at.words:
        if order.there(field):
            taken.remark(order.at(field), "Words beside the dose are not taken.")
    times = times_of(group, order, zone)
    if not times.due:
        taken.remark(head.place, "It has no due time; it is refused at the bedside until it has.")
    route, site = _route(group, head, words)
    return {
        "drug": _drug(order, at.code, words),
        "dose": _dose(order, at, words, taken),
        "route": word_of(route),
        "site": site,
        "strength": _strength(order, at, words),
        "form": _said(order, at.form),
        "frequency": times.frequency,
        "interval": times.interval,
        "due": times.due,
        "starts": "",
        "stops": times.stops,
        "status": status,
        "prescriber": _person(head, 12),
        "reviewed_by": _person(order, at.reviewed),
        "indication": _said(order, at.indication),
    }


def _status(head: Segment, holds: str) -> str:
    control, more = head.text(1), head.text(5)
    if control not in CONTROL or (control == "RE" and holds != "RXE"):
        head.doubt(1, f"{quoted(control)} is not read here. Read are {', '.join(CONTROL)}.")
        return ""
    if more not in STATUS:
        head.doubt(5, f"{quoted(more)} is no status under which an order is taken.")
        return ""
    return STATUS[more] or CONTROL[control]


def _whole(group: Sequence[Segment], order: Segment, at: _Fields) -> None:
    """Doubts about what would have to be taken along with the dose."""
    for one in group:
        if one.name == "RXC":
            one.doubt(2, f"A mixture or a fluid to run in is not taken. {_BY_HAND}")
            break
    for field in (at.each, at.rate):
        if order.there(field):
            order.doubt(field, f"How a dose runs in is not taken. {_BY_HAND}")
    if _ranged(order, at):
        least, most = order.text(at.least), order.text(at.most)
        order.doubt(
            at.most,
            f"A range from {quoted(least)} to {quoted(most)} is no one dose. Whoever prescribes"
            " decides which: have one ordered, or leave the order out by its id.",
        )


def _ranged(order: Segment, at: _Fields) -> bool:
    return order.text(at.most) not in ("", order.text(at.least))


def _drug(order: Segment, field: int, words: Exchange) -> str:
    name = words.drugs.get(code_key(order, field), "") or order.text(field, 2)
    if not name:
        order.doubt(field, "The drug has no name that is known here. Have its text sent.")
    return name


def _dose(order: Segment, at: _Fields, words: Exchange, taken: Taken) -> str:
    raw, code = order.text(at.least), unit_in(order, at.units, words)
    if not raw:
        order.doubt(at.least, "There is no dose in figures. Have it sent.")
        return ""
    if _ranged(order, at):
        return ""
    text = _amount(order, at.least, raw, code)
    if text and raw != text.partition(" ")[0]:
        taken.remark(order.at(at.least), f"{quoted(raw)} is taken as {text}.")
    return fitting(order.at(at.least), order.findings, ordered_dose, text)


def _amount(order: Segment, field: int, raw: str, code: str) -> str:
    if not raw or not code:
        return ""
    try:
        return amount(raw, code)
    except (NumberFault, UnitFault) as fault:
        order.doubt(field, str(fault))
        return ""


def unit_in(one: Segment, field: int, words: Exchange) -> str:
    """The UCUM code of a field with units; "" and a doubt for a unit that is not known."""
    code, system = one.text(field), one.text(field, 3)
    known = words.units.get(code_key(one, field), "")
    if known:
        return known
    if not code or system.upper() != "UCUM":
        said = f"The unit {quoted(code)}" if code else "It"
        one.doubt(field, f"{said} is no UCUM code. Have it sent, or put it in exchange.toml.")
        return ""
    try:
        return ucum.unit(code).code
    except UnitFault as fault:
        one.doubt(field, str(fault))
        return ""


def _strength(order: Segment, at: _Fields, words: Exchange) -> str:
    """An amount in a volume; "" where the message gives no volume."""
    if not order.there(at.strength) or not order.there(at.volume):
        return ""
    parts = [
        _amount(order, field, order.text(field), unit_in(order, units, words))
        for field, units in ((at.strength, at.strength_units), (at.volume, at.volume_units))
    ]
    text = " in ".join(parts) if all(parts) else ""
    return fitting(order.at(at.strength), order.findings, strength_of, text)


def _route(group: Sequence[Segment], head: Segment, words: Exchange) -> tuple[str, str]:
    """The route's code, and the site."""
    routes = [one for one in group if one.name == "RXR"]
    if len(routes) != 1:
        head.findings.add("RXR", f"There are {len(routes)} routes to one order. Have one sent.")
        return "", ""
    (one,) = routes
    code, said, system = one.text(1), one.text(1, 2), one.text(1, 3)
    known = words.routes.get(code_key(one, 1), "")
    if not known and system.upper() in ("", "HL70162"):
        known = ROUTES.get(code, "")
    spelt = route_of(said) if len(said) > 3 else ""
    if known and spelt and known != spelt:
        one.doubt(1, f"{quoted(code)} and {quoted(said)} mean different routes. Have one sent.")
    if not known and not (spelt and not code):
        one.doubt(1, f"The route {quoted(code or said)} is not known. Put it in exchange.toml.")
    return known or spelt, one.text(2, 2) or one.text(2)


def _said(one: Segment, field: int) -> str:
    """What a coded field says in words: its text, else its code."""
    return one.text(field, 2) or one.text(field)


def _person(one: Segment, field: int) -> str:
    """The code of a person; never the name, since it stands in the trail."""
    every = one.repeats(field)
    code = one.part(every[0], 1, field) if every else ""
    if code and not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", code):
        one.doubt(field, f"{quoted(code)} is not a code that can stand for a person.", 1)
        return ""
    return code
