"""formulary.toml or formulary.csv: the drugs of a pharmacy and the products on its shelves.

As TOML, one [[drug]] and one [[product]] table each, and the `edition` above them:

    edition = "2026-11"

    [[drug]]
    name = "furosemide"                # generic name, small letters
    usual_low = "20 mg"                # single dose, or per kg: "2 mg/kg"; each may be left out
    usual_high = "40 mg"
    limit = "80 mg"
    min_interval = "6 h"

    [[product]]
    code = "09520007300114"            # item number (GTIN), or the pharmacy's own: "PH-104"
    drug = "furosemide"
    container = "glass_ampoule"
    strength = "20 mg in 2 mL"
    content = "2 mL"                   # labelled content of one container
    routes = ["IV", "IM"]

Further keys of a drug: drug_class, controlled, high_alert, hazardous, lookalikes, allergy_classes,
cross_classes, weight_based, pharmacy_only, max_rounding; and for one that runs in with a carrier
fluid final_least and final_most ("40 mmol/L"), rate_most ("10 mmol/h"), inversions, life_when_mixed
and overfill_matters. Of a product: form, use, viscous, concentrate, bulk_pack, filter_allowed,
latex_free, ready_to_use, excipients, life_after_opening, rounding ("half up", "down" or "up"),
rounding_step, overfill, chambers, suspension,
preservative ("benzyl alcohol"), life_in_use ("28 days", of a container for many doses), luer_fit (a
plastic ampoule that fits straight on a syringe), called (what the label calls a fluid, such as
"sodium chloride 0.9 %"), numbers (see `checklist.intake.codes`). A powder has powder and mixing
instead of strength and content: see `checklist.intake.mixing`. For what a filled device or a
suspension has besides, see `checklist.intake.device`.

As CSV, one row for each product, with the drug's columns repeated in each of its rows and the
column `edition` the same in all. The columns have the names above, except that the drug's name is
`drug`. Lists are separated by |, and yes or no stands for true or false. The separator is a comma
or a semicolon. What a spreadsheet has changed (an item number as 9.5E+12, a comma for the decimal
point) is refused, not put right.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any

from pydantic import Field

from checklist.formulary import DoseRange, Drug, Formulary, InfusionLimits, Mixing, Product
from checklist.intake.amount import dose_of, strength_of, time_of, volume_of
from checklist.intake.device import device_of
from checklist.intake.entry import PHARMACY_CODE
from checklist.intake.fault import Findings, NotAsWritten, Record, said_place
from checklist.intake.infusion import rate_of
from checklist.intake.mixing import POWDERS, mixing_of, powder_of
from checklist.intake.page import MAX_TOML, page, toml
from checklist.intake.route import ROUTES
from checklist.interop.gtin import GTIN_LENGTHS, gtin14
from checklist.mixture import mixed
from checklist.number import number as read_number
from checklist.number import quoted
from checklist.quantity import Concentration, Quantity, Rounding

CONTAINERS = (
    "glass_ampoule", "plastic_ampoule", "single_dose_vial", "multi_dose_vial", "powder_vial",
    "powder_ampoule", "prefilled_syringe", "cartridge_in_holder", "insulin_pen", "bag_additive",
    "auto_injector", "two_chamber_device", "depot_suspension", "pharmacy_syringe",
    "mixed_syringe", "enteral_liquid", "fluid_bag", "fluid_bottle", "premixed_bag", "nebule",
)  # fmt: skip
USES = (
    "injection", "inhalation", "oral", "topical", "irrigation", "eye", "ear", "nasal", "flushing",
)  # fmt: skip
ROUNDINGS = tuple(way.value for way in Rounding)
DRUG_NAME = r"[a-z][a-z0-9 (),.+'/-]{1,59}"

Line = Annotated[str, Field(min_length=1, max_length=80)]
Place = Callable[[Sequence[str | int]], str]


class DrugRecord(Record):
    """A drug as the file writes it."""

    name: Line
    drug_class: Line | None = None
    controlled: bool = False
    high_alert: bool = False
    hazardous: bool = False
    lookalikes: list[Line] = Field(default_factory=list)
    allergy_classes: list[Line] = Field(default_factory=list)
    cross_classes: list[Line] = Field(default_factory=list)
    usual_low: Line | None = None
    usual_high: Line | None = None
    limit: Line | None = None
    min_interval: Line | None = None
    weight_based: bool = False
    pharmacy_only: bool = False
    max_rounding: Line | None = None
    final_least: Line | None = None
    final_most: Line | None = None
    rate_most: Line | None = None
    inversions: Line | None = None
    overfill_matters: bool = False
    life_when_mixed: Line | None = None


class ProductRecord(Record):
    """A product as the file writes it."""

    code: Line
    drug: Line
    container: Line
    strength: Line | None = None
    content: Line | None = None
    form: Line = "solution for injection"
    routes: list[Line] = Field(default_factory=list)
    use: Line = "injection"
    viscous: bool = False
    concentrate: bool = False
    bulk_pack: bool = False
    filter_allowed: bool = True
    latex_free: bool = True
    ready_to_use: bool = False
    excipients: list[Line] = Field(default_factory=list)
    life_after_opening: Line | None = None
    rounding: Line = "half up"
    rounding_step: Line | None = None
    overfill: Line | None = None
    chambers: bool = False
    suspension: bool = False
    preservative: Line | None = None
    life_in_use: Line | None = None
    luer_fit: bool = False
    called: Line | None = None
    scale_step: Line | None = None
    keeps_air: bool = False
    holder: Line | None = None
    needle: Line | None = None
    prime: Line | None = None
    hold: Line | None = None
    resuspend_how: Line | None = None
    resuspend_for: Line | None = None
    powder: Line | None = None
    numbers: list[Line] = Field(default_factory=list)
    mixing: list[Any] = Field(default_factory=list)


class _Formulary(Record):
    edition: Line
    drug: list[Any] = Field(default_factory=list)
    product: list[Any] = Field(default_factory=list)


class Shelves:
    """The drugs and products gathered from one file, record by record.

    `containers` are those that a product may come in beside the usual ones.
    """

    def __init__(self, findings: Findings, containers: Collection[str] = ()) -> None:
        self._containers = (*CONTAINERS, *sorted(containers))
        self.drugs: dict[str, Drug] = {}
        self.products: dict[str, Product] = {}
        self.codes: set[str] = set()
        self._findings = findings
        self._named: dict[str, str] = {}
        self._first: dict[str, str] = {}

    def add_drug(self, raw: object, place: Place) -> None:
        """Take in a drug; what is amiss is noted at `place(key)`."""
        name = raw.get("name") if isinstance(raw, dict) else None
        if isinstance(name, str):  # known even when it has faults, or its products get one too
            self._named.setdefault(name, place([]))
        one = self._findings.check(DrugRecord, raw, place)
        if one is None:
            return
        if not re.fullmatch(DRUG_NAME, one.name):
            sentence = "is not a generic name in small letters. Write it like morphine."
            self._findings.add(place(["name"]), f"{quoted(one.name)} {sentence}")
        if one.name in self.drugs:
            sentence = f"The drug {quoted(one.name)} stands twice. Keep one."
            self._findings.add(place(["name"]), sentence)
            return
        self.drugs[one.name] = _drug(one, self._findings, place)

    def add_product(self, raw: object, place: Place) -> None:
        """Take in a product, after all drugs; what is amiss is noted at `place(key)`."""
        one = self._findings.check(ProductRecord, raw, place)
        if one is None:
            return
        if one.drug not in self._named:
            # No name is offered: the nearest drug name may well be a lookalike.
            sentence = "is not a drug of this file. Correct the name, or add the drug."
            self._findings.add(place(["drug"]), f"{quoted(one.drug)} {sentence}")
        code = self._findings.read(place(["code"]), product_code, one.code)
        if code is not None:
            self.codes.add(code)
            if not self._findings.once(place(["code"]), code, self._first, "The code"):
                return
        self._findings.listed(place(["container"]), one.container, self._containers)
        product = _product(one, code, self._findings, place)
        if product is not None:
            self.products[product.code] = product

    def formulary(self, edition: str, digest: str) -> Formulary:
        """All that was taken in."""
        return Formulary(
            drugs=MappingProxyType(self.drugs),
            products=MappingProxyType(self.products),
            edition=edition,
            digest=digest,
        )


def formulary_of_toml(
    path: Path, findings: Findings, containers: Collection[str] = ()
) -> tuple[Formulary, str] | None:
    """The formulary and the file's text; None, with faults, when the file cannot be read.

    `containers` are those of the ward's own workflows.
    """
    found = page(path, findings, longest=MAX_TOML)
    tables = toml(found.text, findings) if found else None
    top = findings.check(_Formulary, tables, said_place("")) if tables is not None else None
    if found is None or top is None:
        return None
    shelves = Shelves(findings, containers)
    for number, raw in enumerate(top.drug, start=1):
        shelves.add_drug(raw, said_place(_numbered("drug", number, raw, "name")))
    for number, raw in enumerate(top.product, start=1):
        shelves.add_product(raw, said_place(_numbered("product", number, raw, "code")))
    return shelves.formulary(top.edition, found.digest), found.text


def _numbered(what: str, number: int, raw: object, key: str) -> str:
    """The place of a record: its number, and its name or code when it has one."""
    name = raw.get(key) if isinstance(raw, dict) else None
    return f"{what} {number} ({name})" if isinstance(name, str) else f"{what} {number}"


def product_code(text: str) -> str:
    """The code of a product as the engine compares it: 14 figures, or the pharmacy's own."""
    if re.fullmatch(r"[0-9][0-9.,]*[eE]\+?[0-9]+", text):
        raise NotAsWritten(
            f"{quoted(text)} is an item number that a spreadsheet has cut short. Format the column"
            " as text and type the number again."
        )
    if re.fullmatch(PHARMACY_CODE, text):
        return text
    if re.fullmatch(r"[0-9]+", text) and len(text) not in GTIN_LENGTHS:
        raise NotAsWritten(
            f"{quoted(text)} has {len(text)} figures, and an item number has 8, 12, 13 or 14. A"
            " spreadsheet may have dropped zeros in front: format the column as text and type the"
            " number again."
        )
    return gtin14(text)


def _drug(one: DrugRecord, findings: Findings, place: Place) -> Drug:
    """The drug in the engine's own type; amounts with faults are left out and noted."""
    doses = {key: findings.read(place([key]), dose_of, getattr(one, key) or "") for key in _DOSES}
    stated = [(key, dose) for key, dose in doses.items() if dose is not None]
    for (low_key, low), (high_key, high) in pairwise(stated):
        if not low.alike(high):
            sentence = f"It is another kind of amount than {low_key}. Use one kind for all three."
            findings.add(place([high_key]), sentence)
        elif not low <= high:
            findings.add(place([high_key]), f"It is below {low_key}. Look at both again.")
    for key in ("lookalikes", "allergy_classes", "cross_classes"):
        for word in getattr(one, key):
            if not re.fullmatch(DRUG_NAME, word):
                findings.add(place([key]), f"{quoted(word)} is not in small letters. Write it so.")
    interval = findings.read(place(["min_interval"]), time_of, one.min_interval or "")
    rounding = findings.read(place(["max_rounding"]), dose_of, one.max_rounding or "")
    return Drug(
        name=one.name,
        drug_class=one.drug_class or "",
        controlled=one.controlled,
        high_alert=one.high_alert,
        hazardous=one.hazardous,
        lookalikes=tuple(one.lookalikes),
        allergy_classes=tuple(one.allergy_classes),
        cross_classes=tuple(one.cross_classes),
        dose=DoseRange(**doses),
        min_interval=interval,
        weight_based=one.weight_based,
        pharmacy_only=one.pharmacy_only,
        max_rounding=rounding,
        infusion=_limits(one, findings, place),
    )


def _limits(one: DrugRecord, findings: Findings, place: Place) -> InfusionLimits:
    """What holds for the drug in a carrier fluid."""
    least = findings.read(place(["final_least"]), strength_of, one.final_least or "")
    most = findings.read(place(["final_most"]), strength_of, one.final_most or "")
    if least is not None and most is not None:
        if not least.amount.alike(most.amount):
            findings.add(place(["final_most"]), "It is another kind of amount than final_least.")
        elif not least.per_mL <= most.per_mL:
            findings.add(place(["final_most"]), "It is below final_least. Look at both again.")
    return InfusionLimits(
        least=least,
        most=most,
        rate_most=findings.read(place(["rate_most"]), rate_of, one.rate_most or ""),
        inversions=findings.read(place(["inversions"]), _times, one.inversions or "") or 0,
        overfill_matters=one.overfill_matters,
        life=findings.read(place(["life_when_mixed"]), time_of, one.life_when_mixed or ""),
    )


_DOSES = ("usual_low", "usual_high", "limit")


def _product(
    one: ProductRecord, code: str | None, findings: Findings, place: Place
) -> Product | None:
    """The product in the engine's own type; None, with faults, when it cannot be made."""
    known = findings.listed(place(["use"]), one.use, USES)
    for route in one.routes:
        known &= findings.listed(place(["routes"]), route, ROUTES)
    if one.use == "injection" and not one.routes:
        findings.add(place(["routes"]), "There is no route. Write those of the label, like IV.")
    powder = powder_of(one.powder, one.container, findings, place)
    mixing = mixing_of(one.mixing, powder, one.routes, findings, place)
    strength, content = _strength(one, findings, place)
    if powder is not None:
        strength, content = _once_mixed(powder, mixing)
    life = findings.read(place(["life_after_opening"]), time_of, one.life_after_opening or "")
    step = findings.read(place(["rounding_step"]), volume_of, one.rounding_step or "")
    known &= findings.listed(place(["rounding"]), one.rounding, ROUNDINGS)
    device = device_of(one, strength, content, findings, place)
    if code is None or strength is None or content is None or not known:
        return None
    return Product(
        code=code,
        drug=one.drug,
        container=one.container,
        strength=strength,
        content=content,
        form=one.form,
        routes=tuple(one.routes),
        use=one.use,
        viscous=one.viscous,
        concentrate=one.concentrate,
        bulk_pack=one.bulk_pack,
        filter_allowed=one.filter_allowed,
        latex_free=one.latex_free,
        ready_to_use=one.ready_to_use,
        excipients=tuple(one.excipients),
        life_after_opening=life,
        rounding=Rounding(one.rounding),
        rounding_step=step,
        overfill=findings.read(place(["overfill"]), volume_of, one.overfill or ""),
        chambers=one.chambers,
        suspension=one.suspension,
        preservative=one.preservative or "",
        life_in_use=findings.read(place(["life_in_use"]), time_of, one.life_in_use or ""),
        luer_fit=one.luer_fit,
        called=one.called or "",
        powder=powder,
        mixing=mixing,
        numbers=tuple(one.numbers),
        **device,
    )


def _strength(
    one: ProductRecord, findings: Findings, place: Place
) -> tuple[Concentration | None, Quantity | None]:
    """Strength and content of a liquid; a powder has neither on its label."""
    for key in ("strength", "content"):
        if one.powder and getattr(one, key):
            sentence = "A powder has this only once it is mixed. Write it under mixing."
            findings.add(place([key]), sentence)
        elif one.container not in POWDERS and not one.powder and not getattr(one, key):
            findings.add(place([key]), "It is not there. Add it.")
    return (
        findings.read(place(["strength"]), strength_of, one.strength or ""),
        findings.read(place(["content"]), volume_of, one.content or ""),
    )


def _once_mixed(powder: Quantity, mixing: tuple[Mixing, ...]) -> tuple[Concentration, Quantity]:
    """Strength and content by the first way of mixing; by 1 mL where none is told.

    Only what takes the two together may lean on them, such as the number of containers.
    """
    mixture = mixed(powder, mixing[0]) if mixing else None
    if mixture is None:
        return Concentration(amount=powder, per=_ONE), _ONE
    return mixture.strength, mixture.content


_ONE = Quantity.of(1, "mL")


def _times(text: str) -> int:
    """How often something is done: a whole number from 1 to 40."""
    many = read_number(text)
    if many.denominator != 1 or not 1 <= many <= 40:
        raise NotAsWritten(f'{quoted(text)} is not a number of times. Write it like "10".')
    return many.numerator
