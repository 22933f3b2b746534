"""Where a preparation stands, made ready for a page: pure functions from a look to plain values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from checklist.engine import GO_ON
from checklist.faces.blocks import SECOND_WORDS, remedies, short
from checklist.faces.saying import together
from checklist.faces.web.nurse.look import Look
from checklist.faces.web.nurse.taking import NUMBERS, SAY_WHY, SCANNED, Taken, may_be_a_scan
from checklist.faces.web.nurse.words import MODES, NOT_TYPED, hint, unit_words
from checklist.interop.scanner import Scanner
from checklist.label import OPENING, ROUTE_WORDS, time_left, use_before
from checklist.observation import KEYED, Kind
from checklist.order import Order
from checklist.screen import Told
from checklist.timing import said_span
from checklist.verdict import Remedy
from checklist.workflow import CAUTION, REFUSED, Field, Who

SECOND = (Who.CHECKER, Who.WITNESS)
VOLUME = frozenset(("volume_over_target", "volume_under_target"))
"""The refusals after which a person may look at their own working."""
CALLS = (Remedy.CALL_PHARMACIST, Remedy.CALL_PRESCRIBER)
LATE = 4
"""The last part of a time limit in which it is told loudly: a quarter of it."""
PREPARER, OTHER = "seen", "own"
"""What the names of a preparer's and of a second person's fields begin with, so that no browser
offers one of them what the other typed."""

Widget = Literal["scan", "number", "line", "choice", "seen"]
_WIDGETS: Mapping[Kind, Widget] = {
    Kind.PRODUCT: "scan",
    Kind.IDENTIFIER: "scan",
    Kind.QUANTITY: "number",
    Kind.COUNT: "number",
    Kind.CHOICE: "choice",
    Kind.SEEN: "seen",
}
_KEYS: Mapping[Kind, str] = {Kind.QUANTITY: "decimal", Kind.COUNT: "numeric"}


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldView:
    """One thing to report. `keys` is the keypad that a tablet should offer; `spoken` asks for words
    of the number; `empty_means` that a tick, in the words `none`, may say that nothing is there;
    `yes` are the words for a line that was seen. `keyed` are the reasons for which a code may be
    typed, `why` the one that was picked, `asks_why` whether one is wanting.
    """

    id: str
    name: str
    widget: Widget
    kind: str
    say: str
    unit: str
    code: str
    hint: str
    keys: str
    spoken: bool
    answers: tuple[str, ...]
    optional: bool
    empty_means: bool
    yes: str
    none: str
    typed: str
    missing: bool
    fault: str
    words: str
    keyed: Mapping[str, str]
    why: str
    asks_why: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockView:
    """A time limit that runs. `until` and `now` are ISO times for the countdown of the script."""

    words: str
    until: str
    now: str
    late: bool
    over: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Whose, what and where. A second person sees neither the drug nor the dose."""

    preparation: str
    patient: str
    drug: str
    amount: str
    route: str
    more: str
    preparer: str
    started: str
    second: str
    by: str
    protected: bool
    clock: ClockView | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A way out: the remedy's name and words, and whether something may be said beside it."""

    remedy: str
    words: str
    may_say: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StepView:
    """One step, stop or caution, ready to be shown. `prefix` begins the names of its fields,
    `keypad` says whether figures are all that is typed.
    """

    title: str
    id: str
    turn: int
    prefix: str
    phase: str
    number: int
    total: int
    mode: str
    ask: str
    how: str
    button: str
    fields: tuple[FieldView, ...]
    reasons: tuple[Told, ...]
    ways: tuple[Way, ...]
    go_on: Mapping[str, str]
    second_person: bool
    may_show: bool
    label: bool
    vial: bool
    keypad: bool


def step_view(
    look: Look, *, second: bool, scanner: Scanner, taken: Taken | None = None
) -> StepView:
    """The view of where an open preparation stands, at a place with this scanner; `taken` is a
    form that was not handed in.
    """
    screen, spot, prep = look.screen, look.spot, look.prep
    prefix = OTHER if second else PREPARER
    keyed = {**KEYED, **({SCANNED: NOT_TYPED} if may_be_a_scan(scanner) else {})}
    fields = tuple(field_view(f, prefix, taken or Taken(), keyed) for f in screen.fields)
    names = {f.name for f in screen.fields}
    codes = {one.code for one in screen.reasons}
    held = codes & set(look.around.unit.second_person_cautions)
    head = f"step {screen.number} of {screen.total}, {spot.step.ask}"
    stop = {REFUSED: "Stop: ", CAUTION: "Caution: "}.get(screen.stands, "")
    title = f"{stop}{head}" if second else f"{stop}{head} {prep.order.drug}"
    return StepView(
        title=title,
        id=prep.id,
        turn=prep.turn,
        prefix=prefix,
        phase=screen.phase,
        number=screen.number,
        total=screen.total,
        mode=MODES.get(screen.mode, screen.mode),
        ask=kept(spot.step.ask),
        how=kept(spot.step.how),
        button=_button(screen.fields, second=second),
        fields=fields,
        reasons=tuple(map(_kept, screen.reasons)),
        ways=tuple(_way(*one) for one in remedies(screen)),
        go_on=GO_ON if screen.stands == CAUTION else {},
        second_person=bool(held),
        may_show=not second and bool(codes & VOLUME),
        label="label_made" in names,
        vial="rest_of_vial" in names,
        keypad=bool(fields) and {f.widget for f in fields} in ({"number"}, {"number", "choice"}),
    )


def kept(text: str) -> str:
    """The text with each number held to the unit behind it, so that no line parts them."""
    return together(text, "\u00a0")


def _kept(one: Told) -> Told:
    return replace(one, found=kept(one.found), why=kept(one.why), next=kept(one.next))


def _button(fields: Sequence[Field], *, second: bool) -> str:
    """The one thing to do on a step, beginning with its verb."""
    if second:
        return "Store my answers" if len(fields) > 1 else "Store my answer"
    kinds = {f.kind for f in fields}
    if kinds == {Kind.SEEN}:
        return "Enter what I see"
    if kinds <= {Kind.QUANTITY, Kind.COUNT, Kind.CONCENTRATION} and kinds:
        return "Enter what I read"
    return "Enter it"


def _way(remedy: str, words: str) -> Way:
    return Way(remedy=remedy, words=words, may_say=Remedy(remedy) in CALLS)


def field_view(
    field: Field, prefix: str, taken: Taken, keyed: Mapping[str, str] = KEYED
) -> FieldView:
    """One field as it is asked for, with what was typed there and what is said about it.

    `keyed` are the reasons for which a code may be typed here.
    """
    widget = _WIDGETS.get(field.kind, "line")
    return FieldView(
        id=f"{prefix}-{field.name}",
        name=f"{prefix}.{field.name}",
        widget=widget,
        kind=field.kind.value,
        say=kept(field.say),
        unit=unit_words(field.unit),
        code=field.unit,
        hint=hint(field),
        keys={"number": "decimal"}.get(widget, "text")
        if field.kind is not Kind.COUNT
        else "numeric",
        spoken=field.kind in NUMBERS,
        answers=field.answers,
        optional=field.optional,
        empty_means=bool(field.if_missing) and not field.optional,
        yes="it is so" if field.say.startswith("I ") else "seen",
        none="I have no answer" if "your own" in field.say else "Nothing there, or not readable",
        typed=taken.typed.get(field.name, ""),
        missing=field.name in taken.missing,
        fault=taken.faults.get(field.name, ""),
        words=taken.words.get(field.name, ""),
        keyed=keyed if field.kind is Kind.PRODUCT else {},
        why=taken.chosen.get(field.name, ""),
        asks_why=taken.faults.get(field.name, "") == SAY_WHY,
    )


def band_of(look: Look, *, by: str, second: bool) -> Band:
    """The band of an open preparation, for the person who holds the tablet."""
    prep, spot = look.prep, look.spot
    order = look.rules.layout.order
    flow = look.rules.workflow
    here = order.get(spot.place.partition("/")[0])
    ordered = prep.whole or prep.order
    local = look.around.unit.local
    return Band(
        preparation=short(prep.id),
        patient="" if second else ordered.patient,
        drug="" if second else ordered.drug,
        amount="" if second else amount_of(ordered),
        route="" if second else route_of(ordered),
        more="" if second else more_of(ordered),
        preparer=prep.preparer,
        started=f"{local(prep.opened_at):%H:%M}",
        second=SECOND_WORDS.get(spot.step.who, "") if second else "",
        by=by,
        protected=here is not None and order[flow.opens] <= here < order[flow.ready],
        clock=None if second else clock_of(look),
    )


def amount_of(order: Order) -> str:
    """The dose of an order line as it is read; as it was written where it has none in figures."""
    dose = order.dose if order.dose is not None else order.dose_per_weight
    return order.written.get("dose", "") if dose is None else str(dose)


def route_of(order: Order) -> str:
    """The route of an order line in words."""
    return ROUTE_WORDS.get(order.route, order.route or order.written.get("route", ""))


def more_of(order: Order) -> str:
    """The second drug of an order line that asks for two in one syringe; else nothing."""
    return f"with {order.second.drug} {order.second.dose}" if order.second else ""


def clock_of(look: Look) -> ClockView | None:
    """How long the dose may still wait; None where no limit runs, or where it was given."""
    prep, around = look.prep, look.around
    if prep.closed or prep.latest("given_volume") is not None:
        return None
    left, until = time_left(prep, around), use_before(prep, around)
    if left is None or until is None:
        return None
    over = left < timedelta(0)
    whole = until - (_opened(look) or around.at)
    return ClockView(
        words=(
            f"It was to be begun {said_span(-left)} ago."
            if over
            else f"Begin to give within {said_span(left)}."
        ),
        until=until.isoformat(),
        now=around.at.isoformat(),
        late=over or left * LATE <= whole,
        over=over,
    )


def _opened(look: Look) -> datetime | None:
    """When the first container was opened."""
    prep = look.prep
    views = [prep, *(prep.of(item) for item in prep.items)]
    times = [view.time_of(name) for view in views for name in OPENING]
    return min((at for at in times if at is not None), default=None)
