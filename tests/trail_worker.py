"""A station of its own process for the tests: python trail_worker.py ACT PATH NAME COUNT.

Every line that it prints was acknowledged by the trail before: id, number, digest.
"""

from __future__ import annotations

import contextlib
import itertools
import os
import resource
import sys
from pathlib import Path

from checklist.preparation import Entry
from checklist.trail import Trail, TrailUnwritable, TurnTaken
from tests.ward_trail import event, made


def say(entry: Entry) -> None:
    sys.stdout.write(f"{entry.event.id} {entry.seq} {entry.digest.hex()}\n")
    sys.stdout.flush()


def write(path: Path, name: str, count: int) -> None:
    """Append so many entries to preparations of its own; 0 never ends."""
    with Trail.open(path) as trail:
        for number in range(count) if count else itertools.count():
            prep, turn = divmod(number, 5)
            say(trail.append(event(number, f"{name}-{prep}", turn, id=f"{name}-{number}")))


def race(path: Path, name: str, count: int) -> None:
    """Move the one preparation "shared" on, until it has so many turns, whoever made them."""
    with Trail.open(path) as trail:
        while (turn := len(trail.of("shared"))) < count:
            try:
                say(trail.append(event(turn, "shared", turn, id=f"{name}-{turn}", by=name)))
            except TurnTaken:
                continue


def no_room(path: Path, name: str, count: int) -> None:
    """Write until the disk has no room, then go on once it has."""
    none = resource.RLIM_INFINITY
    with Trail.open(path) as trail:
        say(trail.append(event(0, name, 0, id=f"{name}-0")))
        log = path.with_name(path.name + "-wal")
        resource.setrlimit(resource.RLIMIT_FSIZE, (log.stat().st_size + 40_000, none))
        for number in itertools.count(1):
            try:
                say(trail.append(event(number, name, number, id=f"{name}-{number}")))
            except TrailUnwritable as fault:
                sys.stderr.write(f"{number} {fault.recorded} {fault}\n")
                break
        resource.setrlimit(resource.RLIMIT_FSIZE, (none, none))
        for later in range(number, number + count):
            say(trail.append(event(later, name, later, id=f"{name}-{later}")))


def no_room_for_a_new_one(path: Path, name: str, count: int) -> None:
    """Try to make a trail where there is no room for it."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (count, resource.RLIM_INFINITY))
    try:
        made(path, name)
    except TrailUnwritable as fault:
        sys.stderr.write(f"{fault}\n")


def full(path: Path, name: str, count: int) -> None:
    """Write until the disk that holds the trail is full; once told that it has room, go on."""
    with Trail.open(path) as trail:
        for number in itertools.count():
            try:
                say(trail.append(event(number, name, number, id=f"{name}-{number}")))
            except TrailUnwritable as fault:
                sys.stderr.write(f"{number} {fault.recorded} {fault}\n")
                sys.stderr.flush()
                break
        sys.stdin.readline()
        for later in range(number, number + count):
            say(trail.append(event(later, name, later, id=f"{name}-{later}")))


def starved(path: Path, name: str, count: int) -> None:
    """Append while no further file can be opened, try to open the trail again, then go on."""
    with Trail.open(path) as trail:
        say(trail.append(event(0, name, 0, id=f"{name}-0")))
        resource.setrlimit(resource.RLIMIT_NOFILE, (40, 40))
        taken = []
        with contextlib.suppress(OSError):
            while True:
                taken.append(os.open(os.devnull, os.O_RDONLY))
        for number in range(1, count):
            say(trail.append(event(number, name, number, id=f"{name}-{number}")))
        for ask in (Trail.open, lambda path: made(path.parent, "new")):
            try:
                ask(path)
            except TrailUnwritable as fault:
                sys.stderr.write(f"{fault}\n")
        for each in taken:
            os.close(each)
        with Trail.open(path) as again:
            say(again.append(event(count, name, count, id=f"{name}-{count}")))


if __name__ == "__main__":
    act, path, name, count = sys.argv[1:]
    {
        "write": write,
        "full": full,
        "starved": starved,
        "race": race,
        "no_room": no_room,
        "no_room_for_a_new_one": no_room_for_a_new_one,
    }[act](Path(path), name, int(count))
