"""A desk made ready: the ward, its trail, the clock, the PINs and the stations."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from checklist import library
from checklist.faces.leaving import CannotGoOn
from checklist.faces.notarial import notary_of
from checklist.faces.pins import needs_a_pin, pins_of
from checklist.faces.scenario import read_scenario
from checklist.faces.web.desk import LOOPBACK, Desk
from checklist.faces.web.heads_later import HeadsLater
from checklist.faces.web.reader import Reader
from checklist.faces.web.session import Sessions
from checklist.faces.web.ward_files import WardFiles
from checklist.faces.web.weighed import Weighed
from checklist.faces.web.writer import Writer
from checklist.faces.workplace import (
    OBSERVATIONS,
    PRACTICE,
    TRAIL,
    Clock,
    data_folder,
    latest,
    new_id,
    open_or_make,
    real_clock,
    running_from,
    scanners_of,
)
from checklist.register import Uses
from checklist.station import Compiled, Station
from checklist.trail import Trail, TrailFault

PRACTICE_TRAIL = "tablets.db"


def desk_for(
    ward: Path | None,
    trail: Path | None,
    *,
    facts: Path | None = None,
    practice: bool = False,
    secure: bool = False,
    names: frozenset[str] = LOOPBACK,
    clock: Clock | None = None,
) -> Desk:
    """The desk of a ward, its trail made where there is none; the demonstration in practice for
    None. `clock` is that of the machine, or of the practice hour, where it is left out.

    Raises Faults, CannotGoOn and the trail's own faults.
    """
    folder = ward or library.folder("demo_db")
    practice = practice or ward is None
    files = WardFiles(folder)
    limits, (workflows, required) = library.limits(), library.of_ward(folder)
    keeper = pins_of(folder, practice=practice)
    needs_a_pin(files.last.unit, keeper)
    start = read_scenario(folder).start if practice else None
    path = trail or _usual(ward, practice=practice)
    if practice and ward is not None and path.absolute() == (ward / TRAIL).absolute():
        raise CannotGoOn(
            f"{path} is where this ward's own work is kept; practice would stand between it. Name"
            " another file with --trail, or leave --trail out."
        )
    if facts is not None and not facts.is_dir():
        raise CannotGoOn(
            f"There is no folder {facts}. Make the facts with `checklist facts export`, or leave"
            " --facts out."
        )
    with open_or_make(path, files.last, start or real_clock()) as known:
        usual = real_clock if start is None else running_from(latest(known, start))
    pins, scanners = Weighed(keeper), scanners_of(ward)
    compiled, used = Compiled(), Uses()

    def now() -> datetime:
        return desk.clock()

    def station(at: Trail, place: str) -> Station:
        return Station(
            at,
            files.last,
            workflows=workflows,
            limits=limits,
            required=required,
            name=place,
            clock=now,
            new_id=new_id,
            reload=lambda _: files.now(),
            credentials=pins,
            practice=practice,
            notary=notary_of(at),
            compiled=compiled,
            used=used,
            scanner=scanners.of(place),
        )

    def observations() -> Trail:
        return open_or_make(path.with_suffix(OBSERVATIONS), files.last, now())

    def halt(fault: TrailFault) -> None:
        writer.halt(fault)

    def lost() -> None:
        sessions.forget()
        used.forget()

    sessions = Sessions()
    heads = HeadsLater(path, lost=halt)
    writer = Writer(
        files,
        opening=lambda: Trail.open(path),
        station=station,
        observations=observations,
        head=heads.want,
        lost=lost,
    )
    desk = Desk(
        files=files,
        folder=folder,
        trail_path=path,
        facts=facts,
        practice=practice,
        clock=clock or usual,
        reader=Reader(path),
        writer=writer,
        heads=heads,
        pins=pins,
        scanners=scanners,
        compiled=compiled,
        used=used,
        sessions=sessions,
        secure=secure,
        names=names,
    )
    return desk


def _usual(ward: Path | None, *, practice: bool) -> Path:
    """The ward's own trail; for practice another, that of the demonstration in the data folder."""
    if not practice:
        assert ward is not None
        return ward / TRAIL
    folder = (ward or data_folder()) / PRACTICE
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as fault:
        raise CannotGoOn(
            f"The folder {folder} cannot be made ({fault.strerror}). Name a trail with --trail."
        ) from fault
    return folder / PRACTICE_TRAIL
