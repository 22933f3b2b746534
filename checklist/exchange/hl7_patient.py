"""The patient of an HL7 v2 message, with allergies and body weight, as orders.json writes it.

Codes: HL7 tables 0001 (sex), 0203 (type of identifier), 0085 (status of a result), 0396 (coding
systems: LN is LOINC).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from checklist import ucum
from checklist.exchange.fhir_coded import BODY_WEIGHT
from checklist.exchange.hl7_message import Segment
from checklist.exchange.hl7_time import day_of
from checklist.exchange.taken import Line, Taken, amount, fitting
from checklist.intake.exchange import BETWEEN, NONE_KNOWN, Exchange
from checklist.intake.fault import NotAsWritten
from checklist.intake.orders import weight_of as weight_read
from checklist.number import NumberFault, quoted
from checklist.quantity import UnitFault

SEXES = {"M": "male", "F": "female", "O": "other", "A": "other", "U": "", "N": "", "": ""}
LOCAL = "L"
"""The coding system of a code that names none: the sender's own."""
_NAMES = ("L", "D", "U", "")
_TAKEN = ("F", "C")
_NOT_TAKEN = ("D", "I", "N", "O", "P", "R", "S", "U", "W", "X")


def code_key(one: Segment, field: int) -> str:
    """The code of a coded field as exchange.toml writes it: system, stroke, code."""
    code = one.text(field)
    return f"{one.text(field, 3) or LOCAL}{BETWEEN}{code}" if code else ""


def patient_of(one: Segment, words: Exchange, taken: Taken) -> Line | None:
    """The patient, without a code; None, with doubts, where one cannot be told from another."""
    before = len(one.findings.faults)
    number, bands = _numbers(one, words)
    name = _name(one)
    born = ""
    try:
        born = day_of(one.text(7)) if one.there(7) else ""
    except NotAsWritten as fault:
        one.doubt(7, str(fault))
    if not one.there(7):
        one.doubt(7, "The date of birth is not there. Have it sent.")
    sex = one.text(8)
    if sex not in SEXES:
        one.doubt(8, f"{quoted(sex)} is not one of {', '.join(filter(None, SEXES))}.")
    if one.there(30) and one.text(30) != "N":
        one.doubt(30, "The patient has died. Look at the record.")
    if len(one.findings.faults) > before:
        return None
    if not bands:
        taken.remark("PID-3", "No wristband number; a band that is scanned cannot be compared.")
    return {
        "name": name,
        "birth_date": born,
        "record_number": number,
        "band_numbers": bands,
        "sex": SEXES[sex],
        "allergies": None,
        "weight": "",
        "weighed_on": "",
    }


def _numbers(one: Segment, words: Exchange) -> tuple[str, list[str]]:
    """The record number, and the numbers of wristbands."""
    numbers, bands = set(), []
    for each in one.repeats(3):
        value = one.part(each, 1, 3)
        place, kind = one.part(each, 4, 3), one.part(each, 5, 3)
        place = place.partition("&")[0]
        wanted = words.record_number_in
        if value and (place in wanted if wanted else kind == "MR"):
            numbers.add(value)
        elif value and place in words.band_number_in:
            bands.append(value)
    if len(numbers) != 1:
        said = "No number" if not numbers else "More than one number"
        where = "of the places in exchange.toml" if words.record_number_in else "of the type MR"
        one.doubt(3, f"{said} {where} gives the record number. Have one sent.")
        return "", bands
    return numbers.pop(), bands


def _name(one: Segment) -> str:
    """The first name in use, given names before the family's."""
    for each in one.repeats(5):
        if one.part(each, 7, 5) not in _NAMES:
            continue
        family = one.part(each, 1, 5).partition(one.separators[4])[0]
        parts = [one.part(each, 2, 5), one.part(each, 3, 5), family]
        name = " ".join(part for part in parts if part)
        if name:
            return name
    one.doubt(5, "There is no name in use. Have it sent.")
    return ""


def allergies_of(segments: Sequence[Segment], words: Exchange) -> list[Line] | None:
    """What is recorded of the patient's allergies; None where nothing is, [] for none known."""
    found: list[Line] = []
    none_known: list[Segment] = []
    for one in segments:
        known = words.allergies.get(code_key(one, 3), "")
        substance = known or one.text(3, 2) or one.text(3)
        if known == NONE_KNOWN:
            none_known.append(one)
        elif not substance:
            one.doubt(3, "No substance can be read here. Have its text sent.")
        elif re.match(r"(?i)(?:no|not) (?:known|allerg)|nka|nkda", substance):
            sentence = f'may mean "{NONE_KNOWN}". Put its code in exchange.toml.'
            one.doubt(3, f"{quoted(substance)} {sentence}")
        else:
            reactions = [one.part(each, 1, 5) for each in one.repeats(5)]
            found.append(
                {
                    "substance": substance,
                    "drug_class": words.classes.get(substance.casefold(), ""),
                    "reaction": next((each for each in reactions if each), ""),
                }
            )
    if none_known and found:
        none_known[0].doubt(3, "None are known, and others stand beside it. Look at the record.")
    return found if found or none_known else None


def weight_of(segments: Sequence[Segment], words: Exchange, taken: Taken, line: Line) -> None:
    """Put the newest body weight among the observations into the patient's line."""
    newest = ""
    for one in segments:
        if one.text(3) not in BODY_WEIGHT or one.text(3, 3) != "LN":
            taken.remark(one.place, "An observation of something else than body weight.")
            continue
        status = one.text(11)
        if status not in _TAKEN:
            if status in _NOT_TAKEN:
                taken.remark(one.at(11), f"A weight of the status {status} is not taken.")
            else:
                one.doubt(11, f"{quoted(status)} is no status of a result. Have it mended.")
            continue
        text, when = _weight(one, words), one.text(14)
        try:
            day = day_of(when)
        except NotAsWritten as fault:
            one.doubt(14, str(fault))
            continue
        if newest and when == newest and line["weight"] != text:
            one.doubt(5, "Another weight of the same time stands before it. Have one sent.")
        if text and when > newest:
            newest, line["weight"], line["weighed_on"] = when, text, day


def _weight(one: Segment, words: Exchange) -> str:
    if one.text(2) != "NM":
        one.doubt(2, f"A weight is a number (NM), not {quoted(one.text(2))}. Have it sent so.")
        return ""
    code = words.units.get(code_key(one, 6), "")
    try:
        if not code:
            if one.text(6, 3) != "UCUM":
                raise UnitFault(f"The unit {quoted(one.text(6))} is no UCUM code. Have it sent.")
            code = ucum.unit(one.text(6)).code
        text = amount(one.text(5), code)
    except NumberFault as fault:
        one.doubt(5, str(fault))
        return ""
    except UnitFault as fault:
        one.doubt(6, str(fault))
        return ""
    return fitting(one.at(5), one.findings, weight_read, text)
