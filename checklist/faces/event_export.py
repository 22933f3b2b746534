"""The events of a trail in open formats, played on a net of each workflow."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

from checklist.educator.access import Act
from checklist.event_log import ocel, traces
from checklist.faces.leaving import DONE, WANTING, CannotGoOn
from checklist.faces.review_desk import desk, say
from checklist.facts.pseudonym import pseudonyms
from checklist.petri_net import net_of, played, pnml

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
        # The same person has the same pseudonym within one trail; nobody keeps the key.
        named = pseudonyms(hashlib.sha256(at.trail.origin.genesis).digest()[:32])
        every = [at.trail.of(one.id) for one in at.trail.preparations()]
        log = ocel(every, at.trail.origin.unit, named)
        (out / LOG).write_text(json.dumps(log, indent=1), encoding="utf-8")
        say(at.verified)
        say(f"{out / LOG}: {len(log['events'])} events of {len(every)} preparations (OCEL 2.0)")
        code = DONE
        for digest, ended in sorted(traces(log).items()):
            net = net_of(at.rules_of(digest).layout)
            file = out / f"workflow-{digest[:12]}.pnml"
            file.write_bytes(pnml(net))
            found = played(net, ended.values())
            say(
                f"{file}: {len(net.places)} places, {len(net.transitions)} transitions;"
                f" {found.fitting} of {found.traces} ended preparations play without a fault,"
                f" fitness {found.value}"
            )
            code = code if found.value == 1 else WANTING
    return code
