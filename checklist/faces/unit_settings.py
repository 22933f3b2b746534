"""Commands on what a unit has chosen where the sources disagree, and what it has tightened."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from checklist.faces.options import JsonOption

if TYPE_CHECKING:
    from checklist.setting import Settings
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
    from checklist.faces.choosing import direction, explained, said
    from checklist.faces.saying import WIDEST, lines

    typer.echo(f"{unit.name} ({unit.code})")
    for key, one in known.choices.items():
        value = unit.settings[key]
        mark = "" if value == one.default else f"   [{direction(one, value)}]"
        for line in lines(f"{one.title}: {said(value)}{mark}", WIDEST, first=f"D-{one.number:02} "):
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
    from checklist.faces.choosing import following, hangs_on, said
    from checklist.faces.saying import WIDEST, lines

    typer.echo(f"{one.title} ({one.key}, disagreement {one.number})")
    for text in (
        f"allowed: {one.allowed()}",
        f"shipped: {said(one.default)}",
        f"what was found: {one.evidence}",
        *(f"{following(side.values)}{side.says} ({side.source})" for side in one.sides),
        hangs_on(one),
    ):
        for line in lines(text, WIDEST, first="  ", rest="    "):
            typer.echo(line)
    typer.echo("next: write it under [settings] in unit.toml")


def _unit(folder: Path | None) -> tuple[Unit, Settings]:
    from checklist import library
    from checklist.intake.ward import load_ward

    return load_ward(folder or library.folder("demo_db")).unit, library.settings()


def _data(unit: Unit, known: Settings) -> dict[str, object]:
    from checklist.faces.choosing import direction, explained

    return {
        "unit": unit.code,
        "settings": [
            {
                "number": one.number,
                "key": key,
                "value": unit.settings[key],
                "shipped": one.default,
                "direction": direction(one, unit.settings[key]),
                "read_by": list(one.read_by),
            }
            for key, one in known.choices.items()
        ],
        "sentences": list(explained(unit, known)),
    }
