"""The folder of a ward: its unit, staff, formulary and orders, read together or not at all."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from checklist import library
from checklist.compatibility import Compatibility
from checklist.formulary import Formulary
from checklist.intake import compatibility, exchange
from checklist.intake.codes import amiss
from checklist.intake.exchange import Exchange
from checklist.intake.fault import Fault, Faults, Findings
from checklist.intake.formulary import formulary_of_toml
from checklist.intake.formulary_csv import formulary_of_csv
from checklist.intake.orders import Orders, orders_of
from checklist.intake.staff import staff_of
from checklist.intake.unit import unit_of
from checklist.number import quoted
from checklist.order import Order, Patient
from checklist.people import StaffMember
from checklist.unit import Unit
from checklist.verdict import Tier

LONGEST_NAME = 400
"""Characters of a folder's name that are said in full."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ward:
    """Everything that the files of one ward say, without any fault.

    `formulary_text` is the formulary's file as stored; `formulary.digest`, `unit.digest` and
    `orders_digest` are the SHA-256 digests of the files' bytes in hex.
    """

    folder: Path
    unit: Unit
    staff: Mapping[str, StaffMember]
    formulary: Formulary
    formulary_text: str
    patients: Mapping[str, Patient]
    orders: Mapping[str, Order]
    orders_digest: str
    compatibility: Compatibility = field(default_factory=Compatibility)
    exchange: Exchange = field(default_factory=Exchange)


def load_ward(folder: Path, *, trade: Mapping[str, Tier] | None = None) -> Ward:
    """Read a ward's folder. Raises Faults with every fault of every file.

    `trade` maps each reason code to the trade's tier; left out, it is that of all checks. Other
    files in the folder are left alone, and nothing is ever written.
    """
    faults: list[Fault] = []
    try:
        there = folder.is_dir()
    except OSError:  # a name that is too long, or a folder that may not be looked into
        there = False
    if not there:
        name = str(folder) if len(str(folder)) <= LONGEST_NAME else f"{str(folder)[:40]}..."
        raise Faults([Fault(name, "", "There is no such folder. Look at its name.")])
    names = ("unit.toml", "staff.toml", _formulary_name(folder, faults), "orders.json")
    found = [Findings(name) for name in names]
    trade = _trade() if trade is None else trade
    unit = unit_of(folder / names[0], found[0], trade, library.settings())
    staff = staff_of(folder / names[1], found[1])
    read = formulary_of_csv if names[2].endswith(".csv") else formulary_of_toml
    shelves = read(folder / names[2], found[2], _own_containers(folder))
    orders = orders_of(folder / names[3], found[3])
    found.append(Findings(compatibility.FILE))
    together = compatibility.compatibility_of(
        folder / compatibility.FILE, found[4], shelves[0] if shelves else None
    )
    found.append(Findings(exchange.FILE))
    words = exchange.exchange_of(
        folder / exchange.FILE, found[5], shelves[0] if shelves and not found[2].faults else None
    )
    if unit is not None and shelves is not None and not found[2].faults:
        _products_of(unit, shelves[0], found[0])
        for place, sentence in amiss(unit, shelves[0]):
            found[2].add(place, sentence)
    if unit is not None and orders is not None:
        _numbers_of(unit, orders, found[3])
    faults += [fault for one in found for fault in one.faults]
    if faults or unit is None or shelves is None or orders is None:
        raise Faults(faults)
    if together is None or words is None:
        raise Faults(faults)
    return Ward(
        folder=folder,
        unit=unit,
        staff=staff,
        formulary=shelves[0],
        formulary_text=shelves[1],
        patients=orders.patients,
        orders=orders.orders,
        orders_digest=orders.digest,
        compatibility=together,
        exchange=words,
    )


def reload_orders(ward: Ward) -> Ward:
    """The ward with its orders and patients as the file says now; raises Faults as load_ward.

    The order is looked at again at the bedside, since it may have been stopped in between.
    """
    findings = Findings("orders.json")
    orders = orders_of(ward.folder / "orders.json", findings)
    if orders is not None:
        _numbers_of(ward.unit, orders, findings)
    if orders is None or findings.faults:
        raise Faults(findings.faults)
    return replace(
        ward, patients=orders.patients, orders=orders.orders, orders_digest=orders.digest
    )


def _trade() -> Mapping[str, Tier]:
    """The tier of each reason code that the checks may give."""
    from checklist.checks import REASONS

    return {code: reason.tier for code, reason in REASONS.items()}


def _formulary_name(folder: Path, faults: list[Fault]) -> str:
    """Which of the two forms of the formulary the folder has."""
    kept = [name for name in ("formulary.toml", "formulary.csv") if (folder / name).exists()]
    if len(kept) == 2:
        sentence = "There is a formulary.csv as well. Keep one of the two."
        faults.append(Fault("formulary.toml", "", sentence))
    return kept[0] if kept else "formulary.toml"


def _own_containers(folder: Path) -> frozenset[str]:
    """The containers that the ward's own workflows are for; their faults are told elsewhere."""
    own = set()
    for file in (folder / "workflows").glob("*.toml"):
        try:
            own.add(str(tomllib.loads(file.read_text(encoding="utf-8")).get("container", "")))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError):
            continue
    return frozenset(own - {""})


def _products_of(unit: Unit, formulary: Formulary, findings: Findings) -> None:
    """Faults of product codes in the unit's lists: one that matches nothing would guard nothing."""
    named = [("register", code) for code in unit.register]
    named += [("liquids", code) for code in unit.liquids]
    named += [("recalled", item.partition("/")[0]) for item in sorted(unit.recalled)]
    for place, code in named:
        if code not in formulary.products:
            sentence = "is not a product of the formulary. Read the code from its label again."
            findings.add(place, f"{quoted(code)} {sentence}")


def _numbers_of(unit: Unit, orders: Orders, findings: Findings) -> None:
    """Faults of record numbers that the unit's pattern would not tell from a name."""
    for patient in orders.patients.values():
        if not re.fullmatch(unit.record_number, patient.record_number):
            findings.add(
                f"patient ({patient.code}), record_number",
                f"It is not of the form {quoted(unit.record_number)} that unit.toml gives. Correct"
                " one of the two.",
            )
        for band in patient.band_numbers if unit.wristband else ():
            if not re.fullmatch(unit.wristband, band) and not re.fullmatch(r"[0-9]{18}", band):
                findings.add(
                    f"patient ({patient.code}), band_numbers",
                    f"It is not of the form {quoted(unit.wristband)} that unit.toml gives, and no"
                    " service relation number. Correct one of the two.",
                )
