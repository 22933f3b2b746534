"""Checks on vials for many doses: whose it is, when it was opened, what it is fit for."""

from __future__ import annotations

from datetime import date

from checklist.checks.patient import agrees
from checklist.checks.registry import check, reason
from checklist.observation import Identifier, Kind, Observation
from checklist.preparation import Preparation, Surroundings
from checklist.target import product_of
from checklist.timing import said_date
from checklist.verdict import Pass, Refusal, Remedy, Source, Tier, Verdict
from checklist.vial import discard_by, opened_on

MULTI_DOSE = Source(
    title="CDC, FAQs regarding safe practices for medical injections, multi-dose vials; USP <797>: "
    "28 days from the first entry unless the maker states otherwise"
)

NOT_MULTI = reason(
    "not_multi_dose",
    Tier.HARD,
    "The label says: {read}.",
    "Without a preservative germs grow in it from the first needle on.",
    "Take a vial whose label says that it is for many doses, or end here and use it for one dose.",
    Remedy.REPLACE_ITEM,
    Remedy.STOP,
    hazards="H16 H17",
    firm=True,
    source=MULTI_DOSE,
)
NO_DATE = reason(
    "mdv_opened_date_missing",
    Tier.HARD,
    "The dates on the vial are not right: {what}.",
    "Without both dates nobody knows how long needles have gone in and out.",
    "Write them as you open a new vial; discard an old one without them.",
    Remedy.REPLACE_ITEM,
    Remedy.RECHECK,
    hazards="H17",
    firm=True,
    source=MULTI_DOSE,
)
BEYOND_USE = reason(
    "mdv_beyond_use",
    Tier.HARD,
    "Opened {opened}; it was to be used through {last}.",
    "The preservative no longer holds germs back for sure.",
    "Discard it and take another.",
    Remedy.REPLACE_ITEM,
    hazards="H17",
    firm=True,
    source=MULTI_DOSE,
)
IN_PATIENT_AREA = reason(
    "mdv_in_patient_area",
    Tier.HARD,
    "A shared vial has been where patients are treated.",
    "Blood can get onto it and from there to the next patient.",
    "Discard it and take another.",
    Remedy.REPLACE_ITEM,
    hazards="H17",
    firm=True,
    source=MULTI_DOSE,
)
WRONG_PATIENT = reason(
    "mdv_wrong_patient",
    Tier.HARD,
    "{what}",
    "One person's vial is never used for another.",
    "Take this patient's own vial, or a shared one from the preparation area.",
    Remedy.REPLACE_ITEM,
    Remedy.RECHECK,
    hazards="H01 H17",
    firm=True,
    identity=True,
    source=MULTI_DOSE,
)
NEEDLE_LEFT = reason(
    "needle_left_in_stopper",
    Tier.HARD,
    "A needle or spike has been left in the stopper.",
    "It is an open door for germs.",
    "Discard the vial and take another.",
    Remedy.REPLACE_ITEM,
    hazards="H17",
    firm=True,
    source=Source(
        title="Hutin Y et al., Best infection control practices for injections, "
        "Bull WHO 2003;81:491-500"
    ),
)
IMPLAUSIBLE = reason(
    "mdv_volume_implausible",
    Tier.SOFT,
    "{what}: not so.",
    "Something was taken that nobody wrote down, or something was put in.",
    "Take another vial; with a controlled drug open the event.",
    Remedy.REPLACE_ITEM,
    Remedy.EVENT,
    hazards="H39",
)
REUSED = reason(
    "device_reused",
    Tier.HARD,
    "{what}: not so.",
    "A used needle or syringe carries one person's blood to the next.",
    "Discard it and take a new one; a vial that it entered is discarded too.",
    Remedy.REPLACE_ITEM,
    Remedy.DISCARD_RESTART,
    hazards="H17 H34",
    firm=True,
    source=MULTI_DOSE,
)
STORED = reason(
    "storage_after_use",
    Tier.SOFT,
    "{what}: not so.",
    "Out of its place it spoils, or is taken for its neighbour.",
    "Put it where it belongs, then answer again.",
    Remedy.ADJUST,
    hazards="H02 H49",
)

KINDS = ("for many doses", "for one dose", "it does not say")
NEW, OPENED = ("new, its cap on until now", "opened before")


@check(NOT_MULTI, dose_kind=Kind.CHOICE)
def vial_is_for_many_doses(seen: Observation, prep: Preparation, around: Surroundings) -> Verdict:
    """The label itself says that the vial is for many doses."""
    read = str(seen["dose_kind"].value)
    return Pass() if read == KINDS[0] else Refusal(NOT_MULTI, {"read": read})


@check(NO_DATE, BEYOND_USE, vial_state=Kind.CHOICE, vial_opened_on=Kind.DATE)
def opened_vial_may_still_be_used(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """A vial that was opened before carries its date, and today is within its life from then."""
    reading, today = seen.get("vial_opened_on"), around.unit.local(around.at).date()
    opened = reading.value if reading else None
    if seen["vial_state"].value == NEW:
        if opened is None:
            return Pass()
        return Refusal(NO_DATE, {"what": "a new vial has no opened date yet, and one was read"})
    if not isinstance(opened, date):
        return Refusal(NO_DATE, {"what": "the opened vial carries no opened date"})
    if not opened <= today:
        return Refusal(NO_DATE, {"what": "the opened date lies ahead"})
    last = _last_day(opened, prep, around)
    if last is not None and today <= last:
        return Pass()
    said = said_date(last) if last is not None else "an unknown day"
    return Refusal(BEYOND_USE, {"opened": said_date(opened), "last": said})


@check(WRONG_PATIENT, vial_patient=Kind.IDENTIFIER)
def vial_is_shared_or_this_patients(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """A vial with a patient's name or number on it is this patient's; one without is shared.

    Where the unit shares no vials, one without a name is nobody's.
    """
    reading, patient = seen.get("vial_patient"), around.patient
    if reading is None and around.unit.word("shared_mdv") == "never":
        return Refusal(
            WRONG_PATIENT, {"what": "This unit shares no vials, and this one has no name."}
        )
    if reading is None:
        return Pass()
    mine = reading.value
    if patient is not None and isinstance(mine, Identifier) and agrees(mine, patient):
        return Pass()
    return Refusal(WRONG_PATIENT, {"what": "The vial carries another patient's name or number."})


@check(NO_DATE, BEYOND_USE, vial_discard_by=Kind.DATE)
def discard_date_stands_on_the_vial(
    seen: Observation, prep: Preparation, around: Surroundings
) -> Verdict:
    """The date to discard by, as now written on the vial, is neither past nor too late."""
    written, begun = seen["vial_discard_by"].value, opened_on(prep, around)
    last = _last_day(begun, prep, around) if begun is not None else None
    if begun is None or last is None or not isinstance(written, date):
        return Refusal(NO_DATE, {"what": "the opened date is not known"})
    if not around.unit.local(around.at).date() <= written:
        return Refusal(BEYOND_USE, {"opened": said_date(begun), "last": said_date(written)})
    if written <= last:
        return Pass()
    what = "the discard-by date is later than its opening allows"
    return Refusal(NO_DATE, {"what": what})


def _last_day(opened: date, prep: Preparation, around: Surroundings) -> date | None:
    product, printed = product_of(prep, around), prep.latest("expiry")
    if product is None or printed is None or not isinstance(printed.value, date):
        return None
    return discard_by(opened, product, printed.value, around.unit)
