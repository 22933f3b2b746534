"""Exact quantities: a fraction and a UCUM code, compared, summed, rounded, shown, said and stored.

No float enters and none leaves. Different kinds of unit never meet: a mass is not a number of
units, and only a product's own strength leads from one to the other.
"""

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import Self, overload

from checklist import ucum
from checklist.number import NumberFault, exact, half_up, number, plain, quoted, said, shown
from checklist.ucum import UnitFault

__all__ = [
    "Concentration", "DimensionMismatch", "NumberFault", "Quantity", "Rounded", "Rounding",
    "UnitFault", "number", "words",
]  # fmt: skip


class DimensionMismatch(TypeError):
    """Two quantities of different kinds were compared, added or converted."""


class Rounding(Enum):
    """Which whole number of steps is taken: the nearest (a half goes up), the one below, above."""

    HALF_UP = "half up"
    DOWN = "down"
    UP = "up"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Quantity:
    """An exact amount of something: magnitude times the unit of a UCUM code.

    A magnitude below zero is possible only as the outcome of a difference; it is never typed, and
    there is no unary minus, because no dose is the opposite of another.
    Equal quantities in different units are equal and hash alike. Comparing or adding across
    kinds, even by ==, raises DimensionMismatch. Building from anything but Fraction or int
    raises TypeError, from a code outside the table UnitFault.
    """

    magnitude: Fraction
    unit: str

    def __post_init__(self) -> None:
        if type(self.magnitude) is not Fraction:
            object.__setattr__(self, "magnitude", _exactly(self.magnitude))
        ucum.unit(self.unit)

    @classmethod
    def of(cls, magnitude: str | int | Fraction, unit: str) -> Self:
        """From a typed number (see `number`) or an exact one, and a UCUM code."""
        exactly = number(magnitude) if isinstance(magnitude, str) else _exactly(magnitude)
        return cls(magnitude=exactly, unit=unit)

    @classmethod
    def parse(cls, text: str) -> Self:
        """From "2.5 mL": a typed number, a space, a unit as people write it.

        Raises NumberFault or UnitFault with a sentence for the reader.
        """
        if not isinstance(text, str):
            raise TypeError(f"A quantity is read from text, never from {type(text).__name__}.")
        figures, _, unit = text.strip(" \t").partition(" ")
        unit = unit.strip(" \t")
        run_on = figures.lstrip("0123456789.")
        if run_on and run_on != figures and ucum.looks_written(run_on):
            raise UnitFault(f"{quoted(text)} has no space before the unit. Put one there.")
        if figures[:1].isdigit() and unit[:1].isdigit():
            raise NumberFault(f"{quoted(text)} has a space between figures. Type them together.")
        magnitude = number(figures)
        if not unit:
            raise UnitFault(f"{quoted(text)} has no unit. Write the unit after the number.")
        return cls(magnitude=magnitude, unit=ucum.written(unit))

    @classmethod
    def from_code(cls, text: str) -> Self:
        """Read a stored quantity exactly, see `code`; raises NumberFault or UnitFault."""
        figures, _, unit = text.partition(" ")
        return cls(magnitude=exact(figures), unit=unit)

    @property
    def code(self) -> str:
        """The quantity without loss, for storing: "0.75 mL", "2/3 mL", "12500 [iU]"."""
        return f"{plain(self.magnitude)} {self.unit}"

    def to(self, unit: str) -> Self:
        """The same quantity in another unit of its kind; DimensionMismatch otherwise."""
        if unit == self.unit:
            return self
        goal, own = ucum.unit(unit), ucum.unit(self.unit)
        if goal.dimension != own.dimension:
            raise _mismatch(own, goal)
        return type(self)(magnitude=self.magnitude * own.factor / goal.factor, unit=unit)

    def alike(self, other: "Quantity") -> bool:
        """Whether the two measure the same kind of thing and can be compared."""
        return ucum.unit(self.unit).dimension == ucum.unit(other.unit).dimension

    def rounded(self, step: "Quantity", how: Rounding = Rounding.HALF_UP) -> "Rounded":
        """The whole number of steps nearest to it, or just below, or just above.

        The value comes in the step's unit. Raises DimensionMismatch for a step of another kind,
        ValueError for a step that is not above zero or for a quantity below zero.
        """
        if not step.magnitude > 0:
            raise ValueError(f"A rounding step is above zero; {step} was given.")
        if not self.magnitude >= 0:
            raise ValueError(f"Only an amount can be rounded, not the difference {self}.")
        steps = self.ratio(step)
        if how is Rounding.HALF_UP:
            count = half_up(steps)
        else:
            count = steps.__floor__() if how is Rounding.DOWN else steps.__ceil__()
        value = step * count
        lost = self - value
        share = lost.ratio(self) if self.magnitude else Fraction(0)
        return Rounded(value=value, exact=self, lost=lost, share=share)

    def ratio(self, other: "Quantity") -> Fraction:
        """How many times the other it is; DimensionMismatch across kinds, and never by zero."""
        if self.unit == other.unit:
            return self.magnitude / other.magnitude
        self._meet(other)
        return self._first() / other._first()

    def over(self, other: "Quantity") -> "Quantity":
        """The quotient as a quantity: 10 mg over 5 mg/mL is 2 mL; of one kind, a bare count."""
        code, factor = ucum.over(self.unit, other.unit)
        return Quantity(magnitude=self.magnitude / other.magnitude * factor, unit=code)

    def per(self, other: "Quantity") -> "Quantity":
        """So much for each of the other, nothing cancelled: 350 mg per 70 kg is 5 mg/kg."""
        code = ucum.per(ucum.unit(self.unit), ucum.unit(other.unit))
        return Quantity(magnitude=self.magnitude / other.magnitude, unit=code)

    def __add__(self, other: "Quantity") -> Self:
        if not isinstance(other, Quantity):
            return NotImplemented
        self._meet(other)
        return type(self)(magnitude=self.magnitude + other.to(self.unit).magnitude, unit=self.unit)

    def __sub__(self, other: "Quantity") -> Self:
        if not isinstance(other, Quantity):
            return NotImplemented
        self._meet(other)
        return type(self)(magnitude=self.magnitude - other.to(self.unit).magnitude, unit=self.unit)

    def __abs__(self) -> Self:
        return type(self)(magnitude=abs(self.magnitude), unit=self.unit)

    def __mul__(self, other: "Quantity | Fraction | int") -> "Quantity":
        """Times a number or a quantity: 5 mg/kg times 70 kg is 350 mg."""
        if isinstance(other, Quantity):
            code, factor = ucum.times(self.unit, other.unit)
            return Quantity(magnitude=self.magnitude * other.magnitude * factor, unit=code)
        if _is_exact(other):
            return Quantity(magnitude=self.magnitude * other, unit=self.unit)
        return NotImplemented

    def __rmul__(self, other: Fraction | int) -> "Quantity":
        return self.__mul__(other)

    @overload
    def __truediv__(self, other: Fraction | int) -> "Quantity": ...
    @overload
    def __truediv__(self, other: "Quantity") -> "Quantity | Fraction": ...
    def __truediv__(self, other: "Quantity | Fraction | int") -> "Quantity | Fraction":
        """By a number; by a quantity of its kind, a Fraction; by another, what is left over."""
        if isinstance(other, Quantity):
            return self.ratio(other) if self.alike(other) else self.over(other)
        if _is_exact(other):
            return Quantity(magnitude=self.magnitude / other, unit=self.unit)
        return NotImplemented

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Quantity):
            return NotImplemented
        if self.unit == other.unit:
            return self.magnitude == other.magnitude
        self._meet(other)
        return self._first() == other._first()

    def __lt__(self, other: "Quantity") -> bool:
        if not isinstance(other, Quantity):
            return NotImplemented
        if self.unit == other.unit:
            return self.magnitude < other.magnitude
        self._meet(other)
        return self._first() < other._first()

    def __le__(self, other: "Quantity") -> bool:
        if not isinstance(other, Quantity):
            return NotImplemented
        if self.unit == other.unit:
            return self.magnitude <= other.magnitude
        self._meet(other)
        return self._first() <= other._first()

    def __hash__(self) -> int:
        return hash((ucum.unit(self.unit).dimension, self._first()))

    def __bool__(self) -> bool:
        raise TypeError(f"{self} is neither true nor false; compare it with another quantity.")

    def __str__(self) -> str:
        unit = ucum.shown(self.unit, self.magnitude != 1)
        return f"{shown(self.magnitude)} {unit}".strip()

    def __repr__(self) -> str:
        return f"Quantity.from_code({self.code!r})"

    def _first(self) -> Fraction:
        """The magnitude in the first units of its kinds, so that all units compare."""
        return self.magnitude * ucum.unit(self.unit).factor

    def _meet(self, other: "Quantity") -> None:
        own, others = ucum.unit(self.unit), ucum.unit(other.unit)
        if own.dimension != others.dimension:
            raise _mismatch(own, others)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounded:
    """What rounding gave and what it cost.

    lost is exact minus value, below zero when rounding added. share is lost divided by exact.
    """

    value: Quantity
    exact: Quantity
    lost: Quantity
    share: Fraction


def words(quantity: Quantity) -> str:
    """The quantity in English words, to say it back: "zero point seven five millilitres"."""
    unit = ucum.unit(quantity.unit).said(many=quantity.magnitude != 1)
    return f"{said(quantity.magnitude)} {unit}".strip()


def _is_exact(value: object) -> bool:
    return isinstance(value, (int, Fraction)) and not isinstance(value, bool)


def _exactly(value: object) -> Fraction:
    if not _is_exact(value):
        kind = type(value).__name__
        raise TypeError(f"A quantity is made of exact numbers, never of {kind}. Give the text.")
    assert isinstance(value, (int, Fraction))
    return Fraction(value)


def _mismatch(a: ucum.Unit, b: ucum.Unit) -> DimensionMismatch:
    one, two = a.shown(many=True) or "a bare count", b.shown(many=True) or "a bare count"
    return DimensionMismatch(
        f"{one} and {two} do not measure the same thing: {a.meaning}, and {b.meaning}."
        f" {ucum.bridge(a, b)}"
    )


_AMOUNTS = ("mass", "international unit", "drug unit", "usp unit", "mole", "equivalent", "osmole")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Concentration:
    """So much of a drug in so much liquid, kept the way it was written: 20 mg in 2 mL.

    Two concentrations are equal when they hold the same amount per mL. The amount is a mass or a
    number of units, moles, equivalents or osmoles, above zero; the liquid is a volume above zero.
    Raises DimensionMismatch or NumberFault otherwise.
    """

    amount: Quantity
    per: Quantity

    def __post_init__(self) -> None:
        amount, per = ucum.unit(self.amount.unit), ucum.unit(self.per.unit)
        if amount.dimension[0] not in _AMOUNTS or amount.below or per.dimension != ("volume", ()):
            raise DimensionMismatch(
                f"A strength is an amount of drug in a volume; {self.amount} in {self.per} is not."
                " Write it like 10 mg/mL."
            )
        if not (self.amount.magnitude > 0 and self.per.magnitude > 0):
            raise NumberFault(
                f"A strength has an amount and a volume above zero; {self.amount} in {self.per} was"
                " given. Look at the label again."
            )

    @classmethod
    def parse(cls, text: str, *, expand: bool = False) -> Self:
        """From "10 mg/mL", "20 mg/2 mL", "20 mg in 2 mL" or "100 units/mL".

        A percentage ("0.9 %", taken as grams in 100 mL) or a ratio ("1:1000", 1 g in 1000 mL) is
        read only with expand=True, and is then shown expanded like any other. Raises NumberFault,
        UnitFault or DimensionMismatch with a sentence for the reader.
        """
        if not isinstance(text, str):
            raise TypeError(f"A strength is read from text, never from {type(text).__name__}.")
        typed = text.strip(" \t")
        if "%" in typed or ":" in typed:
            if not expand:
                raise UnitFault(
                    f"{quoted(typed)} does not say how much in how much. Write the amount and the"
                    " volume, like 10 mg/mL."
                )
            return cls._expanded(typed)
        for link in (" in ", "/", " per "):
            amount, found, per = typed.partition(link)
            if found:
                whole = per.strip(" \t")
                whole = f"1 {whole}" if whole[:1].isalpha() else whole
                return cls(amount=Quantity.parse(amount), per=Quantity.parse(whole))
        raise UnitFault(f"{quoted(typed)} is not a strength. Write an amount in a volume.")

    @classmethod
    def _expanded(cls, typed: str) -> Self:
        if typed.startswith("1:"):
            return cls.ratio(1, _whole(number(typed.removeprefix("1:"))))
        figures, percent, basis = typed.partition("%")
        if percent and basis.strip(" \t") in ("", "w/v"):
            return cls.percent_wv(figures)
        raise UnitFault(f"{quoted(typed)} is not a percentage by volume or a ratio from 1.")

    @classmethod
    def percent_wv(cls, text: str) -> Self:
        """From the figures of a percentage, weight in volume: so many grams in 100 mL."""
        return cls(amount=Quantity.of(text, "g"), per=Quantity.of(100, "mL"))

    @classmethod
    def ratio(cls, grams: int, millilitres: int) -> Self:
        """From a ratio strength 1:1000, which is 1 g in 1000 mL."""
        return cls(amount=Quantity.of(grams, "g"), per=Quantity.of(millilitres, "mL"))

    @classmethod
    def from_code(cls, text: str) -> Self:
        """Read a stored concentration exactly, see `code`; raises as `Quantity.from_code`."""
        amount, _, per = text.partition(" in ")
        return cls(amount=Quantity.from_code(amount), per=Quantity.from_code(per))

    @property
    def code(self) -> str:
        """The concentration without loss, for storing: "20 mg in 2 mL"."""
        return f"{self.amount.code} in {self.per.code}"

    @property
    def per_mL(self) -> Quantity:
        """The amount in 1 mL, such as 10 mg/mL."""
        return self.amount.per(self.per.to("mL"))

    def amount_in(self, volume: Quantity) -> Quantity:
        """How much drug the volume holds; DimensionMismatch when it is no volume."""
        return self.amount * volume.ratio(self.per)

    def volume_for(self, dose: Quantity) -> Quantity:
        """The volume in mL that holds the dose; DimensionMismatch for a dose of another kind."""
        return self.per.to("mL") * dose.ratio(self.amount)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Concentration):
            return NotImplemented
        return self.per_mL == other.per_mL

    def __hash__(self) -> int:
        return hash(self.per_mL)

    def __str__(self) -> str:
        each = self.per_mL
        each = each.to("mg/mL") if each.unit in ("g/mL", "kg/mL") else each
        if self.per == Quantity.of(1, "mL") and each.unit == f"{self.amount.unit}/mL":
            return str(each)
        return f"{self.amount} in {self.per} ({each})"


def _whole(value: Fraction) -> int:
    if value.denominator != 1:
        raise NumberFault("The second figure of a ratio is a whole number. Look at the label.")
    return value.numerator


def same(one: object, other: object) -> bool:
    """Whether both are quantities, or both concentrations, of one kind and equal.

    For comparing what was read with what was meant: other kinds are not the same, where `==`
    would raise.
    """
    if isinstance(one, Quantity) and isinstance(other, Quantity):
        return one.alike(other) and one == other
    if isinstance(one, Concentration) and isinstance(other, Concentration):
        return one.amount.alike(other.amount) and one.per.alike(other.per) and one == other
    return False
