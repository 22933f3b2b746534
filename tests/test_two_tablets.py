"""Two tablets on one preparation, a lost answer, a clock that goes back: one order of entries."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from checklist.answer import Answer
from checklist.engine import MovedOn
from checklist.observation import Channel
from checklist.preparation import Entry
from checklist.trail import Trail, TurnTaken
from tests.scene import NURSE, Scene


def answers(scene: Scene) -> dict[str, Answer]:
    return {name: Answer(raw, Channel.TYPED) for name, raw in scene.right().items()}


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_of_two_tablets_one_wins_each_turn_and_nothing_is_done_twice(
    tmp_path: Path, seed: int
) -> None:
    draw = random.Random(seed)
    first = Scene(tmp_path, "ORD-103")
    first.open()
    trails = [first.trail, Trail.open(first.trail.path)]
    seen = {trail: first.station.find(first.id).turn for trail in trails}
    acknowledged: list[Entry] = []
    refused = 0
    while not first.station.find(first.id).closed and len(acknowledged) < 25:
        trail = draw.choice(trails)
        first.station.trail = trail
        by = first.hands()
        try:
            outcome = first.station.attempt(first.id, answers(first), by, turn=seen[trail])
        except (MovedOn, TurnTaken):
            refused += 1
            seen[trail] = first.station.find(first.id).turn
            continue
        acknowledged.append(outcome.entry)
        seen[trail] = outcome.entry.event.turn
        first.wait(seconds=20)
    assert refused > 0
    turns = [one.event.turn for one in acknowledged]
    assert turns == sorted(set(turns))
    stored = {one.seq: one for one in first.trail.since(0)}
    assert all(stored[one.seq] == one for one in acknowledged)
    steps = [one.event.turn for one in first.trail.of(first.id)]
    assert steps == list(range(len(steps)))
    assert first.trail.verify().whole


def test_an_act_sent_again_after_a_lost_answer_is_not_done_again(tmp_path: Path) -> None:
    scene = Scene(tmp_path, "ORD-103")
    turn = scene.open().entry.event.turn
    sent = answers(scene)
    scene.station.attempt(scene.id, sent, NURSE, turn=turn)
    before = scene.trail.head()
    with pytest.raises(MovedOn):
        scene.station.attempt(scene.id, sent, NURSE, turn=turn)
    assert scene.trail.head() == before
    last = scene.trail.of(scene.id)[-1]
    assert scene.trail.append(last.event) == last
    assert scene.trail.head() == before


def moved(scene: Scene) -> list[Any]:
    return [one for one in scene.trail.of("") if one.event.kind == "clock_moved"]


def test_a_clock_that_went_back_is_told_once_and_the_order_is_that_of_writing(
    tmp_path: Path,
) -> None:
    scene = Scene(tmp_path, "ORD-103")
    scene.open()
    scene.on()
    scene.now -= timedelta(minutes=1)
    scene.attempt(wait=0)
    assert moved(scene) == [], "two stations' clocks may be a little apart"
    before = scene.trail.head()
    last = next(scene.trail.since(before.seq - 1))
    scene.now = last.event.at - timedelta(minutes=10)
    scene.station.interrupt(scene.id, "call", NURSE)
    scene.now += timedelta(seconds=30)
    scene.station.resume(scene.id, NURSE)
    (told,) = moved(scene)
    assert told.seq == before.seq + 1
    assert told.event.body == {"after": before.seq, "back_s": 600, "station": last.event.station}
    entries = list(scene.trail.since(0))
    assert [one.seq for one in entries] == list(range(1, len(entries) + 1))
    own = [one.event.at for one in scene.trail.of(scene.id)]
    assert own != sorted(own)
    assert scene.trail.verify().whole
    assert scene.station.find(scene.id).last_at == own[-1]


def test_an_id_that_comes_again_with_other_content_is_refused(tmp_path: Path) -> None:
    scene = Scene(tmp_path, "ORD-103")
    scene.open()
    last = scene.trail.of(scene.id)[-1]
    with pytest.raises(ValueError, match="Another event stands under the id"):
        scene.trail.append(replace(last.event, by="RN-27"))
