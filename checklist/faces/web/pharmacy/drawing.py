"""A workflow as a picture: its steps from top to bottom, the ways back beside them on the left, and
on the right what a break and an end lead through.

All of it is made from the layout, as gate and proof are. Sizes are in units of which 17 are the
size of the page's letters, so that the picture grows with them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from markupsafe import Markup

from checklist.drawing.letters import lines
from checklist.faces.web.pharmacy.telling import plain
from checklist.workflow import Layout, Phase, Step, Workflow

EM = 17.0
_SIZE = 17.0
_LINE = 23.0
_PAD = 12.0
_LEAST = 56.0  # a step's box is a target for a gloved finger
_GAP = 12.0
_RAIL = 26.0
_MOST_RAILS = 3
_STEPS = 480.0
_SIDE = 200.0
_HEAD = 34.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """Where something stands; `y` is its upper edge."""

    x: float
    y: float
    wide: float
    high: float

    @property
    def middle(self) -> float:
        """Half way down."""
        return self.y + self.high / 2

    @property
    def low(self) -> float:
        """Its lower edge."""
        return self.y + self.high


def picture(workflow: Workflow, address: str) -> Markup:
    """The picture as one `svg` element; each step is a link to its words at `address`."""
    return _Drawing(workflow, address).svg()


def ways_back(layout: Layout) -> dict[str, tuple[str, ...]]:
    """For each main step that others lead back to, the names of those others; most used first."""
    found: dict[str, dict[str, None]] = {}
    for name in layout.order:
        spot = layout.spots[name]
        for way in spot.step.ways:
            dest = layout.target(spot, way.to)
            if dest in layout.order and layout.order[dest] < layout.order[name]:
                found.setdefault(dest, {})[name] = None
    return {
        dest: tuple(names) for dest, names in sorted(found.items(), key=lambda one: -len(one[1]))
    }


class _Drawing:
    def __init__(self, workflow: Workflow, address: str) -> None:
        self.flow, self.address = workflow, address
        self.layout = Layout(workflow)
        self.back = ways_back(self.layout)
        self.rails = [dest for dest, names in self.back.items() if len(names) > 1][:_MOST_RAILS]
        self.left = _PAD + _RAIL * (len(self.rails) + 1)
        self.numbers = {step.name: at for at, step in enumerate(workflow.steps, 1)}
        self.boxes: dict[str, Box] = {}
        self.parts: list[Markup] = []
        self.low = _PAD

    def svg(self) -> Markup:
        """The whole picture; it is laid out while it is drawn."""
        self._main()
        end = Box(x=self.left + _PAD, y=self.low + _GAP, wide=_STEPS - 2 * _PAD, high=_LEAST)
        last = self.boxes[self.flow.steps[-1].name]
        self._arrow(last.x + last.wide - 30, last.low, end.y)
        self._box(end, ["The dose is given. The preparation is closed."], "end")
        self._rails()
        self._breaks()
        self._account()
        wide = self.left + _STEPS + 2 * (_SIDE + 2 * _PAD) + _PAD
        high = end.low + _PAD
        label = f"{self.flow.title}: {len(self.flow.steps)} steps from top to bottom"
        head = Markup(
            '<svg class="workflow" role="group" aria-label="{}" width="{:.2f}rem" '
            'height="{:.2f}rem" viewBox="0 0 {:.0f} {:.0f}">'
        ).format(label, wide / EM, high / EM, wide, high)
        return head + Markup("\n").join(self.parts) + Markup("</svg>")

    # -- the sequence --------------------------------------------------------------------------

    def _main(self) -> None:
        before: Box | None = None
        for title, phases in groupby(self.flow.phases, key=lambda phase: phase.title):
            frame_at, slot = self.low, len(self.parts)
            self._text(self.left + _PAD, self.low + 24, title, "title")
            self.low += _HEAD
            for step in (step for phase in phases for step in phase.steps):
                before = self._step(step, before)
            frame = Box(x=self.left, y=frame_at, wide=_STEPS, high=self.low - frame_at)
            self.parts.insert(slot, _rect(frame, "phase"))
            self.low += _GAP

    def _step(self, step: Step, before: Box | None) -> Box:
        room = _STEPS - 4 * _PAD - 40
        asked = lines(step.ask, room, _SIZE)
        marked = lines("; ".join(self._marks(step)), room, _SIZE) if self._marks(step) else ()
        high = max(_LEAST, (len(asked) + len(marked)) * _LINE + 2 * _PAD)
        box = Box(x=self.left + _PAD, y=self.low, wide=_STEPS - 2 * _PAD, high=high)
        self.low += high + _GAP
        self.boxes[step.name] = box
        if before is not None:
            self._arrow(box.x + box.wide - 30, before.low, box.y)
        link = Markup('<a href="{}#{}">').format(self.address, step.name)
        self.parts.append(link + _rect(box, "critical" if step.critical else "step"))
        self._text(box.x + _PAD, box.y + _PAD + 15, str(self.numbers[step.name]), "number")
        y = box.y + _PAD + 15
        for text, kind in [*((t, "") for t in asked), *((t, "marks") for t in marked)]:
            self._text(box.x + _PAD + 40, y, text, kind)
            y += _LINE
        self.parts.append(Markup("</a>"))
        return box

    def _marks(self, step: Step) -> list[str]:
        told = [] if step.who.value == "preparer" else [f"by the {step.who.value}"]
        told += [f"only if {' and '.join(map(plain, step.only_if))}"] if step.only_if else []
        told += ["critical: a break here is a stop"] if step.critical else []
        told += [
            f"back to {self.numbers[dest]}"
            for dest, names in self.back.items()
            if step.name in names and dest not in self.rails
        ]
        return told

    def _rails(self) -> None:
        for at, dest in enumerate(self.rails):
            x = self.left - _RAIL * (at + 1)
            to = self.boxes[dest]
            sources = [self.boxes[name] for name in self.back[dest]]
            y = to.middle - 8 + 8 * at
            low = max(box.middle for box in sources) + 5 * at
            path = f"M{x:.0f} {low:.0f} V{y:.0f} H{to.x - 8:.0f}"
            path += "".join(f" M{box.x:.0f} {box.middle + 5 * at:.0f} H{x:.0f}" for box in sources)
            self._path(path, f"back rail{at}")
            self._path(_head(to.x, y, across=True), f"tip rail{at}")

    # -- beside it -----------------------------------------------------------------------------

    def _breaks(self) -> None:
        x = self.left + _STEPS + _PAD
        asides = {phase.name: phase for phase in self.flow.asides}
        for name, phases in groupby(self.flow.phases, key=lambda phase: phase.reverify):
            steps = [step for phase in phases for step in phase.steps]
            aside = asides.get(name)
            if aside and aside.steps and steps:
                top, low = self.boxes[steps[0].name].y, self.boxes[steps[-1].name].low
                span = Box(x=x, y=top, wide=_SIDE + _PAD, high=low - top)
                self._beside(span, "After a break", aside)

    def _account(self) -> None:
        aside = next(p for p in self.flow.asides if p.name == self.flow.account)
        if not aside.steps:
            return
        top = self.boxes[self.flow.opens].y
        low = self.boxes[self.flow.steps[-1].name].low
        x = self.left + _STEPS + _SIDE + 3 * _PAD
        span = Box(x=x, y=top, wide=_SIDE, high=low - top)
        self._beside(span, "To end, or begin again, once it is open", aside)

    def _beside(self, span: Box, title: str, aside: Phase) -> None:
        """A bracket along some steps, with the steps of a side phase inside."""
        self._path(f"M{span.x + 8:.0f} {span.y:.0f} H{span.x:.0f} V{span.low:.0f} h8", "bracket")
        room = span.wide - 2 * _PAD
        told = [(text, "title") for text in lines(title, room, _SIZE, bold=True)]
        for step in aside.steps:
            told += [(text, "") for text in lines(f"- {step.ask}", room, _SIZE)]
        y = span.y + 20
        for text, kind in told:
            self._text(span.x + _PAD, y, text, kind)
            y += _LINE
        self.low = max(self.low, y)

    # -- marks ---------------------------------------------------------------------------------

    def _box(self, box: Box, texts: list[str], kind: str) -> None:
        self.parts.append(_rect(box, kind))
        for at, text in enumerate(texts):
            self._text(box.x + _PAD, box.middle + 6 + _LINE * at, text, "title")

    def _text(self, x: float, y: float, text: str, kind: str) -> None:
        self.parts.append(
            Markup('<text class="{}" x="{:.0f}" y="{:.0f}">{}</text>').format(kind, x, y, text)
        )

    def _path(self, path: str, kind: str) -> None:
        self.parts.append(Markup('<path class="{}" d="{}"/>').format(kind, path))

    def _arrow(self, x: float, top: float, low: float) -> None:
        self._path(f"M{x:.0f} {top:.0f} V{low - 8:.0f}", "on")
        self._path(_head(x, low, across=False), "tip")


def _rect(box: Box, kind: str) -> Markup:
    return Markup(
        '<rect class="{}" x="{:.0f}" y="{:.0f}" width="{:.0f}" height="{:.0f}" rx="4"/>'
    ).format(kind, box.x, box.y, box.wide, box.high)


def _head(x: float, y: float, *, across: bool) -> str:
    if across:
        return f"M{x:.0f} {y:.0f} l-9 -5 v10 z"
    return f"M{x:.0f} {y:.0f} l-5 -9 h10 z"


def in_words(workflow: Workflow) -> Iterator[str]:
    """What the picture shows beside the steps themselves, a sentence each."""
    layout = Layout(workflow)
    names = {step.name: at for at, step in enumerate(workflow.steps, 1)}
    for dest, sources in ways_back(layout).items():
        numbers = ", ".join(str(names[name]) for name in sources)
        yield f"Back to step {names[dest]}, {plain(dest)}, leads a way from step {numbers}."
    asides = {phase.name: phase for phase in workflow.asides}
    for name, phases in groupby(workflow.phases, key=lambda phase: phase.reverify):
        steps = [step for phase in phases for step in phase.steps]
        aside = asides.get(name)
        if aside and aside.steps and steps:
            first, last = names[steps[0].name], names[steps[-1].name]
            where = f"at step {first}" if first == last else f"at steps {first} to {last}"
            yield f"After a break {where}: {' '.join(step.ask for step in aside.steps)}"
    account = asides[workflow.account]
    if account.steps:
        asked = " ".join(step.ask for step in account.steps)
        yield (
            f"From step {names[workflow.opens]} on, ending and beginning again lead through:"
            f" {asked}"
        )
