"""The year itself: which preparations fall when and to whom, one trail for each unit and month."""

from __future__ import annotations

import calendar
import hashlib
import json
import os
import random
import shutil
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

from checklist import library
from checklist.intake.ward import Ward, load_ward
from checklist.trail import Trail
from checklist.trail_file import companions
from checklist.year.place import YearStation, nurses, wards
from checklist.year.plan import Plan, UnitPlan, read_plan
from checklist.year.play import Player, Turn, poisson

FOLDER = "year"
PLANTED = "planted.json"
HOURS = (8, 8, 8, 9, 9, 10, 12, 12, 13, 14, 16, 17, 18, 18, 20, 21, 22, 22, 2, 6, 6)
"""Hours of rounds at which doses fall due, as often as they stand here. Assumption."""

Progress = Callable[[int, int], None]
"""Told how many of how many preparations are played."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One unit's month: how many preparations, how many by the learner, and how many before."""

    unit: str
    month: int
    count: int
    learner: int = 0
    learned: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """What a part came to."""

    trail: Path
    preparations: int
    entries: int


def parts(plan: Plan, preparations: int) -> tuple[Part, ...]:
    """The units' months with their share of so many preparations, in the order of the year."""
    cells = [(unit, month) for month in range(1, 13) for unit in plan.units]
    days = {m: calendar.monthrange(plan.year, m)[1] for m in range(1, 13)}
    weights = [unit.share * days[month] for unit, month in cells]
    learned, found, whole, reached, given = 0, [], sum(weights), 0, 0
    for (unit, month), weight in zip(cells, weights, strict=True):
        reached += weight
        count = reached * preparations // whole - given
        given += count
        one = plan.learner
        own = 0
        if one and one.unit == unit.code and month >= one.from_month:
            own = round(count * one.share)
        found.append(Part(unit=unit.code, month=month, count=count, learner=own, learned=learned))
        learned += own
    return tuple(each for each in found if each.count)


def make(
    into: Path,
    *,
    preparations: int,
    seed: int,
    planted: bool = True,
    processes: int = 1,
    progress: Progress = lambda _done, _all: None,
) -> Iterator[Played]:
    """Play the year into a folder: `wards/UNIT/`, `trails/UNIT-YYYY-MM.db` and what was planted.

    A unit's month that stands there already is left as it is, so that a year that was cut short is
    gone on with. The same seed gives the same trails, to the last digest.
    """
    plan = read_plan(library.folder("demo_db") / FOLDER, planted=planted)
    wards(plan, into / "wards")
    (into / "trails").mkdir(parents=True, exist_ok=True)
    told = {
        "made_up": True,
        "seed": seed,
        "preparations": preparations,
        "shift": asdict(plan.shift) if plan.shift else None,
        "learner": asdict(plan.learner) if plan.learner else None,
    }
    (into / PLANTED).write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
    todo = parts(plan, preparations)
    done = 0
    if processes <= 1:
        for part in todo:
            before = done

            def moved(count: int, before: int = before) -> None:
                progress(before + count, preparations)

            yield play_part(into, part, seed=seed, planted=planted, told=moved)
            done += part.count
            progress(done, preparations)
        return
    with ProcessPoolExecutor(processes) as pool:
        waiting = {
            pool.submit(play_part, into, part, seed=seed, planted=planted): part for part in todo
        }
        for each in as_completed(waiting):
            done += waiting[each].count
            progress(done, preparations)
            yield each.result()


def play_part(
    into: Path,
    part: Part,
    *,
    seed: int,
    planted: bool,
    told: Callable[[int], None] = lambda _count: None,
) -> Played:
    """Play one unit's month into its trail; a trail that is there already is left as it is."""
    plan = read_plan(library.folder("demo_db") / FOLDER, planted=planted)
    target = into / "trails" / f"{part.unit}-{plan.year}-{part.month:02d}.db"
    if target.exists():
        return Played(trail=target, preparations=part.count, entries=0)
    # In memory where there is such a folder: each entry of a trail waits for the disk otherwise,
    # and nothing is lost with an invented one.
    memory = Path("/dev/shm")
    base = str(memory) if memory.is_dir() and os.access(memory, os.W_OK) else None
    with tempfile.TemporaryDirectory(dir=base) as folder:
        file = Path(folder) / target.name
        entries = _played(file, into, plan, part, seed, told)
        half = target.with_suffix(".half")
        shutil.copyfile(file, half)
        half.replace(target)
        assert not any(each.exists() for each in companions(file))
    return Played(trail=target, preparations=part.count, entries=entries)


def _played(
    file: Path, into: Path, plan: Plan, part: Part, seed: int, told: Callable[[int], None]
) -> int:
    name = f"{seed}/{part.unit}/{plan.year}-{part.month:02d}"
    draw = random.Random(name)
    start = datetime(plan.year, part.month, 1, tzinfo=UTC)
    id_ = hashlib.sha256(name.encode()).hexdigest()[:12]
    ward = _ward(into / "wards" / part.unit)
    with Trail.create(file, trail_id=f"year-{id_}", unit=part.unit, at=start) as trail:
        station = YearStation(trail, ward, seed=name, start=start)
        player = Player(station, plan, draw)
        for number, (at, turn) in enumerate(_turns(plan, part, seed, draw), start=1):
            station.moment = max(at, station.moment + timedelta(minutes=1))
            line = f"{part.unit}-{part.month:02d}-{number:05d}"
            outcome = player.play(turn, line)
            prep = outcome.screen.prep
            if prep.place != "given" and draw.random() < 0.5:
                # The dose is still due: it is begun again, with new items.
                station.moment += timedelta(minutes=2)
                player.play(_again(turn), line)
            if number % 10 == 0:
                told(number)
        return trail.head().seq


@cache
def _ward(folder: Path) -> Ward:
    return load_ward(folder)


def _again(turn: Turn) -> Turn:
    return Turn(made=turn.made, by=turn.by, second=turn.second, slips=0, breaks=0)


def _turns(
    plan: Plan, part: Part, seed: int, draw: random.Random
) -> Iterator[tuple[datetime, Turn]]:
    """The month's preparations in the order of time."""
    unit = next(each for each in plan.units if each.code == part.unit)
    number = plan.units.index(unit) + 1
    staff = [one.code for one in nurses(plan, unit, number)]
    learner = plan.learner.code if plan.learner and plan.learner.unit == unit.code else ""
    usual = [code for code in staff if code != learner]
    own = _own_factors(plan, seed, unit, usual)
    zone = ZoneInfo(plan.timezone)
    days = calendar.monthrange(plan.year, part.month)[1]
    moments = sorted(
        datetime(plan.year, part.month, draw.randint(1, days), draw.choice(HOURS), tzinfo=zone)
        + timedelta(seconds=draw.randrange(3000))
        for _ in range(part.count)
    )
    theirs = set(draw.sample(range(part.count), part.learner))
    weights = [each.weight for each in plan.made]
    attempt = part.learned
    for place, moment in enumerate(moments):
        made = draw.choices(plan.made, weights)[0]
        breaks = poisson(plan.rates.breaks, draw)
        if place in theirs and plan.learner:
            slips, by, sure = plan.learner.chance(attempt), learner, True
            attempt += 1
        else:
            by, sure = draw.choice(usual), False
            slips = plan.rates.slips * own[by] * plan.rates.containers.get(made.container, 1)
            slips *= plan.rates.break_factor**breaks * _of_week(plan, part.unit, seed, moment)
        second = draw.choice([code for code in usual if code != by])
        yield (
            moment.astimezone(UTC),
            Turn(made=made, by=by, second=second, slips=slips, sure=sure, breaks=breaks),
        )


def _own_factors(plan: Plan, seed: int, unit: UnitPlan, codes: list[str]) -> dict[str, float]:
    """Each nurse's own factor on slips, around 1 in the mean: years on the job, and the person."""
    draw = random.Random(f"{seed}/{unit.code}/nurses")
    spread, factor = plan.rates.between_nurses, plan.rates.year_factor
    own = {
        code: factor ** draw.randint(0, 6) * draw.gammavariate(1 / spread**2, spread**2)
        for code in codes
    }
    mean = sum(own.values()) / len(own)
    return {code: value / mean for code, value in own.items()}


def _of_week(plan: Plan, unit: str, seed: int, moment: datetime) -> float:
    """The factor of a week on a unit's slips: its own ups and downs, and the planted shift."""
    week, spread = moment.isocalendar().week, plan.rates.between_weeks
    drawn = random.Random(f"{seed}/{unit}/week/{week}").gammavariate(1 / spread**2, spread**2)
    shift = plan.shift
    late = moment.month > 1 or week < 50
    if shift and shift.unit == unit and week >= shift.from_week and late:
        drawn *= shift.factor
    return drawn
