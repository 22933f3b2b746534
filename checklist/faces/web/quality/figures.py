"""Where the figures of the quality pages come from: the folder of facts, drawn one at a time.

Everything slow is done on two threads of its own, one for figures and one that looks the trail
over, so that neither the pages of a nurse nor the one thread that writes waits for it.
"""

from __future__ import annotations

import asyncio
import hashlib
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar, cast

from checklist import baseline_file, library
from checklist.drawing import picture
from checklist.drawing.plot import Plot
from checklist.extra import NeedsExtra, wanted
from checklist.faces import charting, verifying
from checklist.faces.charting import Wish
from checklist.faces.leaving import CannotGoOn
from checklist.faces.verifying import Verified
from checklist.faces.web.desk import Desk
from checklist.faces.workplace import real_clock
from checklist.facts import folder as on_disk
from checklist.facts import harm
from checklist.facts.export import Done, export
from checklist.facts.folder import Exported, FactsFault, Folder
from checklist.review.unusable import Unusable
from checklist.trail import Trail

_T = TypeVar("_T")
KEPT = 48
"""How many figures are kept until the facts change."""
MOST_WAITING = 24
"""How many figures are waited for at once; whoever asks for more is told to come back."""
FIRST = (("series", "stopped"), ("kinds", "stops"), ("units", "stopped"), ("recovery", "stops"))
"""What the first page draws, each with what it counts."""
DRAWN = ("series", "kinds", "units", "recovery")
"""What can be drawn."""


class Busy(CannotGoOn):
    """Too many figures are asked for at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A drawing: what it shows, and its picture as SVG without title, notes and foot."""

    plot: Plot
    svg: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the facts can be narrowed to."""

    units: tuple[str, ...]
    containers: tuple[str, ...]
    months: tuple[str, ...]
    preparations: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Age:
    """How old the facts are: when they were last brought over, and up to which entry of this trail.

    `through` is 0 where this trail is not in the facts.
    """

    at: datetime
    through: int
    trails: int


@dataclass(slots=True, kw_only=True)
class Task:
    """One long piece of work: under way, or how it ended. `said` is its sentence, or its trouble's.

    `parts` are how many of how many entries are done.
    """

    started: datetime | None = None
    ended: datetime | None = None
    parts: tuple[int, int] = (0, 0)
    said: str = ""
    trouble: bool = False

    @property
    def running(self) -> bool:
        """Whether it is under way."""
        return self.started is not None and self.ended is None


class Figures:
    """The facts of a desk, what was drawn of them, and the last look over its trail.

    Without a folder of facts given, one beside the trail is used.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        beside = desk.trail_path.with_name(f"{desk.trail_path.name}.facts")
        self.path = desk.facts or beside
        self.lines = baseline_file.place(desk.trail_path.parent)
        self.bringing = Task()
        self.looking = Task()
        self.verified: Verified | None = None
        self.backwards = 0
        self._waiting = 0
        self._kept: OrderedDict[Hashable, object] = OrderedDict()
        self._figures = ThreadPoolExecutor(1, thread_name_prefix="figures")
        self._looks = ThreadPoolExecutor(1, thread_name_prefix="looks")
        if desk.facts is not None:
            self.ahead()
        desk.at_end.append(self.stop)

    def stop(self) -> None:
        """Let go of both threads, once what they are at is done."""
        self._figures.shutdown(cancel_futures=True)
        self._looks.shutdown(cancel_futures=True)

    # -- the facts -----------------------------------------------------------------------------

    def exported(self) -> Exported:
        """What counts in the folder of facts; nothing where there is none. Raises FactsFault."""
        return Folder(self.path).exported() if self.path.exists() else Exported()

    def age(self, trail: str) -> Age | None:
        """How old the facts are, and how far they go in this trail (its id); None without any.

        Raises FactsFault.
        """
        exported = self.exported()
        if not exported.files:
            return None
        written = (self.path / on_disk.LIST).stat().st_mtime
        own = exported.trails.get(trail)
        return Age(
            at=datetime.fromtimestamp(written, UTC),
            through=own.through if own else 0,
            trails=len(exported.trails),
        )

    def usual(self) -> Wish:
        """A wish for these facts, not narrowed."""
        return Wish(measure="stopped", facts=self.path, baselines=self.lines)

    # -- figures, one at a time ----------------------------------------------------------------

    async def of(self, key: Hashable, work: Callable[[], _T]) -> _T:
        """What `work` gives, done on the thread for figures, and kept until the facts change.

        Raises Busy, and what `work` raises.
        """
        whole = (self._state(), key)
        if whole in self._kept:
            self._kept.move_to_end(whole)
            return cast("_T", self._kept[whole])
        found = await self.once(work)
        self._kept[whole] = found
        while len(self._kept) > KEPT:
            self._kept.popitem(last=False)
        return found

    async def once(self, work: Callable[[], _T]) -> _T:
        """What `work` gives, done on the thread for figures. Raises Busy, and what it raises."""
        if self._waiting >= MOST_WAITING:
            raise Busy("Many figures are being worked out just now. Come back in a minute.")
        self._waiting += 1
        try:
            return await asyncio.get_running_loop().run_in_executor(self._figures, work)
        finally:
            self._waiting -= 1

    async def plot(self, of: str, wish: Wish, column: str = "reason") -> Plot:
        """The plot of one of DRAWN. Raises CannotGoOn, Unusable, FactsFault, NeedsExtra."""
        return await self.of((of, wish, column), lambda: _plotted(of, wish, column))

    async def drawn(self, of: str, wish: Wish, column: str = "reason") -> Drawn:
        """One of DRAWN with its picture. Raises as `plot`."""
        plot = await self.plot(of, wish, column)
        return await self.of(("svg", of, wish, column), lambda: _pictured(plot))

    async def known(self) -> Known:
        """What the facts can be narrowed to. Raises FactsFault, NeedsExtra, CannotGoOn."""
        return await self.of("known", lambda: _known(self.usual()))

    def _state(self) -> str:
        """Changes whenever the facts, the frozen lines or the letters of harm do."""
        found = hashlib.sha256()
        for path in (self.path / on_disk.LIST, self.path / harm.FILE, self.lines):
            found.update(path.read_bytes() if path.is_file() else b"none")
        return found.hexdigest()

    def ahead(self) -> None:
        """Draw what the first page shows before somebody asks for it; what cannot be is left."""
        for of, measure in FIRST:
            self._figures.submit(self._drawn_ahead, of, replace(self.usual(), measure=measure))

    def _drawn_ahead(self, of: str, wish: Wish) -> None:
        try:
            state = self._state()
            plot = _plotted(of, wish, "reason")
            self._kept[state, (of, wish, "reason")] = plot
            self._kept[state, ("svg", of, wish, "reason")] = _pictured(plot)
        except (CannotGoOn, FactsFault, NeedsExtra, Unusable):
            return  # whoever opens the page is told

    # -- long work -----------------------------------------------------------------------------

    def bring_over(self) -> None:
        """Begin to bring the facts up to the trail's last entry; nothing where that is under way.

        It stands in one line with the figures, since it replaces files that they read.
        """
        if not self.bringing.running:
            self.bringing = Task(started=real_clock())
            self._figures.submit(self._brought)

    def look_over(self) -> None:
        """Begin to look the whole trail over; nothing where that is under way."""
        if not self.looking.running:
            self.looking = Task(started=real_clock())
            self._looks.submit(self._looked)

    def _brought(self) -> None:
        task = self.bringing

        def moved(done: int, every: int) -> None:
            task.parts = (done, every)

        def work() -> str:
            wanted("pyarrow", on_disk.EXTRA)
            drugs = self.desk.ward.formulary.drugs
            with Trail.open(self.desk.trail_path, read_only=True) as trail:
                done = export(
                    trail,
                    Folder(self.path),
                    giving=frozenset(library.required().giving),
                    classes={name: drug.drug_class for name, drug in drugs.items()},
                    progress=moved,
                )
            return _brought_said(done)

        _carried_out(task, work)
        self.ahead()

    def _looked(self) -> None:
        def work() -> str:
            found = verifying.looked_over(self.desk.trail_path)
            if found.inside.whole:
                with Trail.open(self.desk.trail_path, read_only=True) as trail:
                    self.backwards = sum(1 for _ in trail.acts(("clock_moved",)))
            self.verified = found
            return f"{found.inside.entries} entries looked over."

        _carried_out(self.looking, work)


def _carried_out(task: Task, work: Callable[[], str]) -> None:
    """Do a long piece of work; whatever stands in its way is said on the page that began it."""
    try:
        task.said = work()
    except Exception as fault:
        task.said, task.trouble = str(fault) or type(fault).__name__, True
    finally:
        task.ended = real_clock()


def _brought_said(done: Done) -> str:
    return (
        f"{done.entries} new entries read and checked; {done.ended} preparations ended,"
        f" {done.open} open; up to entry {done.through}."
    )


def _plotted(of: str, wish: Wish, column: str) -> Plot:
    if of == "series":
        return charting.series_of(wish)[0]
    if of == "kinds":
        return charting.kinds_of(wish, column)
    return charting.units_of(wish) if of == "units" else charting.recovery_of(wish)


def _pictured(plot: Plot) -> Drawn:
    # The words around the picture stand in the page as text, so not in the picture a second time.
    bare = replace(plot, title="", about=(), notes=(), foot=())
    return Drawn(plot=plot, svg=picture.svg(bare))


def _known(wish: Wish) -> Known:
    with charting.opened(wish) as engine:

        def words(column: str) -> tuple[str, ...]:
            sql = f"SELECT DISTINCT {column} FROM preparations ORDER BY {column}"
            return tuple(str(word) for (word,) in engine.rows(sql).rows)

        (many,) = engine.rows("SELECT count(*) FROM preparations").rows[0]
        return Known(
            units=words("unit"),
            containers=words("container"),
            months=words("month"),
            preparations=int(many),
        )


def folder_said(path: Path) -> str:
    """How to bring other trails over, as it can be typed."""
    return f"checklist facts export TRAIL... --facts {path}"
