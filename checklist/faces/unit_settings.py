"""Commands on what a unit has chosen where the sources disagree, and what it has tightened."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from checklist.faces.options import JsonOption

if TYPE_CHECKING:
    from checklist.setting import Setting, Settings, Value
    from checklist.unit import Unit

app = typer.Typer(
    help="See a unit's own choices beside the shipped ones, with the sources on both sides.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)
Folder = Annotated[
    Path | None,
    typer.Argument(metavar="[DIR]", help="The ward's folder (default: the demonstration)."),
]


@app.command()
def show(folder: Folder = None, json: JsonOption = False) -> None:
    """Show every choice in force on a unit, and each that differs from the shipped one with why."""
    from checklist.faces.leaving import told

    with told():
        unit, known = _unit(folder)
    if json:
        from json import dumps

        typer.echo(dumps(_data(unit, known)))
        return
    from checklist.faces.saying import WIDEST, lines

    typer.echo(f"{unit.name} ({unit.code})")
    for key, one in known.choices.items():
        value = unit.settings[key]
        mark = "" if value == one.default else f"   [{_direction(one, value)}]"
        for line in lines(
            f"{one.title}: {_said(value)}{mark}", WIDEST, first=f"D-{one.number:02} "
        ):
            typer.echo(line)
    for sentence in explained(unit, known):
        for line in lines(sentence, WIDEST, first="", rest="    "):
            typer.echo(line)
    typer.echo("next: checklist unit check DIR, after changing [settings] in unit.toml")


@app.command()
def explain(
    key: Annotated[str, typer.Argument(metavar="KEY", help="A setting, as in unit.toml.")],
) -> None:
    """Explain one choice: its values, who says what, and what hangs on it."""
    from checklist.faces.leaving import CannotGoOn, told

    with told():
        from checklist import library

        known = library.settings().choices
        if key not in known:
            raise CannotGoOn(f"There is no setting {key!r}. Known: {', '.join(known)}.")
        one = known[key]
    from checklist.faces.saying import WIDEST, lines

    typer.echo(f"{one.title} ({one.key}, disagreement {one.number})")
    for text in (
        f"allowed: {one.allowed()}",
        f"shipped: {_said(one.default)}",
        f"what was found: {one.evidence}",
        *(f"{_values(side.values)}{side.says} ({side.source})" for side in one.sides),
        _hangs(one),
    ):
        for line in lines(text, WIDEST, first="  ", rest="    "):
            typer.echo(line)
    typer.echo("next: write it under [settings] in unit.toml")


def _unit(folder: Path | None) -> tuple[Unit, Settings]:
    from checklist import library
    from checklist.intake.ward import load_ward

    return load_ward(folder or library.folder("demo_db")).unit, library.settings()


def _data(unit: Unit, known: Settings) -> dict[str, object]:
    return {
        "unit": unit.code,
        "settings": [
            {
                "number": one.number,
                "key": key,
                "value": unit.settings[key],
                "shipped": one.default,
                "direction": _direction(one, unit.settings[key]),
                "read_by": list(one.read_by),
            }
            for key, one in known.choices.items()
        ],
        "sentences": list(explained(unit, known)),
    }


def _direction(one: Setting, value: Value) -> str:
    """Whether a value is tighter or looser than the shipped one, in a word or two."""
    if value == one.default:
        return "as shipped"
    looser = one.looser(value)
    if not one.tighter or looser == 0:
        return "another way"
    return "looser than shipped" if looser > 0 else "tighter than shipped"


def explained(unit: Unit, known: Settings) -> Iterator[str]:
    """Each difference of the unit from what is shipped, in plain sentences with both sides."""
    for key, one in known.choices.items():
        value = unit.settings[key]
        if value == one.default:
            continue
        yield (
            f"{one.title}: this unit has {_said(value)}, shipped is {_said(one.default)}"
            f" ({_direction(one, value)}). {one.evidence}"
        )
        for side in one.sides:
            chosen = value if isinstance(value, tuple) else (str(value),)
            whose = "For it" if set(chosen) & set(side.values) else "On the other side"
            if not side.values:
                whose = "One source"
            yield f"{whose}: {side.says} ({side.source})"
        yield _hangs(one)
    for key, bound in known.bounds.items():
        value = getattr(unit, key)
        shipped = getattr(type(unit)(code=unit.code, name=unit.name), key)
        if value != shipped:
            said = f"{value * 100} %" if key.startswith("rounding") else str(value)
            yield f"{bound.title}: tightened from {bound.default} to {said} ({bound.source})."
    for code, tier in unit.raised.items():
        yield f"{code.replace('_', ' ')}: raised to {tier.value} by this unit."


def _hangs(one: Setting) -> str:
    if one.read_by:
        return f"What hangs on it: {', '.join(name.replace('_', ' ') for name in one.read_by)}."
    return "It is recorded with every preparation; no check hangs on it."


def _said(value: Value) -> str:
    if isinstance(value, tuple):
        return ", ".join(word.replace("_", " ") for word in value) or "none"
    return str(value).replace("_", " ")


def _values(values: tuple[str, ...]) -> str:
    return f"{', '.join(v.replace('_', ' ') for v in values)}: " if values else ""
