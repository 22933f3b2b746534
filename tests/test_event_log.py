"""The exported events play on the workflow's net with fitness exactly 1, and nothing else does."""

from __future__ import annotations

import json
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from checklist import library
from checklist.event_log import ocel, traces
from checklist.petri_net import AFTER, BEFORE, PNML, Net, activity, net_of, played, pnml
from checklist.workflow import Layout
from tests.faces import canaries, run
from tests.scene import Scene
from tests.team import Team, called_away, touched_rim, wrong_volume

WARD = str(library.folder("demo_db"))
NS = {"p": PNML}


@pytest.fixture(scope="module")
def team(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Team]:
    """Given, put right, broken off, abandoned, with notes and a shown working."""
    made = Team(tmp_path_factory.mktemp("team"))
    made.make("RN-12")
    made.make("RN-41", called_away, touched_rim, wrong_volume)
    made.station.note(made.id, "after the end", "RN-41")
    made.order_id, made.preparer = made._copied, "RN-12"
    made.open()
    made.to("set_the_dose")
    made.attempt({"drawn_volume": made.volume() + "1"})
    made.station.note(made.id, "on the way", "RN-12")
    made.station.end(made.id, "patient_declined", "RN-12")
    while not made.station.find(made.id).closed:
        made.on()
    yield made
    made.trail.close()


def log_of(team: Scene) -> dict[str, Any]:
    every = [team.trail.of(one.id) for one in team.trail.preparations()]
    return ocel(every, "W7E", lambda kind, code: f"{kind[0]}-{len(code)}-{code[-1]}")


def net_for(team: Scene, digest: str) -> Net:
    return net_of(team.station.rules_of(digest).layout)


def replayed(document: bytes, traces: Sequence[Sequence[str]]) -> bool:
    """Play traces on a PNML file by its own ids: nothing of the project's net is used here."""
    root = ElementTree.fromstring(document)
    into: dict[str, list[str]] = {}
    out: dict[str, list[str]] = {}
    for arc in root.iterfind(".//p:arc", NS):
        source, target = arc.attrib["source"], arc.attrib["target"]
        (into if target.startswith("t") else out).setdefault(
            target if target.startswith("t") else source, []
        ).append(source if target.startswith("t") else target)
    named = {
        node.findtext("p:name/p:text", namespaces=NS): node.attrib["id"]
        for node in root.iterfind(".//p:transition", NS)
    }
    marked = {
        node.attrib["id"]: int(text)
        for node in root.iterfind(".//p:place", NS)
        if (text := node.findtext("p:initialMarking/p:text", namespaces=NS))
    }
    final = {
        node.attrib["idref"]: int(node.findtext("p:text", namespaces=NS) or 0)
        for node in root.iterfind(".//p:finalmarkings/p:marking/p:place", NS)
    }
    for trace in traces:
        tokens = Counter(marked)
        for name in trace:
            move = named.get(name)
            if move is None or any(not tokens[place] for place in into[move]):
                return False
            tokens.subtract(into[move])
            tokens.update(out[move])
        if +tokens != Counter(final):
            return False
    return True


def test_an_exported_log_plays_with_fitness_exactly_1(team: Team) -> None:
    log = log_of(team)
    kinds = {e.event.kind for e in team.trail.since(0)}
    assert kinds >= {"opened", "passed", "refused", "remedied", "interrupted", "resumed", "noted",
                     "ended"}  # fmt: skip
    for digest, ended in traces(log).items():
        found = played(net_for(team, digest), ended.values())
        assert found.value == 1 and (found.fitting, found.traces) == (3, 3)
        assert (found.missing, found.remaining, found.unknown) == (0, 0, ())


def test_the_pnml_file_plays_the_log_by_its_own_ids(team: Team) -> None:
    for digest, ended in traces(log_of(team)).items():
        document = pnml(net_for(team, digest))
        assert replayed(document, list(ended.values()))
        for trace in ended.values():
            assert not replayed(document, [trace[:-2]])


def spoilt(trace: Sequence[str], how: str, at: int) -> list[str]:
    names = list(trace)
    if how == "left out":
        del names[at]
    elif how == "twice":
        names.insert(at, names[at])
    elif how == "swapped":
        names[at], names[at + 1] = names[at + 1], names[at]
    elif how == "cut off":
        del names[at + 1 :]
    else:
        names[at] = "pass no_such_step"
    return names


@pytest.mark.parametrize("how", ["left out", "twice", "swapped", "cut off", "made up"])
def test_an_entry_that_is_lost_swapped_or_made_up_is_seen_at_every_place(
    team: Team, how: str
) -> None:
    for digest, ended in traces(log_of(team)).items():
        net = net_for(team, digest)
        still = {t.name for t in net.transitions if t.source == t.dest}
        for trace in ended.values():
            for at in range(len(trace) - 2):
                # A note or a shown working leaves everything where it was: its loss is the chain's.
                if {trace[at], trace[at + 1]} & still and how != "made up":
                    continue
                found = played(net, [spoilt(trace, how, at)])
                assert found.value < 1 and not found.fitting, (how, at, trace[at])


def test_fitness_is_that_of_the_published_measure() -> None:
    """Half for tokens missing of those consumed, half for those remaining of those produced."""
    flow = library.workflows()["glass_ampoule"].for_(frozenset())
    net = net_of(Layout(flow))
    names = ["open", f"pass {flow.steps[0].name}", f"pass {flow.steps[2].name}"]
    found = played(net, [names])
    # Open and two passes and the end consume 4; the second pass and the end miss a token each.
    # The start, open and two passes produce 4; the tokens before the skipped step and behind the
    # last pass remain.
    assert (found.consumed, found.missing, found.produced, found.remaining) == (4, 2, 4, 2)
    assert found.value == Fraction(1, 2)


@pytest.mark.parametrize("name", sorted(library.workflows()))
def test_every_workflow_has_a_net_in_which_each_activity_is_named_once(name: str) -> None:
    """Any walk from before to after plays; every place but the last leads on."""
    flow = library.workflows()[name]
    net = net_of(Layout(flow))
    names = [one.name for one in net.transitions]
    assert len(names) == len(set(names))
    assert {one.source for one in net.transitions} >= set(net.places) - {AFTER}
    chance = random.Random(name)
    by_place: dict[str, list[tuple[str, str]]] = {}
    for one in net.transitions:
        by_place.setdefault(one.source, []).append((one.name, one.dest))
    walks = []
    for _ in range(5):
        at, walk = BEFORE, list[str]()
        while at != AFTER and len(walk) < 3_000:
            onward = [m for m in by_place[at] if m[0].startswith(("pass", "open", "proceed"))]
            move, at = chance.choice(by_place[at] + onward * 8)
            walk.append(move)
        walks.append(walk)
    ended = [walk for walk in walks if len(walk) < 3_000]
    assert ended and played(net, ended).value == 1
    document = pnml(net)
    assert replayed(document, ended)


def test_the_log_is_ocel_2_with_every_reference_kept(team: Team) -> None:
    """The form of OCEL 2.0 JSON: Berti and others, arXiv 2403.01975, section on JSON."""
    log = json.loads(json.dumps(log_of(team)))
    assert set(log) == {"objectTypes", "eventTypes", "objects", "events"}
    objects = {one["id"]: one["type"] for one in log["objects"]}
    assert len(objects) == len(log["objects"])
    kinds = {one["name"]: {a["name"] for a in one["attributes"]} for one in log["objectTypes"]}
    event_kinds = {one["name"]: one["attributes"] for one in log["eventTypes"]}
    assert len({one["id"] for one in log["events"]}) == len(log["events"])
    for one in log["objects"]:
        assert {a["name"] for a in one["attributes"]} == kinds[one["type"]]
        assert all(r["objectId"] in objects for r in one["relationships"])
    for one in log["events"]:
        assert one["type"] in event_kinds and one["relationships"]
        assert all(r["objectId"] in objects for r in one["relationships"])
    entries = [one for one in team.trail.since(0) if one.event.preparation]
    assert sorted(int(e["attributes"][0]["value"]) for e in log["events"]) == [
        e.seq for e in entries
    ]
    assert Counter(activity(e.event) for e in entries) == Counter(e["type"] for e in log["events"])


def test_no_person_can_be_read_in_the_log(team: Team, tmp_path: Path) -> None:
    trail = str(team.folder / "trail.db")
    words = ("review", "events", str(tmp_path / "out"), "--trail", trail, "--ward", WARD)
    done = run(*words, "--as", "QI-1", home=tmp_path)
    assert done.returncode == 0, done.stderr
    text = " ".join(done.stdout.split())
    assert "3 of 3 ended preparations play without a fault, fitness 1" in text
    written = (tmp_path / "out" / "events.ocel.json").read_text()
    for one in (*canaries(), "RN-12", "RN-41", "after the end"):
        assert one not in written
    again = run(*words, "--as", "QI-1", home=tmp_path)
    assert again.returncode == 2 and "nothing is overwritten" in again.stderr
    nurse = run("review", "events", str(tmp_path / "n"), "--trail", trail, "--ward", WARD,
                "--as", "RN-12", home=tmp_path)  # fmt: skip
    assert nurse.returncode == 1 and not (tmp_path / "n").exists()
    document = next((tmp_path / "out").glob("*.pnml")).read_bytes()
    log = json.loads(written)
    assert replayed(document, [t for flow in traces(log).values() for t in flow.values()])
