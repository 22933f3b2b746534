"""What the label of a prepared dose must say, computed from the preparation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from checklist import notation
from checklist.dose import discard
from checklist.dose.working import DoseFault
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import DimensionMismatch, Quantity
from checklist.target import ordered_dose, product_of, target
from checklist.timing import said_date

# Item of the label -> its words, in the order in which they are printed. The set is this project's
# default; the published sets that it was made from stand in tests/data/label_content.csv.
ITEMS: Mapping[str, str] = {
    "patient_name": "patient name",
    "identifiers": "second patient identifier",
    "drug": "medicine name",
    "dose": "amount of drug",
    "volume": "total volume",
    "concentration": "concentration",
    "route": "route",
    "prepared": "date and time prepared",
    "use_before": "use before",
    "prepared_by": "prepared by",
    "checked_by": "checked by",
}
ROUTE_WORDS: Mapping[str, str] = {
    "IV": "intravenous",
    "IM": "intramuscular",
    "SC": "subcutaneous",
    "ID": "intradermal",
    "IT": "intrathecal",
    "EPI": "epidural",
    "PO": "by mouth",
    "NG": "nasogastric tube",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A label's content by item; an empty text means that the item could not be filled.

    `private` names the items that identify the patient. `due` are the items that this label must
    carry. `back` is for its back page: the working of the volume, line by line.
    """

    items: Mapping[str, str]
    due: tuple[str, ...]
    use_before: datetime | None
    back: tuple[str, ...] = ()

    private = ("patient_name", "identifiers")

    @property
    def missing(self) -> tuple[str, ...]:
        """The words for every item that is due and empty."""
        return tuple(ITEMS[name] for name in self.due if not self.items.get(name))

    @property
    def misreadable(self) -> tuple[str, ...]:
        """What in the label's own text breaks a writing rule, as sentences."""
        scopes = {"drug": ("drug_name", "dose_text"), "route": ("route",)}
        return tuple(
            str(fault)
            for name, text in self.items.items()
            if name in ("drug", "dose", "volume", "concentration", "route")
            for fault in notation.faults(text, scopes=scopes.get(name, ("dose_text",)))
        )

    def lines(self, *, private: bool = True) -> tuple[str, ...]:
        """The label's text, a line an item; without the patient's items unless `private`."""
        return tuple(
            f"{ITEMS[name]}: {self.items[name]}"
            for name in ITEMS
            if self.items.get(name) and (private or name not in self.private)
        )


def use_before(prep: Preparation, around: Surroundings) -> datetime | None:
    """The last moment to begin giving: opened plus the shorter of unit's and product's limit.

    None before anything was opened.
    """
    began = prep.time_of("clean_break") or prep.time_of("neck_clear")
    if began is None:
        return None
    product = product_of(prep, around)
    limits = [around.unit.prepared_to_start_limit]
    if product is not None and product.life_after_opening is not None:
        limits.append(product.life_after_opening)
    return discard.use_before(began, *limits).until


def label(prep: Preparation, around: Surroundings) -> Label:
    """The label for the dose as drawn. Anything that is not known stays empty and is due."""
    patient, product = around.patient, product_of(prep, around)
    drawn = prep.latest("drawn_volume")
    volume = drawn.value if drawn and isinstance(drawn.value, Quantity) else None
    dose, limit = ordered_dose(prep, around), use_before(prep, around)
    made = prep.time_of("drawn_volume")
    checker = prep.person_of("checker_volume")
    due = tuple(name for name in ITEMS if name != "checked_by" or checker)
    items = {
        "patient_name": patient.name if patient else "",
        "identifiers": _identifiers(around) if patient else "",
        "drug": product.drug if product else "",
        "dose": "" if dose is None else str(dose),
        "volume": "" if volume is None else str(volume),
        "concentration": str(product.strength.per_mL) if product else "",
        "route": ROUTE_WORDS.get(prep.order.route, ""),
        "prepared": _moment(made, around),
        "use_before": _moment(limit, around),
        "prepared_by": prep.preparer,
        "checked_by": checker,
    }
    return Label(items=items, due=due, use_before=limit, back=_back(prep, around))


def _back(prep: Preparation, around: Surroundings) -> tuple[str, ...]:
    """The working of the volume; empty where order and product do not belong together."""
    try:
        aim = target(prep, around)
    except (DimensionMismatch, DoseFault):
        return ()
    return aim.working.lines if aim is not None else ()


def _identifiers(around: Surroundings) -> str:
    patient = around.patient
    assert patient is not None
    return f"born {said_date(patient.birth_date)}, record {patient.record_number}"


def _moment(at: datetime | None, around: Surroundings) -> str:
    if at is None:
        return ""
    local = around.unit.local(at)
    return f"{said_date(local.date())} {local:%H:%M}"


def time_left(prep: Preparation, around: Surroundings) -> timedelta | None:
    """How long until the dose must be begun; negative when past, None before opening."""
    limit = use_before(prep, around)
    return None if limit is None else limit - around.at
