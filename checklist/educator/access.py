"""Who may see a person's work and who may observe and decide: the one place that says so."""

from __future__ import annotations

from enum import StrEnum

from checklist.people import Role, StaffMember


class Act(StrEnum):
    """What somebody asks to do with the work of people."""

    SEE = "see what a person did"
    OBSERVE = "observe a preparation"
    DECIDE = "decide on a person's competence"
    COMPARE = "compare observers"
    EXPORT = "export the events"


_BY_ROLE = {
    Act.SEE: (Role.EDUCATOR,),
    Act.OBSERVE: (Role.EDUCATOR,),
    Act.DECIDE: (Role.EDUCATOR,),
    Act.COMPARE: (Role.EDUCATOR,),
    Act.EXPORT: (Role.EDUCATOR, Role.QI_LEAD),
}


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
    if by.role in _BY_ROLE.get(act, ()):
        return
    if act is Act.SEE:
        whose = f"What {person} did" if person else "What each person did"
        raise NotForYou(
            f"{whose} is shown to {person or 'that person'} and to the unit's educator only;"
            f" {by.code} is signed in as {by.role.value.replace('_', ' ')}. Nothing was shown."
        )
    roles = " or ".join(role.value.replace("_", " ") for role in _BY_ROLE.get(act, ()))
    raise NotForYou(
        f"To {act.value} takes the role {roles}; {by.code} is signed in as"
        f" {by.role.value.replace('_', ' ')}. Nothing was recorded or shown."
    )
