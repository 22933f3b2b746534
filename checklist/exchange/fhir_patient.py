"""A FHIR R4 Patient with allergies and body weight, as a patient of orders.json.

Words of status: FHIR R4, value sets allergyintolerance-clinical, allergyintolerance-verification,
observation-status and administrative-gender.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from checklist.exchange.fhir_coded import amount_in, meaning, word_of
from checklist.exchange.fhir_time import day_in, moment_in
from checklist.exchange.node import Node
from checklist.exchange.taken import Line, Taken, fitting
from checklist.intake.exchange import NONE_KNOWN, Exchange
from checklist.intake.orders import weight_of as weight_read
from checklist.number import quoted

_TERMS = "http://terminology.hl7.org/CodeSystem"
RECORD_TYPE = ("http://terminology.hl7.org/CodeSystem/v2-0203", "MR")
"""The type of a medical record number, HL7 table 0203."""
GENDERS = {"male": "male", "female": "female", "other": "other", "unknown": ""}
CLINICAL = ("active", "inactive", "resolved")
VERIFIED = ("unconfirmed", "presumed", "confirmed", "refuted", "entered-in-error")
_NOT_SO = ("refuted", "entered-in-error")
_TAKEN, _NOT_TAKEN = ("final", "amended", "corrected"), ("registered", "preliminary", "cancelled",
    "entered-in-error", "unknown")  # fmt: skip
_FORMER = ("temp", "nickname", "anonymous", "old", "maiden")


def patient_of(node: Node, words: Exchange, taken: Taken) -> Line | None:
    """The patient, without a code; None, with doubts, where one cannot be told from another."""
    before = len(node.findings.faults)
    number = _record_number(node, words)
    bands = [
        one.text("value")
        for one in node.each("identifier")
        if one.text("system") in words.band_number_in
    ]
    name, born = _name(node), day_in(node.at("birthDate"))
    if not node.there("birthDate"):
        node.at("birthDate").doubt("The date of birth is not there. Have it sent.")
    if node.at("active").value is False:
        node.at("active").doubt("The patient's record is not in use. Have the present one sent.")
    if node.true("deceasedBoolean") or node.there("deceasedDateTime"):
        node.doubt("The patient has died. Look at the record.")
    if any(one.text("type") in ("replaced-by",) for one in node.each("link")):
        node.at("link").doubt("Another record took this one's place. Have the present one sent.")
    sex = node.text("gender")
    if sex and sex not in GENDERS:
        node.at("gender").doubt(f"{quoted(sex)} is not a word of FHIR R4. Have it mended.")
    if len(node.findings.faults) > before:
        return None
    if not bands:
        taken.remark(node.path, "No wristband number; a band that is scanned cannot be compared.")
    return {
        "name": name,
        "birth_date": born,
        "record_number": number,
        "band_numbers": bands,
        "sex": GENDERS[sex] if sex else "",
        "allergies": None,
        "weight": "",
        "weighed_on": "",
    }


def _record_number(node: Node, words: Exchange) -> str:
    found = [
        one
        for one in node.each("identifier")
        if one.text("use") != "old"
        and (
            one.text("system") in words.record_number_in
            if words.record_number_in
            else _is_record_number(one)
        )
    ]
    numbers = {one.text("value") for one in found} - {""}
    if len(numbers) != 1:
        said = "No identifier" if not numbers else "More than one identifier"
        where = "of the systems in exchange.toml" if words.record_number_in else "of the type MR"
        node.at("identifier").doubt(f"{said} {where} gives the record number. Have one sent.")
        return ""
    return numbers.pop()


def _is_record_number(identifier: Node) -> bool:
    codings = identifier.part("type").each("coding")
    return any((one.text("system"), one.text("code")) == RECORD_TYPE for one in codings)


def _name(node: Node) -> str:
    """The name in use: the official one, the usual one, or the first without a use."""
    names = [one for one in node.each("name") if one.text("use") not in _FORMER]
    order = {"official": 0, "usual": 1, "": 2}
    for one in sorted(names, key=lambda one: order.get(one.text("use"), 3)):
        given = [part.word() for part in one.each("given")]
        name = one.text("text") or " ".join(part for part in (*given, one.text("family")) if part)
        if name:
            return name
    node.at("name").doubt("There is no name in use. Have it sent.")
    return ""


def allergies_of(nodes: Sequence[Node], words: Exchange, taken: Taken) -> list[Line] | None:
    """What is recorded of a patient's allergies; None where nothing is, [] where none are known."""
    found: list[Line] = []
    none_known: list[Node] = []
    for node in nodes:
        read = meaning(node.part("code"))
        known = read.looked_up(words.allergies)
        substance = known[0] if len(known) == 1 else read.words
        if not _counts(node, taken):
            continue
        if NONE_KNOWN in known:
            none_known.append(node)
        elif not substance:
            node.at("code").doubt("No one substance can be read here. Have its text sent.")
        elif re.match(r"(?i)(?:no|not) (?:known|allerg)", substance):
            node.at("code").doubt(
                f'{quoted(substance)} may mean "{NONE_KNOWN}". Put its code in exchange.toml.'
            )
        else:
            found.append(_allergy(node, substance, words))
    if none_known and found:
        none_known[0].doubt("None are known, and others stand beside it. Look at the record.")
    return found if found or none_known else None


def _counts(node: Node, taken: Taken) -> bool:
    """Whether an allergy is one that the patient has, as far as anybody knows."""
    clinical, verified = node.part("clinicalStatus"), node.part("verificationStatus")
    doubtful = False
    if verified.value is not None:
        word = word_of(verified, f"{_TERMS}/allergyintolerance-verification", VERIFIED)
        if word in _NOT_SO:
            taken.remark(node.path, f"An allergy that is {word} is not taken.")
            return False
        doubtful = not word
    if clinical.value is not None:
        word = word_of(clinical, f"{_TERMS}/allergyintolerance-clinical", CLINICAL)
        if word == "resolved":
            taken.remark(node.path, "An allergy that is resolved is not taken.")
            return False
        doubtful = doubtful or not word
    return not doubtful


def _allergy(node: Node, substance: str, words: Exchange) -> Line:
    reactions = (
        meaning(one.part("concept") if one.there("concept") else one).words
        for row in node.each("reaction")
        for one in row.each("manifestation")
    )
    return {
        "substance": substance,
        "drug_class": words.classes.get(substance.casefold(), ""),
        "reaction": next((one for one in reactions if one), ""),
    }


def weight_of(node: Node, words: Exchange, zone: str, taken: Taken) -> tuple[str, str, str] | None:
    """When a weight was taken (to sort by), the weight, and its day; None where it is not taken."""
    status = node.text("status")
    if status not in _TAKEN:
        if status in _NOT_TAKEN:
            taken.remark(node.path, f"A weight that is {status} is not taken.")
        else:
            node.at("status").doubt(f"{quoted(status)} is not a word of FHIR R4. Have it mended.")
        return None
    day = day_in(node.at("effectiveDateTime"))
    if not day:
        if not node.there("effectiveDateTime"):
            node.doubt("It does not say when the weight was taken. Have the time sent.")
        return None
    whole = "T" in node.text("effectiveDateTime")
    when = moment_in(node.at("effectiveDateTime"), zone) if whole else day
    if not node.there("valueQuantity"):
        node.at("valueQuantity").doubt("There is no weight. Have it sent.")
        return None
    quantity = node.part("valueQuantity")
    text = fitting(f"{quantity.path}.value", node.findings, weight_read, amount_in(quantity, words))
    return (when, text, day) if text and when else None
