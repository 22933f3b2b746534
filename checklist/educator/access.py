"""Who may see a person's work and who may observe and decide: the one place that says so."""

from __future__ import annotations

from enum import StrEnum

from checklist.people import Role, StaffMember
from checklist.permission import MAY, Action, may


class Act(StrEnum):
    """What somebody asks to do with the work of people."""

    SEE = "see what a person did"
    OBSERVE = "observe a preparation"
    DECIDE = "decide on a person's competence"
    COMPARE = "compare observers"
    EXPORT = "export the events"


_ASKS = {
    Act.SEE: (Action.REVIEW_PERSON,),
    Act.OBSERVE: (Action.OBSERVE,),
    Act.DECIDE: (Action.OBSERVE,),
    Act.COMPARE: (Action.OBSERVE,),
    Act.EXPORT: (Action.REVIEW_PERSON, Action.EXPORT),
}
"""What a person has to be allowed, one of these, by the table of roles."""


def recorded_as(act: Act) -> str:
    """The word under which an act that was not allowed stands in the trail."""
    return _ASKS[act][0].value


class NotForYou(Exception):
    """Somebody asked for what is not theirs to see or do; the message says so plainly."""


def allow(by: StaffMember, act: Act, person: str = "") -> None:
    """Let an act pass, or raise NotForYou with a sentence. Whatever is not listed does not pass.

    `person` is the staff code of whoever it is about. A person sees their own work; nobody
    observes or decides on themselves.
    """
    if not by.active:
        raise NotForYou(f"{by.code} no longer works on this unit. Sign in with your own code.")
    own = bool(person) and by.code == person
    if own and act is Act.SEE:
        return
    if own and act in (Act.OBSERVE, Act.DECIDE):
        raise NotForYou(
            f"{by.code} cannot {act.value} of their own. Ask another educator of this unit."
        )
    asks = _ASKS.get(act, ())
    if any(may(by, action) for action in asks):
        return
    if act is Act.SEE:
        whose = f"What {person} did" if person else "What each person did"
        raise NotForYou(
            f"{whose} is shown to {person or 'that person'} and to the unit's educator only;"
            f" {by.code} is on record as {by.on_record_as}. Nothing was shown."
        )
    roles = " or ".join(role.said for role in Role if MAY[role] & frozenset(asks))
    raise NotForYou(
        f"To {act.value} takes the role {roles}; {by.code} is on record as"
        f" {by.on_record_as}. Nothing was recorded or shown."
    )
