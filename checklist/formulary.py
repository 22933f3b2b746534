"""Drugs and the products the pharmacy supplies, with the limits that checks read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from checklist.quantity import Concentration, Quantity, Rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseRange:
    """Limits for one administration by one group of patients.

    `usual_low`, `usual_high` bound the usual single dose, `limit` is never passed. Each is an
    amount, or an amount per kg of body weight. None means that no figure is kept: not compared.
    """

    usual_low: Quantity | None = None
    usual_high: Quantity | None = None
    limit: Quantity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class InfusionLimits:
    """What holds for a drug once it is in a carrier fluid. None: no figure, not compared.

    `least` and `most` bound the final concentration, `rate_most` is the fastest rate, in an amount
    or in mL for a time, per kg or not. `inversions` is how often the filled container is turned
    over, 0 for the unit's own number. `overfill_matters` says that the fluid which a bag holds
    beyond its label has to be thought of. `life` is how long it may be used once mixed.
    """

    least: Concentration | None = None
    most: Concentration | None = None
    rate_most: Quantity | None = None
    inversions: int = 0
    overfill_matters: bool = False
    life: Quantity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Drug:
    """A drug as ordered, by its generic name in lower case."""

    name: str
    drug_class: str = ""
    controlled: bool = False
    high_alert: bool = False
    hazardous: bool = False
    lookalikes: tuple[str, ...] = ()
    allergy_classes: tuple[str, ...] = ()
    cross_classes: tuple[str, ...] = ()
    dose: DoseRange = DoseRange()
    min_interval: Quantity | None = None
    weight_based: bool = False
    pharmacy_only: bool = False
    max_rounding: Quantity | None = None
    infusion: InfusionLimits = InfusionLimits()


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixing:
    """How a powder is mixed for some routes, as its leaflet (`source`) tells.

    `diluents` names the fluids that may be used, `volume` is how much of one goes into each
    container, None where the leaflet does not say. `displacement` is how much the powder adds to
    that volume; `strength` is the strength after mixing as the label states it, which goes before
    any sum. Both may be None: not told. `methods` are the ways of mixing allowed. From `least` to
    `most` after the diluent went in it has to be dissolved; `life` is how long it may be used from
    then on. `vacuum` marks a container that draws the diluent in by itself, `kept` one whose rest
    may be kept for its life, `filtered` one that is drawn through a filter.
    """

    routes: tuple[str, ...]
    diluents: tuple[str, ...]
    volume: Quantity | None = None
    displacement: Quantity | None = None
    strength: Concentration | None = None
    methods: tuple[str, ...] = ()
    least: Quantity | None = None
    most: Quantity | None = None
    life: Quantity | None = None
    vacuum: bool = False
    kept: bool = False
    filtered: bool = False
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """One item on the shelf.

    `code` is its GTIN-14, or the pharmacy's own code when it has none. `container` is one of the
    engine's container names, or "fluid_bag" or "fluid_bottle" for a fluid that drugs are added to.
    `strength` is amount in volume as the label states it; `content` is the labelled volume of one
    container, `overfill` what it holds beyond that where the maker says so. `routes` are the route
    codes the label allows; `use` is "injection" unless the item is for another use. `chambers`
    marks a bag whose parts are mixed by breaking a seal, `suspension` what settles and is shaken.
    `preservative` names what keeps germs back in it, "" when it holds none; `life_in_use` is how
    long a container for many doses may be used after it was first opened, where the maker says so.
    `rounding` is the way a volume goes to a line of the syringe, `rounding_step` a step coarser
    than its lines, None for one line. `luer_fit` marks a plastic ampoule that fits straight on a
    syringe. `called` is what the label calls the item where that is not its drug and strength, such
    as "sodium chloride 0.9 %". `numbers` are national numbers that its code may carry, each behind
    its name: "ndc 01234-567-89".

    A device that comes filled has these: `scale_step`, what one line of its own scale stands for
    (mL, or what a pen counts), None when a part of it cannot be measured; `keeps_air`, a bubble
    that its leaflet keeps for the whole dose; `holder`, what a cartridge fits into; `needle` is
    "kit" when only the needle in its box will do. `prime` is pushed out before a dose, `hold` is
    how long it is held in the skin. A suspension is evened out by `resuspend_how` ("rolled", ...)
    for `resuspend_for`, a number of turns or a time.

    A powder has `powder`, the amount of drug in one container, and its `mixing`, one for each set
    of routes. Its `strength` and `content` are only what the first of these makes of it; what is
    in force for a preparation is told by `checklist.mixture`.
    """

    code: str
    drug: str
    container: str
    strength: Concentration
    content: Quantity
    form: str = "solution for injection"
    routes: tuple[str, ...] = ()
    use: str = "injection"
    viscous: bool = False
    concentrate: bool = False
    bulk_pack: bool = False
    filter_allowed: bool = True
    latex_free: bool = True
    ready_to_use: bool = False
    excipients: tuple[str, ...] = ()
    life_after_opening: Quantity | None = None
    rounding: Rounding = Rounding.HALF_UP
    rounding_step: Quantity | None = None
    overfill: Quantity | None = None
    chambers: bool = False
    suspension: bool = False
    preservative: str = ""
    life_in_use: Quantity | None = None
    luer_fit: bool = False
    called: str = ""
    scale_step: Quantity | None = None
    keeps_air: bool = False
    holder: str = ""
    needle: str = ""
    prime: Quantity | None = None
    hold: Quantity | None = None
    resuspend_how: str = ""
    resuspend_for: Quantity | None = None
    powder: Quantity | None = None
    mixing: tuple[Mixing, ...] = ()
    numbers: tuple[str, ...] = ()

    @property
    def said(self) -> str:
        """The item in words: what its label calls it, or its drug with strength or amount."""
        return self.called or f"{self.drug} {self.strength if self.powder is None else self.powder}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Formulary:
    """All drugs and products of a pharmacy, and the digest of the file they were read from."""

    drugs: Mapping[str, Drug] = field(default_factory=dict)
    products: Mapping[str, Product] = field(default_factory=dict)
    edition: str = ""
    digest: str = ""

    def drug(self, name: str) -> Drug | None:
        """The drug of that generic name, whatever its capitals; None when it is not kept."""
        return self.drugs.get(name.strip().lower())

    def of_drug(self, name: str) -> tuple[Product, ...]:
        """The products that hold this drug, in the order of their codes."""
        wanted = name.strip().lower()
        return tuple(p for _, p in sorted(self.products.items()) if p.drug == wanted)
