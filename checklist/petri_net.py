"""A workflow as a Petri net: made from its moves, written as PNML, and played by tokens.

Places are those of the workflow, with one before the opening and one for all ends together;
transitions are its moves. A log that the engine wrote replays with fitness exactly 1, and anything
else is a fault of the engine or of the export, or tampering. PNML is ISO/IEC 15909-2, an open
standard; the measure of fitness is that of Rozinat and van der Aalst, Information Systems
2008;33:64-95.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from xml.etree import ElementTree

from checklist.preparation import CLOSED, Event
from checklist.workflow import Layout, moves

BEFORE, AFTER = "before", "ended"
PNML = "http://www.pnml.org/version-2009/grammar/pnml"
TYPE = "http://www.pnml.org/version-2009/grammar/ptnet"
_PASSING = {"clear": "pass", "caution": "caution", "refused": "refuse"}
_TRIED = {"passed": "pass", "cautioned": "caution", "refused": "refuse"}
_STILL = {"noted": "note", "revealed": "show", "printed": "print", "explained": "explain"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Transition:
    """A move: its `name` is the activity that a log has for it; one token goes over."""

    name: str
    source: str
    dest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Net:
    """A net in which every transition takes one token and gives one, and each name is used once.

    A token begins in BEFORE and ends in AFTER.
    """

    name: str
    places: tuple[str, ...]
    transitions: tuple[Transition, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitness:
    """How a set of traces plays: tokens produced, consumed, missing and remaining.

    `fitting` counts the traces that play without a fault; `unknown` are activities that the net
    has no transition for, each of which counts as a missing and a remaining token.
    """

    traces: int
    fitting: int
    produced: int
    consumed: int
    missing: int
    remaining: int
    unknown: tuple[str, ...]

    @property
    def value(self) -> Fraction:
        """1 for a log that plays without a fault; 0 at the least."""
        lost = Fraction(self.missing, self.consumed) if self.consumed else Fraction(0)
        left = Fraction(self.remaining, self.produced) if self.produced else Fraction(0)
        return (1 - lost) / 2 + (1 - left) / 2


def net_of(layout: Layout) -> Net:
    """The net of a workflow, with a still move for notes and shown workings at every place."""
    name = {place: AFTER if place in CLOSED else place for place in layout.places}
    first = layout.workflow.steps[0].name
    found = [Transition(name="open", source=BEFORE, dest=first)]
    for move in moves(layout):
        found.append(
            Transition(
                name=_named(move.source, move.trigger, move.when),
                source=name[move.source],
                dest=name[move.dest],
            )
        )
    for place in layout.places:
        found += [
            Transition(name=f"{word} at {place}", source=name[place], dest=name[place])
            for word in _STILL.values()
        ]
    places = (BEFORE, *dict.fromkeys(name.values()))
    return Net(name=layout.workflow.digest, places=places, transitions=tuple(dict.fromkeys(found)))


def activity(event: Event) -> str:
    """The name under which an entry stands in a log: told from the entry alone."""
    place = event.place
    if event.kind == "opened":
        return "open"
    if event.kind in _TRIED:
        return f"{_TRIED[event.kind]} {place}"
    if event.kind in _STILL:
        return f"{_STILL[event.kind]} at {place}"
    if event.kind == "remedied":
        return _named(place, f"remedy:{event.body['remedy']}:{event.lands}", "")
    verb = {"proceeded": "proceed", "interrupted": "interrupt", "resumed": "resume"}
    return _named(place, verb.get(event.kind, "end"), "")


def _named(source: str, trigger: str, when: str) -> str:
    verb, _, rest = trigger.partition(":")
    if verb == "attempt":
        return f"{_PASSING[when]} {source}"
    if verb == "remedy":
        remedy, _, dest = rest.partition(":")
        return f"{remedy} from {source} to {dest}"
    return f"{verb} at {source}"


def played(net: Net, traces: Iterable[Sequence[str]]) -> Fitness:
    """Play each trace of activities on the net from BEFORE to AFTER, forcing what does not fit."""
    by_name = {one.name: one for one in net.transitions}
    total: Counter[str] = Counter()
    unknown: dict[str, None] = {}
    for trace in traces:
        one = _play(by_name, trace, unknown)
        total.update(one)
        total["traces"] += 1
        total["fitting"] += not (one["missing"] or one["remaining"])
    return Fitness(
        traces=total["traces"],
        fitting=total["fitting"],
        produced=total["produced"],
        consumed=total["consumed"],
        missing=total["missing"],
        remaining=total["remaining"],
        unknown=tuple(unknown),
    )


def _play(
    by_name: Mapping[str, Transition], trace: Sequence[str], unknown: dict[str, None]
) -> Counter[str]:
    tokens: Counter[str] = Counter({BEFORE: 1})
    count: Counter[str] = Counter(produced=1)

    def consume(place: str) -> None:
        if tokens[place]:
            tokens[place] -= 1
        else:
            count["missing"] += 1
        count["consumed"] += 1

    for name in trace:
        move = by_name.get(name)
        if move is None:
            unknown[name] = None
            count.update(missing=1, consumed=1, remaining=1, produced=1)
            continue
        consume(move.source)
        tokens[move.dest] += 1
        count["produced"] += 1
    consume(AFTER)
    count["remaining"] += sum(tokens.values())
    return count


def pnml(net: Net) -> bytes:
    """The net as a PNML document; ids are numbers, since places have strokes in their names."""
    ids = {place: f"p{at}" for at, place in enumerate(net.places)}
    root = ElementTree.Element("pnml", xmlns=PNML)
    top = ElementTree.SubElement(root, "net", id="net", type=TYPE)
    _name(top, net.name)
    page = ElementTree.SubElement(top, "page", id="page")
    for place, id_ in ids.items():
        node = ElementTree.SubElement(page, "place", id=id_)
        _name(node, place)
        if place == BEFORE:
            _text(ElementTree.SubElement(node, "initialMarking"), "1")
    for at, move in enumerate(net.transitions):
        node = ElementTree.SubElement(page, "transition", id=f"t{at}")
        _name(node, move.name)
        for end, (source, target) in (
            ("in", (ids[move.source], f"t{at}")),
            ("out", (f"t{at}", ids[move.dest])),
        ):
            ElementTree.SubElement(page, "arc", id=f"a{at}{end}", source=source, target=target)
    final = ElementTree.SubElement(top, "finalmarkings")
    marking = ElementTree.SubElement(final, "marking")
    _text(ElementTree.SubElement(marking, "place", idref=ids[AFTER]), "1")
    ElementTree.indent(root)
    text: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return text + b"\n"


def _name(node: ElementTree.Element, text: str) -> None:
    _text(ElementTree.SubElement(node, "name"), text)


def _text(node: ElementTree.Element, text: str) -> None:
    ElementTree.SubElement(node, "text").text = text
