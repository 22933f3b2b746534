"""Where work is done: the ward, the trail, the clock and the station that a command asks for."""

from __future__ import annotations

import os
import re
import sys
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from checklist import library
from checklist.faces.leaving import CannotGoOn, message
from checklist.faces.pins import needs_a_pin, pins_of
from checklist.faces.scenario import read_scenario
from checklist.intake.scanner_file import FILE as SCANNERS
from checklist.intake.scanner_file import ScannerFile
from checklist.intake.ward import Ward, load_ward
from checklist.observation import Channel
from checklist.order import CALLED
from checklist.printing.label_code import LabelCode, NotALabelCode
from checklist.printing.lookup import found
from checklist.screen import Screen
from checklist.station import Station
from checklist.trail import Listed, Trail
from checklist.trail_file import companions

TRAIL = "trail.db"
PRACTICE = "practice"
STATION_STOPPED = "station stopped"
OBSERVATIONS = ".reviews"
"""Takes the place of a trail file's ending for the trail of its observations."""
Clock = Callable[[], datetime]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What a command was asked to work with; what is None or empty takes its usual value."""

    ward: Path | None = None
    trail: Path | None = None
    station: str = ""
    practice: bool = False
    via: Channel | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Workplace:
    """A station with its ward, trail and clock.

    `order` is the order that was asked for. `options` are the words that lead here again.
    """

    station: Station
    ward: Ward
    trail: Trail
    clock: Clock
    order: str
    practice: bool
    demo: bool
    options: str


def real_clock() -> datetime:
    """Now, as an aware UTC time."""
    return datetime.now(UTC)


def running_from(start: datetime) -> Clock:
    """A clock that shows `start` now and goes on from there."""
    begun = time.monotonic_ns()
    return lambda: start + timedelta(microseconds=(time.monotonic_ns() - begun) // 1_000)


def clock_of(place: Place) -> Clock:
    """The clock of a place where nothing was recorded yet. Raises CannotGoOn."""
    if not place.practice:
        return real_clock
    return running_from(read_scenario(place.ward or library.folder("demo_db")).start)


def clock_at(path: Path, ward: Path | None, trail: Trail) -> Clock:
    """The clock of a trail: that of practice stands still while nobody works."""
    if path.absolute().parent.name != PRACTICE:
        return real_clock
    start = read_scenario(ward or library.folder("demo_db")).start
    return running_from(latest(trail, start))


DEMONSTRATION = "demo"
"""The id of the trail of a demonstration, which is made again at will."""


def new_id() -> str:
    """A short name for a preparation, event or sealed text that does not come twice."""
    return uuid.uuid4().hex


def data_folder() -> Path:
    """Where trails are kept that belong to no ward's own folder: the system's place for data."""
    home = Path.home()
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or home / ".local" / "share")
    return base / "checklist"


@contextmanager
def workplace(place: Place, order: str) -> Iterator[Workplace]:
    """Open the ward and its trail for an order, and close the trail again.

    The order is one of the ward, the id of a call that was begun before, or "" for a call that is
    about to be made. The trail is made where there is none yet. Raises Faults, CannotGoOn and the
    trail's own faults, before anything is written.
    """
    from checklist.faces.notarial import notary_of

    folder = place.ward or library.folder("demo_db")
    ward = load_ward(folder)
    limits, (workflows, required) = library.limits(), library.of_ward(folder)
    if order not in ward.orders and not _is_call(order):
        known = ", ".join(ward.orders) or "none"
        raise CannotGoOn(f"There is no order {order!r} on this ward. Orders here: {known}.")
    start = read_scenario(folder).start if place.practice else None
    keeper = pins_of(folder, practice=place.practice)
    needs_a_pin(ward.unit, keeper)
    trail = _trail(place, ward, order, start or real_clock())
    try:
        clock = real_clock if start is None else running_from(latest(trail, start))
        notary = notary_of(trail)
        name = place.station or _usual_station(ward)
        station = Station(
            trail,
            ward,
            workflows=workflows,
            limits=limits,
            required=required,
            name=name,
            clock=clock,
            new_id=new_id,
            via=place.via,
            credentials=keeper,
            practice=place.practice,
            notary=notary,
            scanner=scanners_of(place.ward).of(name),
        )
        yield Workplace(
            station=station,
            ward=ward,
            trail=trail,
            clock=clock,
            order=order,
            practice=place.practice,
            demo=place.ward is None,
            options=_options(place),
        )
        notary.checkpoint()
        if notary.trouble:
            message(notary.trouble)
    finally:
        trail.close()


def begun(at: Workplace, order: str, by: str, container: str) -> tuple[str, Screen | None]:
    """Open an order's preparation, or find the one that is open: its id, and where it stood.

    One that was left in the middle counts as interrupted, since nobody knows what happened to the
    drug in between; its re-verification stands before work goes on.
    """
    station = at.station
    known = [
        one.id for one in at.trail.open_preparations() if station.find(one.id).order.id == order
    ]
    if not known:
        return station.open(order, by, container=container).screen.prep.id, None
    stood = station.screen(known[-1])
    if stood.stands != "interrupted" and stood.prep.turn > 0:
        station.interrupt(known[-1], STATION_STOPPED, by)
    return known[-1], stood


def _is_call(order: str) -> bool:
    return not order or order.startswith(CALLED)


def scanners_of(ward: Path | None) -> ScannerFile:
    """The file of a ward's scanners: in its folder, or in the data folder for the demonstration."""
    return ScannerFile((ward or data_folder()) / SCANNERS)


def _usual_station(ward: Ward) -> str:
    return ward.unit.stations[0] if ward.unit.stations else ward.unit.code


def _options(place: Place) -> str:
    """The options that bring a person back to the same ward, trail and clock."""
    parts = [f"--ward {quoted(place.ward)}"] if place.ward else []
    parts += [f"--trail {quoted(place.trail)}"] if place.trail else []
    parts += [f"--station {quoted(place.station)}"] if place.station else []
    parts += ["--practice"] if place.practice else []
    return " ".join(parts)


def quoted(word: object) -> str:
    """A word as it can be typed at a shell again."""
    import shlex

    return shlex.quote(str(word))


def _trail(place: Place, ward: Ward, order: str, at: datetime) -> Trail:
    if place.practice:
        if place.trail is None:
            return _practice_trail(place, ward, order, at)
        if place.ward is not None and place.trail.absolute() == (place.ward / TRAIL).absolute():
            raise CannotGoOn(
                f"{place.trail} is where this ward's own work is kept; practice would stand"
                " between it. Name another file with --trail, or leave --trail out."
            )
    return open_or_make(place.trail or _usual_trail(place.ward), ward, at)


def _usual_trail(ward: Path | None) -> Path:
    """The ward's own folder, or the data folder: an installation is never written into."""
    return (ward or _made(data_folder())) / TRAIL


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as fault:
        raise CannotGoOn(
            f"The folder {folder} cannot be made ({fault.strerror}). Name a trail with --trail."
        ) from fault
    return folder


def open_or_make(path: Path, ward: Ward, at: datetime) -> Trail:
    """The trail at this path for this ward's unit; a new one where there is no file."""
    if not os.path.lexists(path):
        return Trail.create(path, trail_id=new_id(), unit=ward.unit.code, at=at)
    trail = Trail.open(path)
    if trail.origin.unit != ward.unit.code:
        unit = trail.origin.unit
        trail.close()
        raise CannotGoOn(
            f"{path} is the trail of unit {unit}; this ward is {ward.unit.code}. Nothing was"
            " written. Name the trail of this ward with --trail."
        )
    return trail


def _practice_trail(place: Place, ward: Ward, order: str, at: datetime) -> Trail:
    """One trail for each preparation that is practised, so that each order can be practised again.

    An unfinished one is gone on with.
    """
    folder = _made((place.ward or data_folder()) / PRACTICE)
    order = "CALLS" if _is_call(order) else order
    known = sorted(folder.glob(f"{order}-[0-9][0-9][0-9].db"))
    if known:
        trail = open_or_make(known[-1], ward, at)
        if trail.open_preparations() or not trail.preparations():
            return trail
        trail.close()
    number = int(known[-1].stem[-3:]) + 1 if known else 1
    return open_or_make(folder / f"{order}-{number:03d}.db", ward, at)


def latest(trail: Trail, start: datetime) -> datetime:
    """The practice clock goes on from the last entry: it stands still while nobody works."""
    return max([start, *(one.last_at for one in trail.preparations())])


def trail_to_read(trail: Path | None, ward: Path | None) -> Path:
    """The trail that is meant: the named one, the ward's, or the one last written to."""
    if trail is not None:
        return trail
    if ward is not None:
        return ward / TRAIL
    folder = data_folder()
    found = [folder / TRAIL, *(folder / PRACTICE).glob("*.db")]
    there = [path for path in found if path.is_file()]
    if not there:
        raise CannotGoOn(
            f"There is no trail in {folder} yet. Name one with --trail, or make one with"
            " `checklist prepare`."
        )
    return max(there, key=_written)


def prepared_in(trail: Path | None, ward: Path | None) -> Path:
    """The trail that is meant, where preparations are asked for. Raises CannotGoOn for others."""
    path = trail_to_read(trail, ward)
    if path.suffix == OBSERVATIONS:
        raise CannotGoOn(
            f"{path} holds observations, no preparations. Name the trail beside it; `checklist"
            " review ID` shows what was observed of a preparation."
        )
    return path


def _written(path: Path) -> int:
    every = (path, *companions(path))
    return max(one.stat().st_mtime_ns for one in every if one.exists())


def ward_of(folder: Path | None, trail: Trail, path: Path) -> Ward | None:
    """The ward whose preparations a trail holds: the named folder, the trail's own, or the demo's.

    None when none of them is there. Raises Faults for a named folder that has some.
    """
    if folder is not None:
        return load_ward(folder)
    beside = path.absolute().parent
    beside = beside.parent if beside.name == PRACTICE else beside
    for candidate in (beside, library.folder("demo_db")):
        if (candidate / "unit.toml").is_file():
            ward = load_ward(candidate)
            if ward.unit.code == trail.origin.unit:
                return ward
    return None


def preparation_of(trail: Trail, named: str) -> Listed:
    """The preparation that a person means: `last`, an id or the beginning of just one, or the code
    of a label.
    """
    every = trail.preparations()
    if not every:
        raise CannotGoOn(f"The trail {trail.path.name} holds no preparation yet.")
    if named == "last":
        return max(every, key=lambda one: one.last_at)
    fitting = [one for one in every if one.id == named] or [
        one for one in every if named and one.id.startswith(named)
    ]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        names = ", ".join(one.id[:12] for one in fitting[:5])
        raise CannotGoOn(f"Several preparations begin with {named!r}: {names}. Type more of it.")
    if re.fullmatch(r"(?:\S*91\S*)?[0-9]{16}|[0-9]{4}(?: [0-9]{4}){3}", named):
        try:
            code = found(trail, LabelCode.read(named))
        except NotALabelCode as fault:
            raise CannotGoOn(str(fault)) from fault
        return next(one for one in every if one.id == code.preparation)
    raise CannotGoOn(
        f"There is no preparation {named!r} in {trail.path}. `checklist list` shows those there."
    )
