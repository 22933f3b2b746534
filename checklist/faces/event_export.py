"""The events of a trail in open formats, played on a net of each workflow."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from checklist.educator.access import Act
from checklist.event_log import ocel, traces
from checklist.faces.leaving import DONE, WANTING, CannotGoOn
from checklist.faces.review_desk import desk, say
from checklist.facts.pseudonym import pseudonyms
from checklist.petri_net import net_of, played, pnml
from checklist.trail import Trail
from checklist.workflow import Layout

LOG = "events.ocel.json"


def events(out: Path, *, trail: Path | None, ward: Path | None, by: str) -> int:
    """Write the log and a net for each workflow into a folder; say how the log plays on them."""
    with desk(trail, ward, by) as at:
        at.allow(Act.EXPORT)
        out.mkdir(parents=True, exist_ok=True)
        if taken := [p.name for p in out.iterdir() if p.name == LOG or p.suffix == ".pnml"]:
            raise CannotGoOn(
                f"{out} holds {taken[0]} already; nothing is overwritten. Name another folder."
            )
        say(at.verified)
        code = DONE
        for one in made(at.trail, lambda digest: at.rules_of(digest).layout):
            (out / one.name).write_bytes(one.content)
            say(f"{out / one.name}: {one.said}")
            code = code if one.fits else WANTING
    return code


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """One file of the export: its name and content, what is said of it, and whether all fits."""

    name: str
    content: bytes
    said: str
    fits: bool = True


def made(trail: Trail, layout_of: Callable[[str], Layout]) -> Iterator[Made]:
    """The log of a trail, then a net for each workflow with how the log plays on it.

    `layout_of` gives the layout of the workflow with a digest.
    """
    # The same person has the same pseudonym within one trail; nobody keeps the key.
    named = pseudonyms(hashlib.sha256(trail.origin.genesis).digest()[:32])
    every = [trail.of(one.id) for one in trail.preparations()]
    log = ocel(every, trail.origin.unit, named)
    yield Made(
        name=LOG,
        content=json.dumps(log, indent=1).encode(),
        said=f"{len(log['events'])} events of {len(every)} preparations (OCEL 2.0)",
    )
    for digest, ended in sorted(traces(log).items()):
        net = net_of(layout_of(digest))
        found = played(net, ended.values())
        yield Made(
            name=f"workflow-{digest[:12]}.pnml",
            content=pnml(net),
            said=f"{len(net.places)} places, {len(net.transitions)} transitions;"
            f" {found.fitting} of {found.traces} ended preparations play without a fault,"
            f" fitness {found.value}",
            fits=found.value == 1,
        )
