"""The closed table of units: their UCUM codes, what they convert to, how they are shown and typed.

Codes and factors: Unified Code for Units of Measure (UCUM), https://ucum.org. Words that must not
be typed: Joint Commission, Official Do Not Use List (2017); ISMP, List of Error-Prone
Abbreviations, Symbols, and Dose Designations (2021 edition, partly from memory).
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from checklist.number import quoted

MAX_BELOW = 3
"""Most units that may stand under a stroke: ug/kg/min has two."""


class UnitFault(ValueError):
    """A unit is not in the table, or is written in a way that is misread."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Atom:
    """One unit that codes are built from.

    kind: what it measures; only atoms of one kind convert. factor: how many of the kind's first
    unit it is, exactly. shown/shown_many and said/said_many: one and several of it, for reading
    and for saying. typed: the words that people may type for it.
    """

    code: str
    kind: str
    factor: Fraction
    shown: str
    shown_many: str
    said: str
    said_many: str
    typed: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit: one atom, over none or more atoms.

    dimension: the kind above and the sorted kinds below, kept apart, so that mg/kg is no bare
    number. factor: how many of the first units of its kinds it is, exactly.
    """

    code: str
    above: Atom
    below: tuple[Atom, ...]
    factor: Fraction
    dimension: tuple[str, tuple[str, ...]]

    @property
    def meaning(self) -> str:
        """What the unit measures, in words: "a mass per body surface"."""
        below = "".join(f" per {KINDS[atom.kind][1]}" for atom in self.below)
        return f"{KINDS[self.above.kind][0]}{below}"

    def shown(self, many: bool) -> str:
        """The unit as it is read: "mg/mL", "units/h", "per day"; empty for a bare count."""
        below = "/".join(atom.shown for atom in self.below)
        if self.above.code == "1":
            return f"per {below}" if below else ""
        above = self.above.shown_many if many else self.above.shown
        return f"{above}/{below}" if below else above

    def said(self, many: bool) -> str:
        """The unit as it is said: "milligrams per millilitre"; empty for a bare count."""
        below = "".join(f" per {atom.said}" for atom in self.below)
        return f"{self.above.said_many if many else self.above.said}{below}".strip()


KINDS = {
    "mass": ("a mass", "mass"),
    "volume": ("a volume", "volume"),
    "international unit": ("a number of international units", "international unit"),
    "drug unit": ("a number of the drug's own units", "unit"),
    "usp unit": ("a number of USP units", "USP unit"),
    "mole": ("an amount in moles", "mole"),
    "equivalent": ("an amount in equivalents", "equivalent"),
    "osmole": ("an amount in osmoles", "osmole"),
    "time": ("a time", "time"),
    "calendar": ("a time in calendar months", "calendar month"),
    "length": ("a length", "length"),
    "area": ("a body surface", "body surface"),
    "temperature": ("a temperature", "degree"),
    "number": ("a count", "one"),
    "drop": ("a number of drops", "drop"),
    "vial": ("a number of vials", "vial"),
    "ampoule": ("a number of ampoules", "ampoule"),
    "tablet": ("a number of tablets", "tablet"),
    "dose": ("a number of doses", "dose"),
    "pound": ("a weight in pounds", "pound"),
    "ounce": ("a weight in ounces", "ounce"),
    "teaspoon": ("a number of teaspoons", "teaspoon"),
    "tablespoon": ("a number of tablespoons", "tablespoon"),
    "fluid ounce": ("a number of fluid ounces", "fluid ounce"),
}
"""What each kind is called: alone, and after "per"."""

# Pounds and kitchen measures are kinds of their own: books differ on their factor (2.2, 2.205 or
# 2.20462 pounds to the kilogram; 14.79 or 15 mL to the tablespoon), so it has to be stated.
# Months have no fixed number of days. An inch is 25.4 mm by definition.
# code | kind | factor | shown (one/many) | said if otherwise (one/many) | typed besides these words
_TABLE = """
g | mass | 1 | g | gram |
kg | mass | 1000 | kg | kilogram |
mg | mass | 1/1000 | mg | milligram |
ug | mass | 1/1000000 | microgram | microgram | mcg
ng | mass | 1/1000000000 | nanogram | nanogram |
mL | volume | 1 | mL | millilitre | milliliter, milliliters
L | volume | 1000 | L | litre | liter, liters
dL | volume | 100 | dL | decilitre |
uL | volume | 1/1000 | microlitre | microlitre | microliter, microliters
[iU] | international unit | 1 | international unit/international units | international unit |
k[iU] | international unit | 1000 | thousand international units | |
10*6.[iU] | international unit | 1000000 | million international units | |
{unit} | drug unit | 1 | unit/units | unit |
10*6.{unit} | drug unit | 1000000 | million units | |
[USP'U] | usp unit | 1 | USP unit/USP units | U S P unit |
mmol | mole | 1 | mmol | millimole |
mol | mole | 1000 | mol | mole |
umol | mole | 1/1000 | micromol | micromole |
meq | equivalent | 1 | mEq | milliequivalent |
eq | equivalent | 1000 | Eq | equivalent |
mosm | osmole | 1 | mOsm | milliosmole |
s | time | 1 | s | second |
min | time | 60 | min | minute |
h | time | 3600 | h | hour |
d | time | 86400 | day/days | day |
wk | time | 604800 | week/weeks | week |
mo | calendar | 1 | month/months | month |
a | calendar | 12 | year/years | year |
m | length | 1 | m | metre | meter, meters
cm | length | 1/100 | cm | centimetre | centimeter, centimeters
mm | length | 1/1000 | mm | millimetre | millimeter, millimeters
um | length | 1/1000000 | micrometre | micrometre | micron, microns
[in_i] | length | 127/5000 | inch/inches | inch/inches |
m2 | area | 1 | m2 | square metre |
Cel | temperature | 1 | degrees C | degree Celsius/degrees Celsius | degC
1 | number | 1 | | |
{drop} | drop | 1 | drop/drops | drop |
{vial} | vial | 1 | vial/vials | vial |
{ampoule} | ampoule | 1 | ampoule/ampoules | ampoule |
{tablet} | tablet | 1 | tablet/tablets | tablet |
{dose} | dose | 1 | dose/doses | dose |
[lb_av] | pound | 1 | pound/pounds | pound |
[oz_av] | ounce | 1 | ounce/ounces | ounce |
[tsp_us] | teaspoon | 1 | teaspoon/teaspoons | teaspoon |
[tbs_us] | tablespoon | 1 | tablespoon/tablespoons | tablespoon |
[foz_us] | fluid ounce | 1 | fluid ounce/fluid ounces | fluid ounce |
"""


def _atom(line: str) -> Atom:
    code, kind, factor, show, say, more = (cell.strip() for cell in line.split("|"))
    shown, _, shown_many = show.partition("/")
    said, _, said_many = say.partition("/")
    shown_many = shown_many or shown
    said_many = said_many or (f"{said}s" if said else shown)
    said = said or shown
    words = {shown, shown_many, said, said_many, *(word.strip() for word in more.split(","))} - {""}
    return Atom(
        code=code, kind=kind, factor=Fraction(factor), shown=shown, shown_many=shown_many,
        said=said, said_many=said_many, typed=tuple(sorted(words)),
    )  # fmt: skip


ATOMS = {atom.code: atom for atom in map(_atom, _TABLE.strip().splitlines())}
_TYPED = {word: atom.code for atom in ATOMS.values() for word in atom.typed}

_MISREAD = {
    "units": ("U", "u", "IU", "iu", "I.U.", "UI"),
    "microgram": ("ug", "µg", "μg", "mcgs", "mcg.", "ugs"),
    "nanogram": ("ng",),
    "mL": ("cc", "ml", "ML", "mls", "mLs", "mL."),
    "L": ("l",),
    "mg": ("mgs", "mg.", "MG", "Mg"),
    "g": ("gm", "gms", "Gm", "G"),
    "the metric unit": ("gr", "dr", "min."),
    "kg": ("Kg", "KG", "kgs"),
    "mEq": ("meq", "mEqs", "MEQ"),
    "million units": ("M", "MU", "MM"),
    "drops": ("gtt", "gtts"),
    "pounds": ("lb", "lbs"),
    "teaspoons": ("tsp",),
    "tablespoons": ("tbsp",),
}
_INSTEAD = {word: instead for instead, words in _MISREAD.items() for word in words}

_REFUSED_CODES = {
    "U": "U is the enzyme unit. A drug's own units have the code {unit}.",
    "IU": "IU is no code. International units have the code [iU].",
    "mcg": "mcg is no code. Micrograms have the code ug.",
    "cc": "cc is no code. Millilitres have the code mL.",
    "ml": "Millilitres have the code mL here, with a capital L.",
    "[drp]": "[drp] is fixed at 20 drops to the mL, and sets differ. Drops have the code {drop}.",
    "%": "A percentage does not say of what. State the amount and the volume.",
}


@lru_cache(maxsize=1024)
def unit(code: str) -> Unit:
    """The unit with this UCUM code, such as "mg/mL" or "[iU]/kg/h"; UnitFault for any other."""
    if not isinstance(code, str):
        raise TypeError(f"A unit code is text, never {type(code).__name__}.")
    above, *below = code.split("/")
    for part in (above, *below):
        if part in _REFUSED_CODES:
            raise UnitFault(_REFUSED_CODES[part])
        if part not in ATOMS:
            raise UnitFault(f"{quoted(code)} is not a unit code on the list. Use one of the list.")
    if len(below) > MAX_BELOW or "1" in below:
        raise UnitFault(f"{quoted(code)} is not a unit code on the list. Use one of the list.")
    atoms = [ATOMS[part] for part in below]
    factor = ATOMS[above].factor
    for atom in atoms:
        factor /= atom.factor
    return Unit(
        code=code, above=ATOMS[above], below=tuple(atoms), factor=factor,
        dimension=(ATOMS[above].kind, tuple(sorted(atom.kind for atom in atoms))),
    )  # fmt: skip


def written(text: str) -> str:
    """The UCUM code of a unit as people write it: "mcg/kg/min" is ug/kg/min.

    Words that are often misread (U, ug, cc and the like) are refused with what to write instead,
    and so is a percent sign. Raises UnitFault.
    """
    codes = []
    for word in text.replace(" per ", "/").split("/"):
        if word in _INSTEAD:
            raise UnitFault(f"{quoted(word)} is easily misread. Write {_INSTEAD[word]}.")
        if "%" in word:
            raise UnitFault(f"{quoted(text)} does not say of what. Write the amount and volume.")
        if word not in _TYPED:
            raise UnitFault(f"{quoted(text)} is not a unit on the list, like mg, mL or units.")
        codes.append(_TYPED[word])
    return unit("/".join(codes)).code


@lru_cache(maxsize=1024)
def shown(code: str, many: bool) -> str:
    """The unit of this code as it is read, see `Unit.shown`; UnitFault for any other."""
    return unit(code).shown(many)


@lru_cache(maxsize=1024)
def times(first: str, then: str) -> tuple[str, Fraction]:
    """The code of the product of two codes and the factor to multiply by; see `_joined`."""
    a, b = unit(first), unit(then)
    return _joined(a, b, [b.above], list(b.below), "times")


@lru_cache(maxsize=1024)
def over(first: str, then: str) -> tuple[str, Fraction]:
    """The code of the quotient of two codes and the factor to multiply by; see `_joined`."""
    a, b = unit(first), unit(then)
    return _joined(a, b, list(b.below), [b.above], "divided by")


def per(a: Unit, b: Unit) -> str:
    """The code of a for each b, nothing cancelled: mg per kg is mg/kg."""
    if b.below or b.above.code == "1":
        raise UnitFault(f"{a.code} per {b.code} is not a unit. Use a plain unit after per.")
    return unit(f"{a.code}/{b.code}").code


def _joined(
    a: Unit, b: Unit, tops: list[Atom], bottoms: list[Atom], word: str
) -> tuple[str, Fraction]:
    """Multiply a by tops over bottoms, cancelling only across the two.

    What stands above on one side cancels what stands below on the other when the kinds agree, the
    same unit first. Inside one unit nothing cancels, so mg/kg stays mg/kg. A result with two units
    above (mg times mg) means nothing in a dose sum: UnitFault.
    """
    above, below, factor = [a.above], list(a.below), Fraction(1)
    for highs, lows in ((above, bottoms), (tops, below)):
        for high in tuple(highs):
            alike = [low for low in lows if low.kind == high.kind]
            if alike:
                low = next((low for low in alike if low.code == high.code), alike[0])
                factor *= high.factor / low.factor
                highs.remove(high)
                lows.remove(low)
    over_all = [atom.code for atom in (*above, *tops) if atom.code != "1"]
    under_all = [atom.code for atom in (*below, *bottoms) if atom.code != "1"]
    if len(over_all) > 1 or len(under_all) > MAX_BELOW:
        raise UnitFault(f"{a.code} {word} {b.code} has no meaning in a dose sum. Check the units.")
    return unit("/".join((*(over_all or ["1"]), *under_all))).code, factor


def looks_written(text: str) -> bool:
    """Whether the text starts with a word that people type for a unit."""
    word = text.split("/")[0].split(" ")[0]
    return word in _TYPED or word in _INSTEAD


def bridge(a: Unit, b: Unit) -> str:
    """What could lead from one kind of unit to another, as a sentence for the reader."""
    kinds = {a.above.kind, b.above.kind}
    if kinds & {"pound", "ounce", "teaspoon", "tablespoon", "fluid ounce"}:
        return "Use a stated factor, such as pounds to the kilogram, or metric units throughout."
    if kinds & {"international unit", "drug unit", "usp unit", "mole", "equivalent"}:
        return "Only the product's own label can lead from one to the other."
    return "Use one kind of unit on both sides."
