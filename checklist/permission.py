"""Who may do what: one table of roles and acts, and nothing that is not in it."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from checklist.people import Role, StaffMember


class Action(StrEnum):
    """What a person may be allowed to do here."""

    PREPARE = "prepare"
    """Open a preparation, make its steps, give the dose, end it."""
    PRACTISE = "practise"
    """The same where nothing counts."""
    LEAD = "lead"
    """Call for a dose in an emergency."""
    CHECK = "check"
    """Stand as the independent second person."""
    WITNESS = "witness"
    """See what is counted and wasted of a controlled drug."""
    RELEASE = "release"
    """Let a caution pass that the unit keeps for a second person."""
    OBSERVE = "observe"
    """Record what was seen of a colleague's technique."""
    REVIEW_PERSON = "review_person"
    """Read one person's preparations, for coaching."""
    READ_NEAR_MISSES = "read_near_misses"
    """Read what was caught, over all preparations and without persons."""
    READ_NAMES = "read_names"
    """See the names and identifiers that are kept apart."""
    KEEP_WORKFLOWS = "keep_workflows"
    """Approve workflows, formulary and the unit's limits."""
    KEEP_PEOPLE = "keep_people"
    """Add a person, and change roles and competency."""
    LOCK_PEOPLE = "lock_people"
    """Shut a person out, and let them in again."""
    RESET_PIN = "reset_pin"
    """Give another person a PIN for one sign-in."""
    TRY_SCANNER = "try_scanner"
    """Try the scanner of a station, and keep what it does."""
    ERASE = "erase"
    """Erase what identifies a person."""
    VERIFY = "verify"
    """Verify the trail, and show one preparation without names."""
    CHECKPOINT = "checkpoint"
    """Make the trail's head to be kept elsewhere."""
    KEEP_LINES = "keep_lines"
    """Freeze the line that a chart's later points are judged by, with a reason."""
    EXPORT = "export"
    """Take data out, without names."""
    KEEP_TRAIL = "keep_trail"
    """Back up, restore, migrate and dispose."""


_A = Action
MAY: Mapping[Role, frozenset[Action]] = MappingProxyType(
    {
        Role.PREPARER: frozenset({_A.PREPARE, _A.PRACTISE, _A.VERIFY, _A.TRY_SCANNER}),
        Role.CHECKER: frozenset({_A.CHECK, _A.RELEASE, _A.PRACTISE, _A.VERIFY}),
        Role.WITNESS: frozenset({_A.WITNESS, _A.PRACTISE, _A.VERIFY}),
        Role.LEADER: frozenset({_A.LEAD, _A.PRACTISE, _A.VERIFY}),
        Role.EDUCATOR: frozenset(
            {_A.OBSERVE, _A.REVIEW_PERSON, _A.READ_NEAR_MISSES, _A.PRACTISE, _A.VERIFY}
        ),
        Role.QI_LEAD: frozenset(
            {_A.READ_NEAR_MISSES, _A.KEEP_LINES, _A.EXPORT, _A.VERIFY, _A.CHECKPOINT}
        ),
        Role.PHARMACIST: frozenset(
            {
                _A.KEEP_WORKFLOWS, _A.KEEP_PEOPLE, _A.LOCK_PEOPLE, _A.RESET_PIN, _A.RELEASE,
                _A.READ_NEAR_MISSES, _A.READ_NAMES, _A.EXPORT, _A.PRACTISE, _A.VERIFY,
                _A.CHECKPOINT, _A.TRY_SCANNER,
            }
        ),
        Role.ADMINISTRATOR: frozenset(
            {
                _A.KEEP_PEOPLE, _A.LOCK_PEOPLE, _A.RESET_PIN, _A.ERASE, _A.KEEP_TRAIL, _A.VERIFY,
                _A.CHECKPOINT, _A.TRY_SCANNER,
            }
        ),
        Role.TRAINEE: frozenset({_A.PRACTISE}),
    }
)  # fmt: skip
"""Each role and all that it allows. Common practice, no source: a site changes it with its own
policy at hand. What the parts come to: who keeps the people prepares nothing by it; who works on
figures sees no person; who coaches a person takes no data out."""


def may(person: StaffMember, action: Action) -> bool:
    """Whether one of the person's roles allows the act; never for somebody who is not active."""
    return person.active and any(action in MAY.get(role, frozenset()) for role in person.roles)
