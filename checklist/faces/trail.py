"""Commands on a trail."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from checklist.faces.options import JsonOption, TrailOption, TrailsWardOption

app = typer.Typer(
    help="The trail: verify it, sign its head, prove what is in it.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


@app.callback()
def trail() -> None:
    """The trail: verify it, sign its head, prove what is in it."""


@app.command()
def verify(
    trail: TrailOption = None,
    ward: TrailsWardOption = None,
    against: Annotated[
        list[Path] | None,
        typer.Option("--against", metavar="FILE", help="A head that was kept elsewhere."),
    ] = None,
    key: Annotated[
        list[str] | None,
        typer.Option("--key", metavar="KEY", help="The public key of a station, or its file."),
    ] = None,
    json: JsonOption = False,
) -> None:
    """Verify the trail, and that it goes on from the heads kept elsewhere.

    Exit code: 0 all of it is; 1 an act asks for a signature and has none; 2 something cannot be
    read; 3 something is not as it was, and the first such entry is named.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.verifying import verify

        code = verify(trail=trail, ward=ward, against=against or (), key=key or (), as_json=json)
    raise typer.Exit(code)
