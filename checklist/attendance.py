"""Who is here: signing in and out at a station, second persons, and leave to act; all recorded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime

from checklist import codec, lockout
from checklist.credential import Credentials
from checklist.intake.ward import Ward
from checklist.lockout import Lockout
from checklist.observation import Channel
from checklist.people import Role, StaffMember
from checklist.permission import MAY, Action, may
from checklist.preparation import Act, Entry
from checklist.timing import said_time, span
from checklist.trail import Trail
from checklist.unit import SignIn

UNPROVEN = "unproven"
"""Stands for the person in an act of somebody who did not prove who they are."""
UNKNOWN = "no member of staff has this code or badge on this unit"
"""What was typed is never told again: it may have been a PIN."""


class NotHere(Exception):
    """Something asked for is not known at this station: an order, a person, a preparation."""


class NotSignedIn(Exception):
    """Somebody acts, or wants to, without having proved who they are. The sentence says why."""


class NotAllowed(Exception):
    """None of the person's roles allows what was asked; that it was asked is recorded."""


class Attendance:
    """The people at one station.

    Two kinds of presence are kept apart. Whoever signs in plainly is here until they sign out or
    the station stops. Whoever signs in as a second person stands at one step of one preparation,
    and is gone as soon as that step is.
    """

    def __init__(
        self,
        trail: Trail,
        credentials: Credentials | None,
        *,
        clock: Callable[[], datetime],
        new_id: Callable[[], str],
        station: str,
        via: Channel | None = None,
    ) -> None:
        self._trail = trail
        self._credentials = credentials
        self._clock = clock
        self._new_id = new_id
        self._station = station
        self._via = via
        self._here: set[str] = set()
        self._lockouts = lockout.Remembered()
        self._second: dict[str, tuple[str, str]] = {}

    # -- in and out ----------------------------------------------------------------------------

    def sign_in(
        self,
        ward: Ward,
        code_or_badge: str,
        pin: str,
        *,
        preparation: str = "",
        step: str = "",
    ) -> StaffMember:
        """Sign a person in, for one step of a preparation where that is given.

        Raises NotHere for a code or badge that nobody has, NotSignedIn otherwise; either is
        recorded, without what was typed. CredentialFault when the PINs cannot be read.
        """
        at = {"preparation": preparation, "step": step}
        try:
            person = found(ward, code_or_badge)
        except NotHere:
            self._record("not_signed_in", UNPROVEN, {"person": "", "why": "unknown", **at})
            raise
        proof = self._proved(ward, person, pin, at)
        roles = [role.value for role in person.roles]
        body = {"person": person.code, "proof": proof, "roles": roles, **at}
        self._record("signed_in", person.code, body)
        if preparation:
            self._second[preparation] = (person.code, step)
        else:
            self._here.add(person.code)
        return person

    def proved(self, ward: Ward, code: str, pin: str) -> StaffMember:
        """The person, whose PIN fits, be it one that another has set: for setting an own one.

        Tries count as tries to sign in. Raises as `sign_in`.
        """
        person = known(ward, code)
        self._proved(ward, person, pin, {"preparation": "", "step": ""}, given=True)
        return person

    def sign_out(self, code: str) -> None:
        """Let a person go; nothing is recorded for one who is not here."""
        if code in self._here:
            self._here.discard(code)
            self._record("signed_out", code, {"person": code})

    def _proved(
        self,
        ward: Ward,
        person: StaffMember,
        pin: str,
        at: Mapping[str, str],
        *,
        given: bool = False,
    ) -> str:
        """What the person proved themselves with. Raises NotSignedIn, recorded.

        `given` says whether a PIN that another has set is enough.
        """

        def refused(why: str, sentence: str) -> NotSignedIn:
            self._record("not_signed_in", UNPROVEN, {"person": person.code, "why": why, **at})
            return NotSignedIn(sentence)

        if not person.active:
            raise refused("not active", f"{person.code} is no longer active on this unit")
        standing = self.lockout(person.code)
        if standing.holds(self._clock()):
            raise refused("locked", shut_out(person.code, standing, ward, self._clock()))
        if ward.unit.sign_in_with is not SignIn.PIN:
            return "code"
        keeper = self._credentials
        if keeper is None or not keeper.has(person.code):
            raise refused(
                "no pin", f"no PIN is set for {person.code}; ask an administrator for one"
            )
        if not keeper.fits(person.code, pin):
            raise self._wrong(ward, person, refused)
        if keeper.is_given(person.code) and not given:
            raise refused(
                "given pin",
                f"the PIN of {person.code} was set by somebody else; set your own first:"
                f" checklist people pin {person.code}",
            )
        return keeper.proof

    def _wrong(
        self, ward: Ward, person: StaffMember, refused: Callable[[str, str], NotSignedIn]
    ) -> NotSignedIn:
        """A PIN that does not fit: one more on end, and the last one shuts out."""
        fault = refused(
            lockout.WRONG_PIN, f"this PIN does not fit {person.code}; look at code and PIN again"
        )
        if self.lockout(person.code).wrong < ward.unit.pin_tries:
            return fault
        until = self._clock() + span(ward.unit.pin_lock)
        body = {"person": person.code, "until": codec.time_out(until), "why": "tries"}
        self._record("locked", UNPROVEN, body)
        return NotSignedIn(shut_out(person.code, self.lockout(person.code), ward, self._clock()))

    # -- leave to act --------------------------------------------------------------------------

    def lockout(self, code: str) -> Lockout:
        """How it stands with a person by the trail, whichever station wrote it."""
        return self._lockouts.of(self._trail.acts(lockout.KINDS), code)

    def present(self, ward: Ward, code: str) -> StaffMember:
        """The person, who is signed in here and not locked by hand. Raises NotHere, NotSignedIn."""
        person = known(ward, code)
        if person.code not in self._here:
            raise NotSignedIn(f"{person.code} is not signed in here; sign in first")
        return self._let(ward, person)

    def second(self, ward: Ward, code: str, preparation: str, step: str) -> StaffMember:
        """The person, who has signed in as second person for this step. Raises as `present`."""
        person = known(ward, code)
        if self._second.get(preparation) != (person.code, step):
            raise NotSignedIn(
                f"this step is for a second person; {person.code} signs in for it afresh, with"
                " their own PIN"
            )
        return self._let(ward, person)

    def is_second(self, code: str, preparation: str, step: str) -> bool:
        """Whether the person has signed in as second person for this step."""
        return self._second.get(preparation) == (code, step)

    def _let(self, ward: Ward, person: StaffMember) -> StaffMember:
        standing = self.lockout(person.code)
        if standing.for_good:
            self._here.discard(person.code)
            raise NotSignedIn(shut_out(person.code, standing, ward, self._clock()))
        if not person.active:
            raise NotSignedIn(f"{person.code} is no longer active on this unit")
        return person

    def allowed(self, person: StaffMember, action: Action, preparation: str = "") -> StaffMember:
        """The same person, whom a role allows the act. Raises NotAllowed, recorded."""
        if may(person, action):
            return person
        body = {"person": person.code, "action": action.value, "preparation": preparation}
        self._record("not_allowed", person.code, body)
        roles = " or ".join(role.said for role in Role if action in MAY[role])
        raise NotAllowed(
            f"{person.code} is on record as {person.on_record_as}; this asks for {roles}"
        )

    def moved(self, preparation: str, step: str) -> None:
        """Whoever stood at another step of the preparation than this is no longer there."""
        if preparation in self._second and self._second[preparation][1] != step:
            del self._second[preparation]

    def _record(self, kind: str, by: str, body: Mapping[str, object]) -> Entry:
        return self._trail.record(
            Act(
                id=self._new_id(),
                kind=kind,
                at=self._clock(),
                by=by,
                station=self._station,
                channel=(self._via or Channel.TYPED).value,
                body=body,
            )
        )


def found(ward: Ward, code_or_badge: str) -> StaffMember:
    """The member of staff with this code or badge. Raises NotHere for anybody else."""
    wanted = code_or_badge.strip()
    for person in ward.staff.values():
        if wanted and wanted in (person.code, person.badge):
            return person
    raise NotHere(UNKNOWN)


def known(ward: Ward, code: str) -> StaffMember:
    """The member of staff with this code. Raises NotHere."""
    if code not in ward.staff:
        raise NotHere(UNKNOWN)
    return ward.staff[code]


def shut_out(code: str, standing: Lockout, ward: Ward, at: datetime) -> str:
    """That a person is shut out, until when, and who can help."""
    if standing.until is None:
        return f"{code} is locked; ask a pharmacist or an administrator"
    until = said_time(standing.until, ward.unit, at)
    return (
        f"{code} is locked until {until}, after several PINs that did not fit; a pharmacist or an"
        " administrator can let them in before"
    )
