"""What the tests of signatures and heads share: keys in a folder, heads in another, a notary."""

from __future__ import annotations

from pathlib import Path

from checklist.heads import Heads
from checklist.notary import Notary
from checklist.note import VerifierKey, origin_of
from checklist.signing import Keys
from checklist.trail import Trail
from tests.scene import Scene


def keys(folder: Path) -> Keys:
    return Keys(folder / "keys")


def heads(folder: Path, trail: Trail) -> Heads:
    return Heads(folder / "heads", origin_of(trail.origin.id))


def notary(folder: Path, trail: Trail) -> Notary:
    return Notary(trail, keys(folder), heads(folder, trail))


def key_of(folder: Path, trail: Trail) -> VerifierKey:
    """The public key of the heads of a trail."""
    return keys(folder).device().key(origin_of(trail.origin.id))


def notarised(folder: Path, order: str = "ORD-103") -> Scene:
    """A ward at work whose acts are signed and whose heads are kept."""
    place = folder / "ward"
    place.mkdir()
    scene = Scene(place, order)
    scene.station.notary = notary(folder, scene.trail)
    scene.open()
    return scene
