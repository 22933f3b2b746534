"""The rules of movement: what each act at the station proposes to the trail."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Any

from checklist import codec
from checklist.checks import CHECKS, REASONS
from checklist.gate import CAUTION, OutOfSequence, Rules
from checklist.observation import Channel, Kind, Observation, Unread
from checklist.order import Order
from checklist.preparation import ITEM, Event, Preparation, Surroundings
from checklist.signature import CHECKED, WITNESSED
from checklist.verdict import Caution, Note, Pass, Refusal, Remedy, Verdict, eased, raised
from checklist.workflow import (
    RESUME,
    Field,
    Spot,
    Way,
    Who,
    ending_words,
)

# After this many refusals of one identity check at a step, reading again is no longer enough:
# the item is replaced or a second person is called. Common practice, no source.
IDENTITY_TRIES = 2
# What the signature of a second person's step means.
_SIGNED = {Who.CHECKER: CHECKED, Who.WITNESS: WITNESSED}


class MovedOn(Exception):
    """Somebody else has moved the preparation on since the face last saw it."""


class NotOffered(Exception):
    """A remedy or reason was given that nothing which stands here asks for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """Who, when, where and by which channel: what every event carries. `id` is unique."""

    id: str
    at: datetime
    by: str
    station: str
    channel: Channel

    def event(
        self,
        preparation: str,
        turn: int,
        kind: str,
        body: Mapping[str, Any],
        *,
        place: str = "",
        lands: str = "",
    ) -> Event:
        """The event of this moment, at a turn of a thread of entries."""
        return Event(
            id=self.id,
            preparation=preparation,
            turn=turn,
            kind=kind,
            place=place,
            lands=lands,
            at=self.at,
            by=self.by,
            station=self.station,
            channel=self.channel.value,
            body=body,
        )


@dataclass(frozen=True, slots=True)
class Found:
    """The verdict of one check at one attempt."""

    check: str
    verdict: Verdict

    @property
    def word(self) -> str:
        """ "pass", "caution" or "refusal", as the gate weighs it."""
        if isinstance(self.verdict, Pass):
            return "pass"
        return "caution" if isinstance(self.verdict, Caution) else "refusal"


def proposed(
    prep: Preparation, kind: str, lands: str, stamp: Stamp, body: Mapping[str, Any]
) -> Event:
    """The next event of a preparation, from where it stands."""
    return stamp.event(prep.id, prep.turn + 1, kind, body, place=prep.place, lands=lands)


def opened(
    order: Order, rules: Rules, *, preparation: str, stamp: Stamp, settings: Mapping[str, Any]
) -> Event:
    """Propose a new preparation of `order`, at the first step of its workflow.

    `settings` is plain JSON data about what is in force: unit, formulary, software version.
    """
    return stamp.event(
        preparation,
        0,
        "opened",
        {
            "order": codec.order_out(order),
            "workflow": rules.digest,
            "name": rules.workflow.name,
            "version": str(rules.workflow.version),
            "traits": list(rules.workflow.traits),
            **settings,
        },
        lands=rules.workflow.steps[0].name,
    )


def attempt(
    prep: Preparation,
    rules: Rules,
    seen: Observation,
    around: Surroundings,
    stamp: Stamp,
    *,
    recorded: Observation | None = None,
) -> tuple[Event, tuple[Found, ...]]:
    """Propose what follows from trying the present step with what was seen.

    `recorded` is what the trail keeps of it: the same readings, those that identify a person
    replaced by the place where their text is kept. By default all of `seen`.
    Returns the event (passed, cautioned or refused) and every check's verdict. Raises
    OutOfSequence when the preparation does not stand at a step that can be tried.
    """
    spot = rules.layout.spots.get(prep.place)
    if spot is None:
        raise OutOfSequence(f"at {prep.place!r} there is no step to try")
    asked = {f.name for f in spot.step.fields}
    if strangers := sorted(seen.keys() - asked):
        raise OutOfSequence(f"this step does not ask for {', '.join(strangers)}")
    found = judged(prep, spot, seen, around)
    lands = rules.gate.leads(prep.place, "attempt", [f.word for f in found])
    kind = {spot.next: "passed", f"{spot.place}/{CAUTION}": "cautioned"}.get(lands, "refused")
    kept = seen if recorded is None else recorded
    body = _tried(kept, found)
    if spot.step.who in _SIGNED:
        body["meaning"] = _SIGNED[spot.step.who]
    return proposed(prep, kind, lands, stamp, body), found


def _tried(seen: Observation, found: Sequence[Found]) -> dict[str, Any]:
    def told(verdict: Caution | Refusal) -> dict[str, Any]:
        return {
            "code": verdict.reason.code,
            "tier": "hard" if isinstance(verdict, Refusal) else "soft",
            "facts": dict(verdict.facts),
        }

    passes = [f.verdict for f in found if isinstance(f.verdict, Pass)]
    return {
        "seen": codec.observation_out(seen),
        "checks": [[f.check, f.word] for f in found],
        "reasons": [told(f.verdict) for f in found if not isinstance(f.verdict, Pass)],
        "notes": [
            {"code": note.reason.code, "facts": dict(note.facts)}
            for verdict in passes
            for note in verdict.notes
        ],
        "not_compared": [v.not_compared for v in passes if v.not_compared],
    }


def judged(
    prep: Preparation, spot: Spot, seen: Observation, around: Surroundings
) -> tuple[Found, ...]:
    """The verdict of every check of a step, the general ones first.

    A check that raises is a refusal with a code of its own; nothing is ever skipped. When an
    entry is missing or cannot be read, the checks that would lean on it are not asked. At a step
    for one item of a mixture the checks see that item's view of the preparation.
    """
    prep = prep.of(spot.place.partition("/")[0].partition(ITEM)[2])
    first = [Found("the_hands_are_the_right_ones", _hands(prep, spot, around))]
    first += [Found("entries_are_read", v) for v in _entries(spot.step.fields, seen)]
    first += [
        Found(f"seen:{f.name}", _observed(f, seen)) for f in spot.step.fields if f.kind is Kind.SEEN
    ]
    bad = {
        f.name
        for f in spot.step.fields
        if f.name not in seen or isinstance(seen[f.name].value, Unread)
    }
    for name in spot.step.checks:
        check = CHECKS[name]
        if bad.isdisjoint(check.fields) or _optional(spot, bad & check.fields.keys()):
            first.append(Found(name, _asked(name, seen, prep, around)))
    unit = around.unit
    return tuple(Found(f.check, raised(eased(f.verdict, unit.eased), unit.raised)) for f in first)


def _optional(spot: Spot, names: set[str]) -> bool:
    return all(f.optional for f in spot.step.fields if f.name in names)


def _asked(name: str, seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    try:
        return CHECKS[name](seen, prep, around)
    except Exception as error:  # fail closed: whatever went wrong, the step does not open
        kind = type(error).__name__
        return Refusal(REASONS["check_failed"], {"check": name.replace("_", " "), "kind": kind})


def _hands(prep: Preparation, spot: Spot, around: Surroundings) -> Verdict:
    if spot.step.who is Who.PREPARER and around.by.code != prep.preparer:
        return Refusal(
            REASONS["not_the_preparer"], {"present": around.by.code, "preparer": prep.preparer}
        )
    return Pass()


def _entries(fields: Sequence[Field], seen: Observation) -> list[Verdict]:
    verdicts: list[Verdict] = []
    for field in fields:
        reading = seen.get(field.name)
        if reading is None:
            if not field.optional:
                code = field.if_missing or "entry_missing"
                verdicts.append(Refusal(REASONS[code], {"what": field.say}))
        elif isinstance(reading.value, Unread):
            facts = {"what": field.say, "sentence": reading.value.sentence}
            verdicts.append(Refusal(REASONS["entry_unreadable"], facts))
    return verdicts or [Pass()]


def _observed(field: Field, seen: Observation) -> Verdict:
    reading = seen.get(field.name)
    if reading is None or isinstance(reading.value, Unread):
        return Pass()  # already refused as missing or unreadable
    if reading.value is True:
        return Pass()
    reason = REASONS[field.if_not]
    facts = {"what": field.say}
    if reason.tier.rank == 0:
        return Pass(notes=(Note(reason, facts),))
    return Caution(reason, facts) if reason.tier.rank == 1 else Refusal(reason, facts)


def ways(prep: Preparation, rules: Rules) -> tuple[Way, ...]:
    """The ways out that are offered where a refusal or caution stands, shortest safe way first.

    A way is offered when it answers one of the standing reasons and either leads to a place from
    which this step is tried again, or out; a way that goes on past this step is offered only when
    it answers all of them. Reading again is no longer offered after repeated identity refusals.
    """
    if not prep.standing:
        return ()
    spot = rules.layout.base(prep.place)
    codes = [s.code for s in prep.standing]
    offered = []
    for way in spot.step.ways:
        answered = [code for code in codes if code in way.on]
        if not answered or (way.to == RESUME and len(answered) < len(codes)):
            continue
        if way.remedy is Remedy.RECHECK and any(_worn_out(prep, spot, c) for c in answered):
            continue
        offered.append((codes.index(answered[0]), _rank(answered[0], way.remedy), way))
    return tuple(way for _, _, way in sorted(offered, key=lambda item: item[:2]))


def _rank(code: str, remedy: Remedy) -> int:
    reason = REASONS.get(code)
    remedies: tuple[Remedy, ...] = reason.remedies if reason else ()
    return remedies.index(remedy) if remedy in remedies else len(remedies)


def _worn_out(prep: Preparation, spot: Spot, code: str) -> bool:
    reason = REASONS.get(code)
    tries = prep.tries.get((spot.place, code), 0)
    return reason is not None and reason.identity and tries >= IDENTITY_TRIES


def remedied(
    prep: Preparation, rules: Rules, remedy: Remedy, stamp: Stamp, *, note: str = ""
) -> Event:
    """Propose that the standing refusal or caution is answered by this remedy.

    Raises NotOffered when the remedy answers nothing that stands here.
    """
    for way in ways(prep, rules):
        if way.remedy is remedy:
            spot = rules.layout.base(prep.place)
            dest = rules.layout.target(spot, way.to)
            lands = rules.gate.leads(prep.place, f"remedy:{remedy.value}:{dest}")
            answers = [s.code for s in prep.standing if s.code in way.on]
            body = {"remedy": remedy.value, "answers": answers, "note": note}
            return proposed(prep, "remedied", lands, stamp, body)
    offered = ", ".join(w.remedy.value for w in ways(prep, rules)) or "nothing stands here"
    raise NotOffered(f"{remedy.value} answers nothing here; offered: {offered}")


def proceeded(
    prep: Preparation,
    rules: Rules,
    because: str,
    stamp: Stamp,
    *,
    note: str = "",
    second_person: Sequence[str] = (),
) -> Event:
    """Propose to go on past a caution with a reason from the list.

    `second_person` are the codes that this unit lets only another person than the preparer
    release. Raises NotOffered for a reason that is not listed, for "other" without a text, or when
    another person is asked for.
    """
    if because not in GO_ON:
        raise NotOffered(f"{because!r} is not a listed reason; listed: {', '.join(GO_ON)}")
    if because == "other" and not note.strip():
        raise NotOffered("the reason `other` needs a few words beside it")
    kept = [s.code for s in prep.standing if s.code in second_person]
    if kept and stamp.by == prep.preparer:
        raise NotOffered(f"this unit asks a second person to release {', '.join(kept)}")
    lands = rules.gate.leads(prep.place, "proceed")
    body = {"because": because, "note": note, "codes": [s.code for s in prep.standing]}
    return proposed(prep, "proceeded", lands, stamp, body)


# The reasons for going on past a caution; free text stands beside them, never alone.
GO_ON: Mapping[str, str] = MappingProxyType(
    {
        "looked_again": "Looked again: it is as it should be",
        "prescriber_knows": "The prescriber knows and wants it so",
        "pharmacist_agrees": "The pharmacist agrees",
        "needed_now": "The patient needs it now",
        "nothing_else_here": "No other item can be had in time",
        "unit_practice": "This unit's written practice allows it",
        "other": "Another reason (write it)",
    }
)


def interrupted(prep: Preparation, rules: Rules, cause: str, stamp: Stamp) -> Event:
    """Propose that work stops here because of `cause`; the step is kept."""
    lands = rules.gate.leads(prep.place, "interrupt")
    return proposed(prep, "interrupted", lands, stamp, {"cause": cause})


def resumed(prep: Preparation, rules: Rules, stamp: Stamp) -> Event:
    """Propose to come back from an interruption, behind its re-verification."""
    lands = rules.gate.leads(prep.place, "resume")
    return proposed(prep, "resumed", lands, stamp, {})


def ended(prep: Preparation, rules: Rules, because: str, stamp: Stamp, *, note: str = "") -> Event:
    """Propose to end without giving, for a listed reason; opened items are accounted for first.

    Raises NotOffered for a reason that this phase does not list.
    """
    spot = rules.layout.base(prep.place)
    offered = ending_words(rules.workflow, spot.phase.name)
    if because not in offered:
        raise NotOffered(f"{because!r} is no reason to end here; listed: {', '.join(offered)}")
    if because == "other" and not note.strip():
        raise NotOffered("the reason `other` needs a few words beside it")
    lands = rules.gate.leads(prep.place, "end")
    return proposed(prep, "ended", lands, stamp, {"because": because, "note": note})
