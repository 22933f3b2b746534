"""A trail's preparations as an event log in OCEL 2.0 JSON, an open format for process mining.

Events are the entries, under the names that the workflow's net has for its moves (`petri_net`).
Objects are preparations, the people who acted (by a pseudonym), stations, and the workflows in
force. No name, no free text, no reading and no patient is in it. An end is an event too, since an
ended preparation is told by its last entry alone.
Source: Berti and others, OCEL (Object-Centric Event Log) 2.0 Specification, arXiv 2403.01975.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any

from checklist import codec
from checklist.petri_net import activity
from checklist.preparation import CLOSED, Entry

PREPARATION, PERSON, STATION, WORKFLOW = "preparation", "person", "station", "workflow"
_OBJECTS = {
    PREPARATION: ("container", "unit", "ending"),
    PERSON: (),
    STATION: (),
    WORKFLOW: ("name", "version"),
}
_EVENTS = ("seq", "kind", "step", "reasons")


def ocel(
    preparations: Iterable[Sequence[Entry]], unit: str, named: Callable[[str, str], str]
) -> dict[str, Any]:
    """The log of these preparations, each given as its entries in order.

    `named` makes a pseudonym of a kind and a code. A preparation's events and objects follow one
    another in the order given; times are UTC.
    """
    objects: dict[str, dict[str, Any]] = {}
    events: list[dict[str, Any]] = []
    kinds: dict[str, None] = {}
    for entries in preparations:
        for one in _objects_of(entries, unit, named):
            objects.setdefault(one["id"], one)
        for event in _events_of(entries, named):
            kinds[event["type"]] = None
            events.append(event)
    return {
        "objectTypes": [
            {"name": name, "attributes": [{"name": one, "type": "string"} for one in attributes]}
            for name, attributes in _OBJECTS.items()
        ],
        "eventTypes": [
            {"name": name, "attributes": [{"name": one, "type": "string"} for one in _EVENTS]}
            for name in kinds
        ],
        "objects": list(objects.values()),
        "events": events,
    }


def _objects_of(
    entries: Sequence[Entry], unit: str, named: Callable[[str, str], str]
) -> Iterator[dict[str, Any]]:
    first, last = entries[0].event, entries[-1].event
    ending = last.lands if last.lands in CLOSED else ""
    told = (first.body["container"], unit, ending)
    whole = dict(zip(_OBJECTS[PREPARATION], told, strict=True))
    flow = {"name": first.body["name"], "version": first.body["version"]}
    rules = _id(WORKFLOW, first.body["workflow"])
    yield _object(first.preparation, PREPARATION, whole, first.at, ((rules, "follows"),))
    yield _object(rules, WORKFLOW, flow, first.at)
    for entry in entries:
        yield _object(_id(PERSON, named("person", entry.event.by)), PERSON, {}, first.at)
        if entry.event.station:
            yield _object(_id(STATION, entry.event.station), STATION, {}, first.at)


def _events_of(
    entries: Sequence[Entry], named: Callable[[str, str], str]
) -> Iterator[dict[str, Any]]:
    for entry in entries:
        event = entry.event
        reasons = " ".join(one["code"] for one in event.body.get("reasons", []))
        step = (event.place or event.lands).partition("/")[0]
        told = (str(entry.seq), event.kind, step, reasons)
        related = [(event.preparation, "moves")]
        related.append((_id(PERSON, named("person", event.by)), "acts"))
        if event.station:
            related.append((_id(STATION, event.station), "at"))
        yield {
            "id": event.id,
            "type": activity(event),
            "time": codec.time_out(event.at),
            "attributes": [
                {"name": name, "value": value} for name, value in zip(_EVENTS, told, strict=True)
            ],
            "relationships": [{"objectId": id_, "qualifier": how} for id_, how in related],
        }


def _object(
    id_: str,
    kind: str,
    attributes: dict[str, str],
    at: datetime,
    related: Sequence[tuple[str, str]] = (),
) -> dict[str, Any]:
    return {
        "id": id_,
        "type": kind,
        "attributes": [
            {"name": name, "value": value, "time": codec.time_out(at)}
            for name, value in attributes.items()
        ],
        "relationships": [{"objectId": other, "qualifier": how} for other, how in related],
    }


def _id(kind: str, name: str) -> str:
    return f"{kind}:{name}"


def traces(log: dict[str, Any]) -> dict[str, dict[str, tuple[str, ...]]]:
    """The activities of each preparation in a log, by the digest of its workflow.

    Only preparations that have come to an end are told: the others have no last place yet.
    """
    found: dict[str, list[tuple[int, str]]] = {}
    for event in log["events"]:
        told = {one["name"]: one["value"] for one in event["attributes"]}
        for one in event["relationships"]:
            if one["qualifier"] == "moves":
                found.setdefault(one["objectId"], []).append((int(told["seq"]), event["type"]))
    by_flow: dict[str, dict[str, tuple[str, ...]]] = {}
    for thing in log["objects"]:
        if thing["type"] != PREPARATION:
            continue
        ending = {one["name"]: one["value"] for one in thing["attributes"]}["ending"]
        flow = next(r["objectId"] for r in thing["relationships"] if r["qualifier"] == "follows")
        if ending:
            moved = tuple(name for _, name in sorted(found.get(thing["id"], [])))
            by_flow.setdefault(flow.partition(":")[2], {})[thing["id"]] = moved
    return by_flow
