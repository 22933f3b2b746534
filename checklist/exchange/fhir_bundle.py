"""A FHIR Bundle of orders, R4 or R5: its entries by kind, what refers to what, what is taken."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from checklist.exchange.fhir_coded import meaning
from checklist.exchange.fhir_order import order_of
from checklist.exchange.fhir_patient import allergies_of, patient_of, weight_of
from checklist.exchange.node import Node
from checklist.exchange.structure import R4, sound
from checklist.exchange.taken import Line, Taken
from checklist.intake.exchange import Exchange
from checklist.intake.fault import Findings
from checklist.number import quoted

BEGIN = '{"resourceType": "Bundle"'
_LISTS = ("collection", "searchset", "document", "message")
_TYPES = (
    *_LISTS, "transaction", "transaction-response", "batch", "batch-response", "history",
)  # fmt: skip
READ = ("Patient", "MedicationRequest", "AllergyIntolerance", "Observation")
LOOKED_UP = ("Medication", "Practitioner", "PractitionerRole")
MOST_ENTRIES = 2_000
_TURNS = "It can change what the resource means, and is not known here."


@dataclass(slots=True)
class _Entries:
    """The resources of a Bundle by kind, and each by whatever may refer to it."""

    by_kind: dict[str, list[Node]] = field(default_factory=dict)
    by_name: dict[str, Node] = field(default_factory=dict)

    def of(self, kind: str) -> Sequence[Node]:
        return self.by_kind.get(kind, [])


def taken_of(
    data: Mapping[str, Any],
    words: Exchange,
    zone: str,
    findings: Findings,
    *,
    leave_out: Sequence[str] = (),
    release: str = R4,
) -> Taken:
    """The patients and orders of a Bundle, numbers in it kept as Bare.

    `zone` is the ward's time zone, for days without a time. Each thing that cannot be taken as it
    stands is a fault of `findings` with its path; then nothing should be taken at all. Orders
    whose id is in `leave_out` are passed over, with all their doubts. `release` is R4 or R5, which
    a Bundle does not say. Raises NeedsExtra.
    """
    bundle, taken = Node(data, "", findings), Taken()
    if not _is_list(bundle):
        return taken
    entries = _entries(bundle, taken)
    patients: dict[str, Line] = {}
    for node in entries.of("Patient"):
        if sound("Patient", node.value, node.path, findings, release):
            line = patient_of(node, words, taken)
            if line is not None:
                patients[node.path] = line
                taken.patients.append(line)
    _orders(entries, patients, words, zone, taken, leave_out, release)
    _allergies(entries, patients, words, taken, release)
    _weights(entries, patients, words, zone, taken, release)
    return taken


def _is_list(bundle: Node) -> bool:
    """Whether this is a Bundle that lists resources as they stand, and all that were asked for."""
    kind = bundle.text("resourceType")
    if kind != "Bundle":
        bundle.at("resourceType").doubt(
            f"{quoted(kind)} is no Bundle. Have the orders sent in one."
        )
        return False
    word, at = bundle.text("type"), bundle.at("type")
    if word not in _TYPES:
        at.doubt(f"{quoted(word)} is not a type of Bundle in FHIR R4. Have it sent as collection.")
        return False
    if word not in _LISTS:
        at.doubt(
            f"A {word} asks for something to be done, or tells what was. Have a collection sent."
        )
        return False
    for link in bundle.each("link"):
        if link.text("relation") == "next":
            link.doubt("There are more pages of this answer. Have all of it sent in one file.")
    _unmodified(bundle)
    return True


def _unmodified(node: Node) -> bool:
    """Whether nothing turns the meaning round: no rules of their own, no modifying extension.

    The second may stand at any depth; the Bundle's own entries are looked at one by one.
    """
    clear = True
    if node.there("implicitRules"):
        node.at("implicitRules").doubt(_TURNS)
        clear = False
    waiting = [node]
    while waiting:
        one = waiting.pop()
        if one.there("modifierExtension"):
            one.at("modifierExtension").doubt(_TURNS)
            clear = False
        for name in one.names:
            if isinstance(one.value[name], dict):
                waiting.append(one.at(name))
            elif isinstance(one.value[name], list) and (one is not node or name != "entry"):
                waiting += list(one.each(name))
    return clear


def _entries(bundle: Node, taken: Taken) -> _Entries:
    found, passed_over = _Entries(), dict[str, int]()
    for number, entry in enumerate(bundle.each("entry")):
        if number >= MOST_ENTRIES:
            entry.doubt(f"There are more than {MOST_ENTRIES} entries. Have the file sent in parts.")
            break
        resource = entry.part("resource")
        if entry.there("request") or entry.there("response"):
            entry.doubt("The entry asks for something to be done. Have the resource sent alone.")
            continue
        kind = resource.text("resourceType")
        if resource.value is None or not kind:
            resource.doubt("There is no resource with its resourceType here. Have it sent.")
        elif kind == "OperationOutcome":
            resource.doubt("The record says that something went amiss. Have the answer looked at.")
        elif kind in READ or kind in LOOKED_UP:
            if not _unmodified(resource):
                continue
            found.by_kind.setdefault(kind, []).append(resource)
            _name(found, resource, entry.text("fullUrl"), kind)
        else:
            passed_over[kind] = passed_over.get(kind, 0) + 1
    for kind, many in passed_over.items():
        taken.remark("entry", f"{many} of the kind {quoted(kind)}; nothing of them is taken.")
    return found


def _name(found: _Entries, resource: Node, url: str, kind: str) -> None:
    """Make a resource known under all names by which a reference may mean it."""
    id_ = resource.text("id")
    for name in {url, f"{kind}/{id_}" if id_ else ""} - {""}:
        if name in found.by_name:
            resource.doubt(f"Two entries are called {quoted(name)}. Have each sent once.")
        found.by_name[name] = resource


def referred(entries: Mapping[str, Node], reference: str) -> Node | None:
    """The entry that a reference means; None where it is not in the file.

    A version at the end of the reference is left away. A relative reference and the end of an
    absolute one mean the same entry (FHIR R4, Resolving references in Bundles).
    """
    plain = reference.partition("/_history/")[0]
    if plain in entries:
        return entries[plain]
    short = "/".join(plain.split("/")[-2:])
    found = entries.get(short)
    return found if "/" in plain and not plain.startswith("#") else None


def _patient_line(entries: _Entries, patients: Mapping[str, Line], subject: Node) -> Line | None:
    """The line of the patient whom a reference means; a doubt where there is none."""
    reference = subject.text("reference")
    node = referred(entries.by_name, reference)
    if not reference or node is None or node not in entries.of("Patient"):
        subject.doubt("The patient whom this is about is not in the file. Have the Patient sent.")
        return None
    return patients.get(node.path)


def _sound(entries: _Entries, kind: str, release: str) -> Iterator[Node]:
    for node in entries.of(kind):
        if sound(kind, node.value, node.path, node.findings, release):
            yield node


def _orders(
    entries: _Entries,
    patients: Mapping[str, Line],
    words: Exchange,
    zone: str,
    taken: Taken,
    leave_out: Sequence[str],
    release: str,
) -> None:
    for node in entries.of("MedicationRequest"):
        id_ = order_id(node, words)
        if id_ and id_ in leave_out:
            taken.left_out.append(id_)
            continue
        if not sound("MedicationRequest", node.value, node.path, node.findings, release):
            continue
        if not id_:
            node.at("id").doubt("The order has no number to know it by. Have its id sent.")
        patient = _patient_line(entries, patients, node.part("subject"))
        line = order_of(
            node, words, zone, taken, lambda name: referred(entries.by_name, name), release
        )
        if patient is not None and line is not None:
            taken.orders.append({"id": id_, "patient": patient["record_number"], **line})


def order_id(node: Node, words: Exchange) -> str:
    """The number that an order is known by: the record's own where the ward names it, or the id."""
    if not words.order_number_in:
        return node.text("id")
    found = [
        one.text("value")
        for one in node.each("identifier")
        if one.text("system") in words.order_number_in
    ]
    return found[0] if len(found) == 1 else ""


def _allergies(
    entries: _Entries, patients: Mapping[str, Line], words: Exchange, taken: Taken, release: str
) -> None:
    by_patient: dict[str, list[Node]] = {}
    for node in _sound(entries, "AllergyIntolerance", release):
        line = _patient_line(entries, patients, node.part("patient"))
        if line is not None:
            by_patient.setdefault(line["record_number"], []).append(node)
    for line in taken.patients:
        nodes = by_patient.get(line["record_number"], [])
        found = allergies_of(nodes, words, taken)
        if found is not None:
            line["allergies"] = found


def _weights(
    entries: _Entries,
    patients: Mapping[str, Line],
    words: Exchange,
    zone: str,
    taken: Taken,
    release: str,
) -> None:
    newest: dict[str, tuple[str, Node]] = {}
    others = 0
    for node in _sound(entries, "Observation", release):
        if not meaning(node.part("code")).is_weight:
            others += 1
            continue
        line = _patient_line(entries, patients, node.part("subject"))
        read = weight_of(node, words, zone, taken) if line is not None else None
        if line is None or read is None:
            continue
        number, (when, weight, day) = line["record_number"], read
        before = newest.get(number)
        if before is not None and before[0] == when and line["weight"] != weight:
            node.doubt(f"Another weight of the same time is at {before[1].path}. Have one sent.")
        if before is None or when > before[0]:
            newest[number] = (when, node)
            line["weight"], line["weighed_on"] = weight, day
    if others:
        taken.remark("entry", f"{others} observations of something else than body weight.")
