"""A file of orders read, whichever of the two standards it is in."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from checklist.exchange import fhir_bundle, hl7_message, hl7_order
from checklist.exchange.structure import R4
from checklist.exchange.taken import Taken
from checklist.intake.exchange import Exchange
from checklist.intake.fault import Findings
from checklist.intake.page import MAX_RECORDS, page, records


def taken_from(
    path: Path,
    words: Exchange,
    zone: str,
    findings: Findings,
    *,
    leave_out: Sequence[str] = (),
    release: str = R4,
) -> Taken:
    """What a file holds of patients and orders; every doubt about it is a fault of `findings`.

    A file that begins with a brace is a FHIR Bundle in JSON of that release, one that begins with
    MSH an HL7 v2 message. Raises NeedsExtra where the library for it is not installed.
    """
    found = page(path, findings, longest=MAX_RECORDS)
    if found is None:
        return Taken()
    begin = found.text.lstrip("\x0b\ufeff \t\r\n")
    if begin.startswith("{"):
        data = records(found.text, findings, begin=fhir_bundle.BEGIN, seen=False)
        if data is None:
            return Taken()
        return fhir_bundle.taken_of(
            data, words, zone, findings, leave_out=leave_out, release=release
        )
    if begin.startswith((hl7_message.START, *hl7_message.BATCH)):
        return hl7_order.taken_of(found.text, words, zone, findings, leave_out=leave_out)
    findings.add(
        "", "It is no FHIR Bundle in JSON and no HL7 v2 message. Have the orders sent as one."
    )
    return Taken()
