"""A FHIR MedicationRequest as an order line, in R4 or R5.

Words of status and intent: FHIR R4, value sets medicationrequest-status and
medicationrequest-intent; R5 (5.0.0) has one status more. The library that looks over the structure
does not look at these. In R5 a word and what it refers to stand under one element; the structure of
a resource was looked over first, so an element of the other release is a doubt already.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from checklist import ucum
from checklist.exchange.fhir_coded import (
    amount_in,
    drug_of,
    form_of,
    meaning,
    named_and_meant,
    route_in,
    strength_in,
)
from checklist.exchange.fhir_mixture import Mixture, infusion_of, mixture_of, remark_on
from checklist.exchange.fhir_time import times_of
from checklist.exchange.node import Node
from checklist.exchange.structure import R5, sound
from checklist.exchange.taken import OVER, Line, Taken, fitting
from checklist.intake.amount import strength_of
from checklist.intake.exchange import Exchange
from checklist.intake.orders import ordered_dose
from checklist.intake.route import word_of
from checklist.number import quoted
from checklist.quantity import Quantity

STATUS: Mapping[str, str] = {
    "active": "active",
    "on-hold": "held",
    "cancelled": "cancelled",
    "completed": "completed",
    "entered-in-error": "cancelled",
    "stopped": "stopped",
    "draft": "",
    "unknown": "",
}
"""What each status word of FHIR R4 is here; "" for one under which nothing may be given."""
STATUS_R5: Mapping[str, str] = {**STATUS, "ended": "completed"}
"""The same of R5: "ended" is one whose time is over."""
INTENT: Mapping[str, bool] = {
    "proposal": False,
    "plan": False,
    "order": True,
    "original-order": True,
    "reflex-order": True,
    "filler-order": True,
    "instance-order": True,
    "option": False,
}
"""The intents of FHIR R4, and whether each is an order."""
_CHANGING = {
    "maxDosePerPeriod": "A greatest dose in a period is not taken.",
    "maxDosePerAdministration": "A greatest dose is not taken.",
    "maxDosePerLifetime": "A greatest dose for life is not taken.",
}
_RATE = "How a dose runs in is taken only with its bag and fluid, as a Medication of two."
_BY_HAND = "Leave this order out by its id and enter it in orders.json by hand."
_DECIDED = "Whoever prescribes decides which: have one ordered, or leave this order out by its id."
_BESIDE = ("additionalInstruction", "patientInstruction", "method", "text")
_CATEGORY = "http://terminology.hl7.org/CodeSystem/medicationrequest-category"
_ELSEWHERE = ("community", "discharge")
"""Categories of FHIR R4 for what is taken at home; the others are inpatient and outpatient."""
Resolve = Callable[[str], Node | None]


def order_of(
    node: Node, words: Exchange, zone: str, taken: Taken, resolve: Resolve, release: str
) -> Line | None:
    """The order line without its id and patient; None, with doubts, for what is no order.

    Of an order that is over only its status is taken. `resolve` gives the entry that a reference
    means.
    """
    if not _is_order(node, release):
        return None
    status = _statuses(release)[node.text("status")]
    if status in OVER:
        return {"status": status}
    if node.there("effectiveDosePeriod"):
        node.at("effectiveDosePeriod").doubt(
            "A period of the whole order is not taken. Have it sent as boundsPeriod."
        )
    dosages = list(node.each("dosageInstruction"))
    if len(dosages) != 1:
        said = "There is no dosage." if not dosages else "There are several dosages."
        node.at("dosageInstruction").doubt(f"{said} {_BY_HAND}")
        return None
    (dosage,) = dosages
    drug = _medication(node, words, resolve, release)
    times = times_of(dosage, zone, runs=drug.mixture is not None)
    for key in _BESIDE:
        if dosage.there(key):
            taken.remark(f"{dosage.path}.{key}", "Words beside the dose are not taken.")
    if not times.due:
        taken.remark(node.path, "It has no due time; it is refused at the bedside until it has.")
    if node.there("note"):
        taken.remark(f"{node.path}.note", "A note is not taken. Read it in the record.")
    dose, row = _dose(dosage, words, taken, runs=drug.mixture is not None)
    line: Line = {
        "drug": drug.name,
        "dose": dose,
        "route": word_of(route_in(dosage.part("route"), words)),
        "site": meaning(dosage.part("site")).words,
        "strength": drug.strength,
        "form": drug.form,
        "frequency": times.frequency,
        "interval": times.interval,
        "due": times.due,
        "starts": times.starts,
        "stops": times.stops,
        "status": status,
        "prescriber": _prescriber(node, words, taken, resolve),
        "indication": _indication(node),
    }
    if drug.mixture is not None:
        remark_on(drug.mixture, taken)
        if row is not None:
            line["infusion"] = infusion_of(drug.mixture, row, dose, times.duration, words)
    return line


def _statuses(release: str) -> Mapping[str, str]:
    return STATUS_R5 if release == R5 else STATUS


def _is_order(node: Node, release: str) -> bool:
    """Whether this is an order to give something, in words that the standard has."""
    clear = True
    status, intent = node.text("status"), node.text("intent")
    statuses, none = _statuses(release), f"{release} has no such word."
    if not statuses.get(status):
        known = "Under it nothing may be given." if status in statuses else none
        node.at("status").doubt(f"The status is {quoted(status)}. {known} Have it mended.")
        clear = False
    if not INTENT.get(intent):
        known = "It is no order." if intent in INTENT else none
        node.at("intent").doubt(f"The intent is {quoted(intent)}. {known} Leave it out by its id.")
        clear = False
    for category in node.each("category"):
        codes = [(one.text("system"), one.text("code")) for one in category.each("coding")]
        if any((_CATEGORY, word) in codes for word in _ELSEWHERE):
            category.doubt("It is for after the stay, not for the ward. Leave it out by its id.")
            clear = False
    if node.true("doNotPerform"):
        node.at("doNotPerform").doubt("The drug is not to be given. Leave it out by its id.")
        clear = False
    told = node.true("reported") or node.true("reportedBoolean")
    if told or node.there("reportedReference") or node.there("informationSource"):
        node.doubt("It was reported by somebody, not ordered. Leave it out by its id.")
        clear = False
    return clear


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drug:
    """What is ordered: its name, strength and form, or the mixture that it is part of."""

    name: str = ""
    strength: str = ""
    form: str = ""
    mixture: Mixture | None = None


def _medication(node: Node, words: Exchange, resolve: Resolve, release: str) -> _Drug:
    named, reference = named_and_meant(node, "medication")
    if named.value is not None and reference.value is not None:
        reference.doubt("It names a drug and refers to one beside it. Have one of them sent.")
        return _Drug()
    if named.value is not None:
        return _Drug(name=drug_of(named, words))
    name = reference.text("reference")
    medication = _contained(node, name[1:]) if name.startswith("#") else resolve(name)
    if medication is None or medication.text("resourceType") != "Medication":
        reference.doubt("The medication is not in the file. Have the Medication sent with it.")
        return _Drug()
    if not sound("Medication", medication.value, medication.path, node.findings, release):
        return _Drug()
    ingredients = list(medication.each("ingredient"))
    if len(ingredients) > 1:
        mixture = mixture_of(medication, words)
        return _Drug(name=mixture.drug if mixture else "", mixture=mixture)
    form = meaning(form_of(medication)).words
    strength = _strength(ingredients[0], words) if ingredients else ""
    inside = named_and_meant(ingredients[0], "item")[0] if ingredients else medication.part("code")
    named = medication.part("code") if medication.there("code") else inside
    return _Drug(name=drug_of(named, words), strength=strength, form=form)


def _contained(node: Node, id_: str) -> Node | None:
    inside = [one for one in node.each("contained") if one.text("id") == id_]
    return inside[0] if len(inside) == 1 else None


def _strength(ingredient: Node, words: Exchange) -> str:
    """An amount in a volume; "" for the strength of a tablet, which says nothing of a volume."""
    ratio = strength_in(ingredient)
    above, below = ratio.part("numerator"), ratio.part("denominator")
    if above.value is None or below.value is None:
        return ""
    amount, per = amount_in(above, words), amount_in(below, words)
    if not amount or not per:
        return ""
    if ucum.unit(Quantity.parse(per).unit).dimension != ("volume", ()):
        return ""
    return fitting(ratio.path, ratio.findings, strength_of, f"{amount} in {per}")


def _dose(dosage: Node, words: Exchange, taken: Taken, *, runs: bool) -> tuple[str, Node | None]:
    """The one dose, its figures as they stand in the file, and the row that it is in.

    `runs` says that it runs in, so that a rate in the row is no doubt.
    """
    for key, sentence in _CHANGING.items():
        if dosage.there(key):
            dosage.at(key).doubt(f"{sentence} {_BY_HAND}")
    rows = list(dosage.each("doseAndRate"))
    if len(rows) != 1:
        said = "There is no dose in figures." if not rows else "There are several doses."
        dosage.at("doseAndRate").doubt(f"{said} {_BY_HAND}")
        return "", None
    (row,) = rows
    for key in row.names:
        if key == "rateRange":
            row.at(key).doubt(f"{_ranged(row.part(key), words, 'rate')} {_DECIDED}")
        elif key.startswith("rate") and not runs:
            row.at(key).doubt(f"{_RATE} {_BY_HAND}")
        elif key == "doseRange":
            row.at(key).doubt(f"{_ranged(row.part(key), words, 'dose')} {_DECIDED}")
    quantity = row.part("doseQuantity")
    ranged = "doseRange" in row.names
    rated = not runs and any(key.startswith("rate") for key in row.names)
    if quantity.value is None and not ranged and not rated:
        row.doubt(f"There is no dose in figures. {_BY_HAND}")
    text = amount_in(quantity, words)
    raw = quantity.figures("value")
    if text and raw != text.partition(" ")[0]:
        taken.remark(f"{quantity.path}.value", f"{quoted(raw)} is taken as {text}.")
    return fitting(f"{quantity.path}.value", dosage.findings, ordered_dose, text), row


def _ranged(node: Node, words: Exchange, what: str) -> str:
    """That a dose or rate from one amount to another is no one dose or rate."""
    low, high = (amount_in(node.part(key), words) for key in ("low", "high"))
    ends = f" from {low} to {high}" if low and high else ""
    return f"A range{ends} is no one {what}."


def _prescriber(node: Node, words: Exchange, taken: Taken, resolve: Resolve) -> str:
    """The code of whoever ordered; never a name, since it stands in the trail."""
    requester = node.part("requester")
    reference = requester.text("reference")
    found = resolve(reference) if reference else None
    code = ""
    if words.prescriber_in:
        places = [*(found.each("identifier") if found else ()), requester.part("identifier")]
        codes = [one.text("value") for one in places if one.text("system") in words.prescriber_in]
        code = codes[0] if codes else ""
    elif reference:
        code = reference.rpartition("/")[2]
    if code and not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", code):
        requester.doubt(f"{quoted(code)} is not a code that can stand for a prescriber.")
        return ""
    if not code:
        taken.remark(f"{node.path}.requester", "No code of the prescriber; it stays empty.")
    return code


def _indication(node: Node) -> str:
    """What it is for: the first reason that is given in words."""
    codes = [*node.each("reasonCode"), *(one.part("concept") for one in node.each("reason"))]
    return next((found for one in codes if (found := meaning(one).words)), "")
