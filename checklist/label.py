"""What the label of a prepared dose must say, computed from the preparation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from checklist import device, label_parts, notation
from checklist.dose import discard
from checklist.dose.working import DoseFault
from checklist.preparation import Preparation, Surroundings
from checklist.quantity import Concentration, DimensionMismatch, Quantity
from checklist.target import ordered_dose, product_of, strength_in_force, target
from checklist.timing import said_date
from checklist.vial import diluent_used, mixed_until, vial_label

# Item of the label -> its words, in the order in which they are printed. The set is this project's
# default; the published sets that it was made from stand in tests/data/label_content.csv.
ITEMS: Mapping[str, str] = {
    "patient_name": "patient name",
    "identifiers": "second patient identifier",
    "drug": "medicine name",
    "dose": "amount of drug",
    "volume": "total volume",
    "concentration": "concentration",
    "diluent": "mixed with",
    **label_parts.ITEMS,
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
    "PEG": "gastrostomy tube",
    "INH": "to be inhaled",
}


# Whoever reports one of these has opened the container; the first that was reported counts.
OPENING = (
    "clean_break", "stopper_rubbed", "tab_off", "neck_clear", "activated", "cap_off",
    "overwrap_off",
    "bottle_open",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A label's content by item; an empty text means that the item could not be filled.

    `private` names the items that identify the patient. `due` are the items that this label must
    carry. `back` is for its back page: the working of the volume, line by line. `vial` is what is
    written on a vial that stays in use.
    """

    items: Mapping[str, str]
    due: tuple[str, ...]
    use_before: datetime | None
    back: tuple[str, ...] = ()
    vial: tuple[str, ...] = ()

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

    A mixed powder is not used past its life after mixing either, nor two drugs in one syringe past
    the time for which they go together, nor a device past a time of its own. None before anything
    was opened or any such time is known.
    """
    views = [prep, *(prep.of(item) for item in prep.items)]
    times = [next(filter(None, map(view.time_of, OPENING)), None) for view in views]
    began = min((at for at in times if at is not None), default=None)
    product = product_of(prep, around)
    limits = [around.unit.to_start(prep.order.route)]
    if product is not None and product.life_after_opening is not None:
        limits.append(product.life_after_opening)
    ends = (
        discard.use_before(began, *limits).until if began is not None else None,
        mixed_until(prep, around),
        label_parts.together_until(prep, around),
        device.until(prep, around),
    )
    return min((end for end in ends if end is not None), default=None)


def label(prep: Preparation, around: Surroundings) -> Label:
    """The label for the dose as drawn. Anything that is not known stays empty and is due."""
    patient, product = around.patient, product_of(prep, around)
    drawn = prep.latest("drawn_volume")
    volume = drawn.value if drawn and isinstance(drawn.value, Quantity) else None
    dose, limit = ordered_dose(prep, around), use_before(prep, around)
    strength = strength_in_force(prep, around)
    made = prep.time_of("drawn_volume") or prep.time_of("overwrap_off")
    more = label_parts.parts(prep, around)
    checker = prep.person_of("checker_volume")
    idle = {"checked_by": not checker, "diluent": product is None or product.powder is None}
    idle |= {name: name not in more for name in label_parts.ITEMS}
    due = tuple(name for name in ITEMS if not idle.get(name))
    items = {
        "patient_name": patient.name if patient else "",
        "identifiers": _identifiers(around) if patient else "",
        "drug": product.drug if product else "",
        "dose": "" if dose is None else str(dose),
        "volume": "" if volume is None else str(volume),
        "concentration": "" if strength is None else _each(strength),
        "diluent": diluent_used(prep, around),
        "route": ROUTE_WORDS.get(prep.order.route, ""),
        "prepared": _moment(made, around),
        "use_before": _moment(limit, around),
        "prepared_by": prep.preparer,
        "checked_by": checker,
        **more,
    }
    return Label(
        items=items,
        due=due,
        use_before=limit,
        back=_back(prep, around),
        vial=vial_label(prep, around),
    )


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


def _each(strength: Concentration) -> str:
    each = strength.per_mL
    return str(each.to("mg/mL") if each.unit == "g/mL" else each)


def _moment(at: datetime | None, around: Surroundings) -> str:
    if at is None:
        return ""
    local = around.unit.local(at)
    return f"{said_date(local.date())} {local:%H:%M}"


def time_left(prep: Preparation, around: Surroundings) -> timedelta | None:
    """How long until the dose must be begun; negative when past, None before opening."""
    limit = use_before(prep, around)
    return None if limit is None else limit - around.at
