"""The workplace: the only file that holds both a trail and the rules of movement."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial

from checklist import beside, engine, register, way_in
from checklist.answer import Answer, channel_of, guarded, read_answers, sealed, sealed_note
from checklist.attendance import Attendance, NotAllowed, NotHere, NotSignedIn, known
from checklist.clock_watch import watched
from checklist.credential import Credentials
from checklist.definition import WorkflowFaults, from_text
from checklist.engine import Found, Stamp
from checklist.fold import evolve, replay
from checklist.formulary import Formulary
from checklist.gate import OutOfSequence, Rules
from checklist.in_force import in_force
from checklist.intake.codes import CodeBook, codes_of
from checklist.intake.ward import Ward, reload_orders
from checklist.interop.scanner import UNTRIED, Scanner
from checklist.limits import Limits
from checklist.notary import Notary
from checklist.observation import Channel
from checklist.order import CALLED, Call, Order, Patient
from checklist.people import StaffMember
from checklist.permission import Action
from checklist.preparation import BESIDE, GIVEN, Entry, Event, Preparation, Surroundings
from checklist.proof import prove
from checklist.requirement import Required
from checklist.screen import Outcome, Screen, asked, outcome_of, screen_of
from checklist.site import Age
from checklist.target import target
from checklist.trail import SealedText, Trail
from checklist.verdict import Remedy
from checklist.way_in import Item
from checklist.workflow import INTERRUPTED, REVERIFY, Spot, Who, Workflow

__all__ = ["NotAllowed", "NotHere", "NotSignedIn", "Station"]

# Below this age in years a patient counts as a child for the unit's double check. Common practice.
ADULT = 18
# The container that a unit may do without.
PEN = "insulin_pen"

# The steps of a second person: the check that compares who it is, and what a role has to allow.
SECOND = {
    Who.CHECKER: ("second_person_is_another_and_eligible", Action.CHECK),
    Who.WITNESS: ("witness_is_another_and_eligible", Action.WITNESS),
}
# Checks that look at the medication record as it is now: before them it is read again.
READS_THE_RECORD = frozenset(("order_is_current", "call_is_written_and_reviewed"))


@dataclass(frozen=True, slots=True)
class Compiled:
    """Workflows made ready: rules by the digest of their text, and those that are proved.

    Nothing in it hangs on a trail or a person, so the stations of one server share it.
    """

    rules: dict[str, Rules] = field(default_factory=dict)
    proved: dict[tuple[int, frozenset[str]], tuple[Workflow, Rules]] = field(default_factory=dict)


class Station:
    """One workplace of one unit. Time, identity and randomness are handed in.

    A workflow is used only where it is proved to keep `required` for the order at hand. `clock`
    gives aware UTC times, `new_id` strings that never repeat; `reload` reads the orders
    again, which is done whenever a step asks whether the order still stands. `via` marks every
    entry made here with one channel, whatever each answer came by. Whoever acts has signed in here
    before; `credentials` keeps the PINs, None where there are none. `practice` says that nothing
    counts here. `notary` signs what asks for it and keeps the trail's heads; None signs nothing.
    `scanner` is what a try-out found of the scanner here. `compiled` is what other stations with
    the same files have made ready, `used` what others over the same trail have found used up.
    """

    def __init__(
        self,
        trail: Trail,
        ward: Ward,
        *,
        workflows: Mapping[str, Workflow],
        limits: Limits,
        required: Required,
        name: str,
        clock: Callable[[], datetime],
        new_id: Callable[[], str],
        reload: Callable[[Ward], Ward] = reload_orders,
        via: Channel | None = None,
        credentials: Credentials | None = None,
        practice: bool = False,
        notary: Notary | None = None,
        scanner: Scanner = UNTRIED,
        compiled: Compiled | None = None,
        used: register.Uses | None = None,
    ) -> None:
        self.trail = trail
        self.ward = ward
        self.workflows = workflows
        self.limits = limits
        self.required = required
        self.name = name
        self._clock = clock
        self._new_id = new_id
        self._reload = reload
        self._via = via
        self._practice = practice
        self.notary = notary
        self.scanner = scanner
        self._book: tuple[Formulary, CodeBook] | None = None
        # Who bears each name, worked out once for the patients that the ward has now.
        self._bearers: tuple[Mapping[str, Patient], dict[str, set[str]]] | None = None
        self._attendance = Attendance(
            trail, credentials, clock=clock, new_id=new_id, station=name, via=via
        )
        compiled = compiled or Compiled()
        self._rules, self._proved = compiled.rules, compiled.proved
        self._uses = used or register.Uses()
        self._kept: set[str] = set()
        self._folded: dict[str, Preparation] = {}
        self._in_hand: dict[str, int] = {}

    # -- people and orders ---------------------------------------------------------------------

    def person(self, code: str) -> StaffMember:
        """The member of staff with this code, whoever is here. Raises NotHere."""
        return known(self.ward, code)

    def sign_in(self, code_or_badge: str, pin: str = "", *, second_for: str = "") -> StaffMember:
        """Sign a person in at this station, with their own PIN; recorded, as every refusal is.

        `second_for` is the preparation at whose present step they stand as the second person, and
        for no longer than that step. Raises NotHere for a code or badge that nobody has here,
        NotSignedIn with the sentence why not.
        """
        if not second_for:
            return self._attendance.sign_in(self.ward, code_or_badge, pin)
        prep, rules = self._at(second_for, None)
        return self._attendance.sign_in(
            self.ward, code_or_badge, pin, preparation=prep.id, step=_step(prep, rules)
        )

    def sign_out(self, code: str) -> None:
        """Let a person go from this station; recorded if they were here."""
        self._attendance.sign_out(code)
        if self.notary:
            self.notary.checkpoint()

    def permit(self, code: str, action: Action) -> StaffMember:
        """The person, who is signed in here and whom a role allows the act.

        Raises NotHere, NotSignedIn, or NotAllowed, which is recorded.
        """
        return self._attendance.allowed(self._attendance.present(self.ward, code), action)

    def order(self, id_: str) -> Order:
        """The order line as the medication record has it now. Raises NotHere."""
        order = self.ward.orders.get(id_)
        if order is None:
            known = ", ".join(self.ward.orders) or "none"
            raise NotHere(f"there is no order {id_!r}; orders here: {known}")
        return order

    def traits(self, order: Order, items: Sequence[Item]) -> frozenset[str]:
        """What about this order decides which steps are asked."""
        patient, unit = self.ward.patients.get(order.patient), self.ward.unit
        today = unit.local(self._clock()).date()
        born = patient.birth_date if patient else today
        child = born >= today or Age.between(born, today).months < 12 * ADULT
        return way_in.traits(order, items, self.ward.formulary, unit, child=child)

    def workflow_for(
        self, order: Order, container: str = "", sources: Sequence[str] = ()
    ) -> tuple[Workflow, tuple[Item, ...]]:
        """The workflow for the container that this order's drug comes in, or for its way in.

        An order that says how its dose runs in, or which drug goes with it, has its own workflow;
        `sources` are then the containers in hand, see `way_in.items_of`, whose drugs come back with
        it. Raises NotHere when there is none, or when several would do and none was named.
        """
        pens = self.ward.unit.word("insulin_pens_in_use") == "yes"
        flows = tuple(w for w in self.workflows.values() if pens or w.container != PEN)
        try:
            return way_in.chosen(order, flows, self.ward.formulary, container, sources)
        except way_in.NoWayIn as fault:
            raise NotHere(str(fault)) from fault

    # -- acts ----------------------------------------------------------------------------------

    def open(
        self, order_id: str, by: str, *, container: str = "", sources: Sequence[str] = ()
    ) -> Outcome:
        """Begin a preparation of an order in this person's hands.

        `container` and `sources` name what is in hand where the formulary leaves a choice: the
        container of the dose, and those that what is added to a bag or mixed comes in. Raises
        WorkflowFaults, with the path, when the workflow lets a required barrier be dodged.
        """
        return self._begun(self.order(order_id), by, container, sources)

    def open_call(self, call: Call, by: str, *, sources: Sequence[str] = ()) -> Outcome:
        """Begin a dose that a leader calls for in an emergency, before any order is written.

        Raises NotHere for a patient or leader whom the ward does not know.
        """
        self.person(call.leader)
        if call.patient not in self.ward.patients:
            raise NotHere(f"there is no patient {call.patient!r} on this ward")
        order = call.order(id_=f"{CALLED}{self._new_id()}", at=self._clock())
        return self._begun(order, by, "", sources)

    def attempt(
        self, id_: str, answers: Mapping[str, Answer], by: str, *, turn: int | None = None
    ) -> Outcome:
        """Try the present step with raw answers.

        An empty answer counts as none. `turn` is the turn the face last saw; when somebody else
        has moved the preparation on meanwhile, nothing is recorded and TurnTaken is raised.
        """
        prep, rules = self._at(id_, turn)
        spot = rules.layout.spots.get(prep.place)
        if spot is None:
            raise OutOfSequence("a reason stands here; take one of its ways out first")
        person = self._tries(prep, spot, by)
        fields = asked(prep, spot)
        if READS_THE_RECORD.intersection(spot.step.checks):
            self.ward = self._reload(self.ward)
        seen = read_answers(fields, answers, self.ward.unit, self._clock(), self.codes)
        seen = guarded(fields, seen, self._identifiers())
        around = self.surroundings(prep, person, spot)
        recorded, texts = sealed(fields, seen, self._new_id, prep.order.patient)
        event, found = engine.attempt(
            prep, rules, seen, around, self._stamp(by, channel_of(seen)), recorded=recorded
        )
        return self._recorded(prep, event, rules, texts, found)

    def remedy(
        self, id_: str, remedy: Remedy, by: str, *, note: str = "", turn: int | None = None
    ) -> Outcome:
        """Take a way out of what stands here."""
        prep, rules = self._at(id_, turn)
        self._hands(prep, rules, by)
        kept, texts = self._apart(prep, note)
        event = engine.remedied(prep, rules, remedy, self._stamp(by, Channel.CHOSEN), note=kept)
        outcome = self._recorded(prep, event, rules, texts)
        if remedy is Remedy.SECOND_PERSON:
            self._attendance.moved(prep.id, "")
        return outcome

    def proceed(
        self, id_: str, because: str, by: str, *, note: str = "", turn: int | None = None
    ) -> Outcome:
        """Go on past a caution with a listed reason.

        Whoever lets pass what the unit keeps for a second person has signed in for that.
        """
        prep, rules = self._at(id_, turn)
        kept = {one.code for one in prep.standing} & set(self.ward.unit.second_person_cautions)
        if kept and by != prep.preparer:
            person = self._attendance.second(self.ward, by, prep.id, _step(prep, rules))
            self._attendance.allowed(person, Action.RELEASE, prep.id)
        else:
            self._hands(prep, rules, by, onward=True)
        words, texts = self._apart(prep, note)
        event = engine.proceeded(
            prep,
            rules,
            because,
            self._stamp(by, Channel.CHOSEN),
            note=words,
            second_person=self.ward.unit.second_person_cautions,
        )
        return self._recorded(prep, event, rules, texts)

    def interrupt(self, id_: str, cause: str, by: str) -> Outcome:
        """Stop here because of `cause`, whatever the turn: a break is never refused."""
        prep, rules = self._at(id_, None)
        event = engine.interrupted(prep, rules, cause, self._stamp(by, Channel.CHOSEN))
        outcome = self._recorded(prep, event, rules)
        self._attendance.moved(prep.id, "")
        return outcome

    def explain(self, id_: str, cause: str, by: str) -> Outcome:
        """Tell what came in between, one of `beside.CAUSES`, once the break is recorded.

        Raises OutOfSequence where no break stands, NotOffered for another cause or a second one.
        """
        prep, rules = self._at(id_, None)
        self._hands(prep, rules, by)
        event = beside.explained(prep, cause, self._stamp(by, Channel.CHOSEN))
        return self._recorded(prep, event, rules)

    def resume(self, id_: str, by: str) -> Outcome:
        """Come back from a break, behind its re-verification."""
        prep, rules = self._at(id_, None)
        self._hands(prep, rules, by)
        event = engine.resumed(prep, rules, self._stamp(by, Channel.CHOSEN))
        return self._recorded(prep, event, rules)

    def leave(self, cause: str, by: str) -> tuple[str, ...]:
        """Interrupt, because of `cause`, each preparation that is in hand at this station.

        In hand is what was last moved on here and stands in the middle; gives the ids. What
        somebody has moved on elsewhere since is in other hands, and left alone.
        """
        held, self._in_hand = self._in_hand, {}
        left = []
        for id_, turn in held.items():
            prep, _ = self._at(id_, None)
            middle = turn > 0 and not prep.closed and not prep.place.endswith(f"/{INTERRUPTED}")
            if middle and not any(moves(one.event) for one in self.trail.of(id_, after=turn)):
                self.interrupt(id_, cause, by)
                left.append(id_)
        return tuple(left)

    def end(self, id_: str, because: str, by: str, *, note: str = "") -> Outcome:
        """End without giving, for a listed reason."""
        prep, rules = self._at(id_, None)
        self._hands(prep, rules, by)
        kept, texts = self._apart(prep, note)
        event = engine.ended(prep, rules, because, self._stamp(by, Channel.CHOSEN), note=kept)
        return self._recorded(prep, event, rules, texts)

    def note(
        self, id_: str, text: str, by: str, *, about: int | None = None, ours: bool = False
    ) -> Outcome:
        """Add a remark; nothing moves.

        A person's own words are kept apart, since they may name somebody; `ours` says that they are
        this program's own, which can stand in the chain.
        """
        prep, rules = self._at(id_, None)
        if not self._attendance.is_second(by, prep.id, _step(prep, rules)):
            self._attendance.present(self.ward, by)
        kept, texts = (text, ()) if ours else self._apart(prep, text)
        event = beside.noted(prep, kept, self._stamp(by, Channel.TYPED), about=about)
        return self._recorded(prep, event, rules, texts)

    def printed(self, id_: str, what: Mapping[str, str], by: str, *, turn: int) -> Outcome:
        """Record that something is put on paper, as it stood at `turn`. Nothing moves.

        A label is printed by who may prepare, a record with names by who may read them.

        Raises MovedOn when it stands elsewhere by now, NotOffered where no label is to be printed.
        """
        prep, rules = self._at(id_, None)
        person = self._attendance.present(self.ward, by)
        if what["what"] == "record":
            self._attendance.allowed(person, Action.READ_NAMES, prep.id)
        elif by != prep.preparer:
            self._attendance.allowed(person, self._preparing, prep.id)
        if prep.turn != turn:
            raise engine.MovedOn("this preparation has moved on meanwhile; print again")
        event = beside.printed(prep, what, self._stamp(by, Channel.CHOSEN))
        return self._recorded(prep, event, rules)

    def show_target(self, id_: str, by: str) -> tuple[Outcome, tuple[str, ...]]:
        """Show the working of the dose after a refused reading; that it was seen is recorded.

        Raises NotOffered where no reading of the volume has been refused.
        """
        prep, rules = self._at(id_, None)
        person = self._hands(prep, rules, by)
        codes = {s.code for s in prep.standing}
        if not codes & {"volume_over_target", "volume_under_target"}:
            raise engine.NotOffered("the working is shown only after a reading was refused")
        aim = target(prep, self.surroundings(prep, person, rules.layout.base(prep.place)))
        event = beside.shown(prep, "drawn_volume", self._stamp(by, Channel.CHOSEN))
        outcome = self._recorded(prep, event, rules)
        lines = aim.working.lines if aim else ("no working: order or product not known",)
        return outcome, lines

    @property
    def codes(self) -> CodeBook:
        """What is known here of codes: the scanner, wristbands, national numbers."""
        if self._book is None or self._book[0] is not self.ward.formulary:
            book = codes_of(self.ward.unit, self.ward.formulary, self.scanner)
            self._book = self.ward.formulary, book
        return self._book[1]

    def now(self) -> datetime:
        """The time on this station's clock, in UTC."""
        return self._clock()

    # -- looking -------------------------------------------------------------------------------

    def find(self, id_: str) -> Preparation:
        """The preparation as its entries have it. Raises NotHere when there is none."""
        return self._at(id_, None)[0]

    def screen(self, id_: str) -> Screen:
        """What to show for a preparation now."""
        prep, rules = self._at(id_, None)
        return screen_of(prep, rules)

    def rules_of(self, digest: str) -> Rules:
        """The rules of the workflow kept in the trail under this digest."""
        if digest not in self._rules:
            self._rules[digest] = Rules.of(from_text(self.trail.definition(digest)))
        return self._rules[digest]

    def surroundings(self, prep: Preparation, by: StaffMember, spot: Spot) -> Surroundings:
        """Everything around a preparation that its checks may look at, as of now."""
        rules = self.rules_of(prep.workflow)
        patient = self.ward.patients.get(prep.order.patient)
        again, asks = spot.place.endswith(f"/{REVERIFY}"), spot.step.checks
        unit = self.ward.unit
        counts, levels = "stock_count_holds" in asks, "level_is_what_is_booked" in asks
        return Surroundings(
            at=self._clock(),
            by=by,
            station=self.name,
            unit=unit,
            formulary=self.ward.formulary,
            limits=self.limits,
            staff=self.ward.staff,
            patient=patient,
            order_now=self.ward.orders.get(prep.order.id),
            others_open=self._others_open(prep, by) if "nothing_else_is_open" in asks else (),
            given_before=self._given_before(prep) if "dose_is_still_to_give" in asks else (),
            similar_name=patient is not None and self._has_twin(patient),
            container=rules.workflow.container,
            critical_break=again and spot.step.critical,
            booked=register.booked(unit.register, self.uses(), own=prep.id) if counts else {},
            liquids=register.levels(unit.liquids, self.uses(), own=prep.id) if levels else {},
            record={
                id_: o for id_, o in self.ward.orders.items() if o.patient == prep.order.patient
            },
            compatibility=self.ward.compatibility,
            practice=self._practice,
        )

    def uses(self) -> Iterator[tuple[str, register.Use]]:
        """What each preparation used up since the register was last written."""
        unit, products = self.ward.unit, self.ward.formulary.products
        liquids = {products[code].container for code in unit.liquids if code in products}
        for one in self.trail.opened_under(register.digest(unit.register)):
            rules = self.rules_of(one.workflow)
            if register.concerns(rules, liquids):
                told = partial(self.trail.of, one.preparation)
                yield one.preparation, self._uses.of(one.preparation, told, rules)

    def entries(self, id_: str) -> tuple[Entry, ...]:
        """Every entry of a preparation, in order. Raises NotHere when there is none."""
        entries = self.trail.of(id_)
        if not entries:
            raise NotHere(f"there is no preparation {id_!r} in this trail")
        return entries

    # -- inside --------------------------------------------------------------------------------

    def _begun(self, order: Order, by: str, container: str, sources: Sequence[str]) -> Outcome:
        person = self.permit(by, self._preparing)
        workflow, items = self.workflow_for(order, container, sources)
        rules = self._proved_rules(workflow, self.traits(order, items))
        self._keep(rules)
        event = engine.opened(
            order,
            rules,
            preparation=self._new_id(),
            stamp=self._stamp(person.code, Channel.ENGINE),
            settings=in_force(self.ward, rules.workflow, order, items),
        )
        return self._recorded(None, event, rules)

    def _proved_rules(self, workflow: Workflow, traits: frozenset[str]) -> Rules:
        """The rules of a workflow for an order with these traits, proved once and remembered."""
        key = (id(workflow), traits)
        if key not in self._proved:
            if faults := prove(workflow, self.required, traits).faults:
                raise WorkflowFaults(list(faults))
            # The workflow is held as well, so that its id is not given to another one.
            self._proved[key] = workflow, self._compiled(workflow.for_(traits))
        return self._proved[key][1]

    @property
    def _preparing(self) -> Action:
        return Action.PRACTISE if self._practice else Action.PREPARE

    def _tries(self, prep: Preparation, spot: Spot, by: str) -> StaffMember:
        """Who tries a step: signed in, a second person for this step alone, and allowed to.

        Where the step itself compares who may, its refusal is the answer, and it is recorded with
        its ways out; every other step is kept here.
        """
        who, asks = spot.step.who, spot.step.checks
        if who not in SECOND:
            person = self._attendance.present(self.ward, by)
            if "preparer_may_do_this" not in asks:
                self._attendance.allowed(person, self._preparing, prep.id)
            return person
        person = self._attendance.second(self.ward, by, prep.id, spot.place)
        compares, action = SECOND[who]
        if compares not in asks:
            self._attendance.allowed(person, action, prep.id)
            if by == prep.preparer:
                raise NotAllowed(f"{by} prepares this dose, so somebody else stands at this step")
        return person

    def _hands(
        self, prep: Preparation, rules: Rules, by: str, *, onward: bool = False
    ) -> StaffMember:
        """Who acts beside the steps: the second person who stands here, or one who may prepare.

        The preparer, who has the drug in hand, may always go back or out, whatever has become of
        their roles meanwhile; `onward` is for what leads past a caution.
        """
        step = _step(prep, rules)
        if self._attendance.is_second(by, prep.id, step):
            return self._attendance.second(self.ward, by, prep.id, step)
        person = self._attendance.present(self.ward, by)
        if by == prep.preparer and not onward:
            return person
        return self._attendance.allowed(person, self._preparing, prep.id)

    def _at(self, id_: str, turn: int | None) -> tuple[Preparation, Rules]:
        prep = self._folded.get(id_)
        if prep is None:
            entries = self.entries(id_)
            rules = self.rules_of(entries[0].event.body["workflow"])
            prep = replay(entries, rules)
        else:
            # What was folded here holds for good, since entries never change; another station may
            # have added some, and those are folded on.
            rules = self.rules_of(prep.workflow)
            for entry in self.trail.of(id_, after=prep.turn):
                prep = evolve(prep, entry, rules)
        self._hold(prep)
        if turn is not None and self._moved_since(id_, turn, prep):
            raise engine.MovedOn(
                "somebody else has moved this preparation on; look at where it stands now"
            )
        return prep, rules

    def _moved_since(self, id_: str, turn: int, prep: Preparation) -> bool:
        """Whether more was done since a turn than printing, which leaves every screen as it was."""
        if turn >= prep.turn:
            return turn > prep.turn
        return any(one.event.kind != "printed" for one in self.trail.of(id_, after=turn))

    def _hold(self, prep: Preparation) -> None:
        """Keep the fold of a preparation that is still under way; a closed one is let go."""
        if prep.closed:
            self._folded.pop(prep.id, None)
        else:
            self._folded[prep.id] = prep

    def _compiled(self, workflow: Workflow) -> Rules:
        rules = Rules.of(workflow)
        return self._rules.setdefault(rules.digest, rules)

    def _keep(self, rules: Rules) -> None:
        unit, workflow = self.ward.unit, rules.workflow
        if rules.digest not in self._kept:
            self.trail.keep(rules.digest, "workflow", workflow.name, rules.text)
        if unit.digest and unit.digest not in self._kept:
            self.trail.keep(unit.digest, "unit", unit.code, unit.text)
        self._kept |= {rules.digest, unit.digest}

    def _apart(self, prep: Preparation, note: str) -> tuple[str, tuple[SealedText, ...]]:
        """Words that somebody typed: they may name a person, so they are kept apart."""
        return sealed_note(note, self._new_id, prep.order.patient)

    def _stamp(self, by: str, channel: Channel) -> Stamp:
        return Stamp(
            id=self._new_id(),
            at=self._clock(),
            by=by,
            station=self.name,
            channel=self._via or channel,
        )

    def _others_open(self, prep: Preparation, by: StaffMember) -> tuple[str, ...]:
        return tuple(
            one.id
            for one in self.trail.open_preparations()
            if one.id != prep.id and (one.opened_by == by.code or one.station == self.name)
        )

    def _given_before(self, prep: Preparation) -> tuple[datetime, ...]:
        """When doses of this order line went in, by other preparations, ended ones included."""
        return tuple(
            at
            for id_ in self.trail.opened_for(prep.order.id)
            if id_ != prep.id
            for at in self._given_at(self.trail.of(id_))
        )

    def _given_at(self, entries: Sequence[Entry]) -> Iterator[datetime]:
        # Not the last entry: a note or a print may come long after the dose.
        if ends := [one.event.at for one in entries if one.event.lands == GIVEN]:
            yield ends[0]
            return
        other = replay(entries, self.rules_of(entries[0].event.body["workflow"]))
        moments = (other.time_of(field) for field in self.required.giving)
        yield from [at for at in moments if at is not None][:1]

    def _identifiers(self) -> tuple[str, ...]:
        return tuple(
            text
            for patient in self.ward.patients.values()
            for text in (
                patient.record_number,
                patient.birth_date.isoformat(),
                patient.name,
                *patient.band_numbers,
            )
        )

    def _has_twin(self, patient: Patient) -> bool:
        patients = self.ward.patients
        if self._bearers is None or self._bearers[0] is not patients:
            found: dict[str, set[str]] = {}
            for code, one in patients.items():
                for name in _names(one):
                    found.setdefault(name, set()).add(code)
            self._bearers = patients, found
        return any(self._bearers[1].get(name, set()) - {patient.code} for name in _names(patient))

    def _recorded(
        self,
        before: Preparation | None,
        event: Event,
        rules: Rules,
        texts: tuple[SealedText, ...] = (),
        found: tuple[Found, ...] = (),
    ) -> Outcome:
        notary = self.notary
        watched(self.trail, event, id_=self._new_id())
        entry = self.trail.append(event, texts, attest=notary.attest(event) if notary else None)
        prep = evolve(before, entry, rules)
        self._hold(prep)
        if moves(event):
            self._in_hand[prep.id] = prep.turn
        self._attendance.moved(prep.id, _step(prep, rules))
        if notary:
            notary.after(entry)
        return outcome_of(entry, prep, rules, found)


def moves(event: Event) -> bool:
    """Whether an event is work on the preparation, not a remark, a print or a look beside it."""
    return event.kind not in BESIDE


def _names(patient: Patient) -> set[str]:
    """The parts of a patient's name by which one may be taken for another."""
    return {n for n in patient.name.casefold().replace(",", " ").split() if len(n) > 3}


def _step(prep: Preparation, rules: Rules) -> str:
    """The place of the step where the preparation stands, or was stopped; "" once it is closed."""
    return "" if prep.closed else rules.layout.base(prep.place).place
