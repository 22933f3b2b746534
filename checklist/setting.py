"""What a unit may choose where the sources disagree, and the limits that it may only tighten."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from checklist.checks import CHECKS, REASONS
from checklist.toml_file import NotToml, tables
from checklist.verdict import Tier

FILE = "settings.toml"
Value = str | int | tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """What one side of a disagreement says, where, and which values follow it (none: any)."""

    values: tuple[str, ...]
    says: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One choice that a unit has.

    One of `values`, any of `some`, or a whole number from `lowest` to `highest`. `tighter` is
    "first" (values stand strictest first), "more" (the more are chosen), "higher", "lower" or ""
    where neither way is the careful one. `read_by` names the checks, reason codes or traits that
    hang on it; empty means that it is recorded and no check reads it. `eases` maps a value to the
    soft reason codes that are mere notes under it.
    """

    number: int
    key: str
    title: str
    default: Value
    evidence: str
    sides: tuple[Side, ...]
    values: tuple[str, ...] = ()
    some: tuple[str, ...] = ()
    lowest: int = 0
    highest: int = 0
    tighter: str = ""
    read_by: tuple[str, ...] = ()
    eases: Mapping[str, tuple[str, ...]]

    def looser(self, value: Value) -> int:
        """Above zero when `value` is looser than the shipped one, below when tighter, else zero."""
        match self.tighter:
            case "first":
                return self.values.index(str(value)) - self.values.index(str(self.default))
            case "more":
                assert isinstance(value, tuple) and isinstance(self.default, tuple)
                return len(set(self.default) - set(value)) or -len(set(value) - set(self.default))
            case "higher" | "lower":
                assert isinstance(value, int) and isinstance(self.default, int)
                return self.default - value if self.tighter == "higher" else value - self.default
            case _:
                return 0

    def allowed(self) -> str:
        """The allowed values in words."""
        if self.values:
            return " | ".join(self.values)
        if self.some:
            return "any of " + ", ".join(self.some)
        return f"a whole number from {self.lowest} to {self.highest}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """A limit that a unit may tighten and never loosen; `default` is an amount, share or count."""

    key: str
    title: str
    default: str
    tighter: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Everything that a unit may set, by key."""

    choices: Mapping[str, Setting]
    bounds: Mapping[str, Bound]

    def in_force(self, given: Mapping[str, Value]) -> Mapping[str, Value]:
        """Every choice with the unit's own value, or the shipped one where it gives none."""
        return {key: given.get(key, one.default) for key, one in self.choices.items()}

    def eased(self, given: Mapping[str, Value]) -> frozenset[str]:
        """The soft reason codes that are mere notes under these values."""
        return frozenset(
            code
            for key, value in self.in_force(given).items()
            for code in self.choices[key].eases.get(str(value), ())
        )


class SettingsFaults(Exception):
    """Every fault found in one reading of the settings, as sentences."""

    def __init__(self, sentences: list[str]) -> None:
        self.sentences = sentences
        super().__init__("\n".join(sentences))


class _In(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,59}$")]
Words = Annotated[str, Field(min_length=4, max_length=240)]
Number = Annotated[int, Field(ge=1, le=38)]


class _SideIn(_In):
    values: list[str] = []
    says: Words
    source: Words


class _SettingIn(_In):
    number: Number
    key: Name
    title: Annotated[str, Field(min_length=4, max_length=60)]
    values: list[str] = []
    some: list[Name] = []
    lowest: int | None = None
    highest: int | None = None
    default: str | int | list[str]
    tighter: Literal["", "first", "more", "higher", "lower"] = ""
    read_by: list[Name] = []
    eases: dict[str, list[Name]] = {}
    evidence: Words
    side: Annotated[list[_SideIn], Field(min_length=1)]


class _BoundIn(_In):
    key: Name
    title: Annotated[str, Field(min_length=4, max_length=60)]
    default: str
    tighter: Literal["higher", "lower"]
    source: Words


class _FileIn(_In):
    setting: Annotated[list[_SettingIn], Field(min_length=1)]
    limit: list[_BoundIn] = []


def read(file: Path) -> Settings:
    """The settings in a TOML file. Raises SettingsFaults with every fault found in it."""
    try:
        given = _FileIn.model_validate(tables(file))
    except (OSError, NotToml) as error:
        raise SettingsFaults([f"{FILE}: this cannot be read: {error}"]) from None
    except ValidationError as error:
        raise SettingsFaults(
            [
                f"{FILE}, {'.'.join(map(str, one['loc']))}: {one['msg']}"
                for one in error.errors(include_url=False)
            ]
        ) from None
    keys = [*(one.key for one in given.setting), *(one.key for one in given.limit)]
    faults = [f"{FILE}, {key}: this key stands twice" for key in keys if keys.count(key) > 1]
    faults += [fault for one in given.setting for fault in _faults(one)]
    if faults:
        raise SettingsFaults(faults)
    return Settings(
        choices={one.key: _setting(one) for one in given.setting},
        bounds={one.key: Bound(**one.model_dump()) for one in given.limit},
    )


def _setting(one: _SettingIn) -> Setting:
    default = tuple(one.default) if isinstance(one.default, list) else one.default
    return Setting(
        number=one.number,
        key=one.key,
        title=one.title,
        default=default,
        evidence=one.evidence,
        sides=tuple(Side(values=tuple(s.values), says=s.says, source=s.source) for s in one.side),
        values=tuple(one.values),
        some=tuple(one.some),
        lowest=one.lowest or 0,
        highest=one.highest or 0,
        tighter=one.tighter,
        read_by=tuple(one.read_by),
        eases={value: tuple(codes) for value, codes in one.eases.items()},
    )


def _faults(one: _SettingIn) -> Iterator[str]:
    where = f"{FILE}, {one.key}"
    forms = [bool(one.values), bool(one.some), one.lowest is not None and one.highest is not None]
    if forms.count(True) != 1:
        yield f"{where}: give `values`, or `some`, or `lowest` and `highest`"
        return
    setting = _setting(one)
    if fault := unfit(setting, setting.default):
        yield f"{where}: the default {fault}"
    ways = {"": (0, 1, 2), "first": (0,), "more": (1,), "higher": (2,), "lower": (2,)}
    if forms.index(True) not in ways[one.tighter]:
        yield f"{where}: `tighter` is {one.tighter!r}, which does not go with its values"
    for side in one.side:
        for value in set(side.values) - {*one.values, *one.some}:
            yield f"{where}: a side speaks of {value!r}, which is not among the values"
    for value, codes in one.eases.items():
        if value not in one.values:
            yield f"{where}: `eases` speaks of {value!r}, which is not among the values"
        for code in codes:
            if code not in REASONS or REASONS[code].tier is not Tier.SOFT or REASONS[code].firm:
                yield f"{where}: `{code}` cannot be eased; only a soft reason can"
    for name in one.read_by:
        if name not in CHECKS and name not in REASONS and name not in DECIDED:
            yield (
                f"{where}: `read_by` names `{name}`, "
                "neither a check, a code, a trait nor a container"
            )


# Traits of a preparation, and containers, that hang on a setting.
DECIDED = ("double_check", "insulin_pen")


def unfit(setting: Setting, value: object) -> str:
    """Why `value` is none that the setting allows, in words after "it"; "" when it is one."""
    if setting.values and value not in setting.values:
        return f"is {value!r}; it can be {setting.allowed()}"
    if setting.some and not (isinstance(value, tuple) and set(value) <= set(setting.some)):
        return f"is {value!r}; it can be {setting.allowed()}"
    if not setting.values and not setting.some:
        whole = isinstance(value, int) and not isinstance(value, bool)
        if not whole or not setting.lowest <= value <= setting.highest:  # type: ignore[operator]
            return f"is {value!r}; it can be {setting.allowed()}"
    return ""
