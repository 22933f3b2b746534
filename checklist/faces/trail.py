"""Commands on a trail."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    help="Verify the trail.", no_args_is_help=True, rich_markup_mode=None, add_completion=False
)


@app.callback()
def trail() -> None:
    """Verify the trail."""


@app.command()
def verify(
    trail: Annotated[
        Path | None, typer.Option("--trail", metavar="FILE", help="The trail file.")
    ] = None,
    ward: Annotated[
        Path | None, typer.Option("--ward", metavar="DIR", help="The ward whose trail is meant.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print data as JSON.")] = False,
) -> None:
    """Verify that every entry is as it was recorded. Exit code 3 when one is not."""
    from checklist.faces.leaving import DAMAGED, told

    with told():
        from checklist.faces.leaving import message
        from checklist.faces.saying import harmless
        from checklist.faces.workplace import quoted, trail_to_read
        from checklist.trail import Trail

        path = trail_to_read(trail, ward)
        found = Trail.examine(path)
    head = found.head
    broken = found.first_break
    if json:
        from json import dumps

        data = {
            "trail": str(path),
            "whole": found.whole,
            "entries": found.entries,
            "head": None if head is None else {"seq": head.seq, "digest": head.digest.hex()},
            "first_break": None
            if broken is None
            else {"seq": broken.seq, "sentence": broken.sentence},
            "faults": list(found.faults),
        }
        typer.echo(dumps(data))
    else:
        typer.echo(harmless(f"trail: {path}"))
        state = "whole" if found.whole else "not as it was recorded"
        typer.echo(f"{found.entries} entries, {state}")
        if head is not None:
            typer.echo(f"head: entry {head.seq}, {head.digest.hex()}")
        if found.whole:
            typer.echo("A cut-off end is seen only beside a head that was kept elsewhere.")
            typer.echo(f"next: checklist list --trail {quoted(path)}")
    if not found.whole:
        if broken is not None:
            message(f"First entry that is not as recorded: {broken.seq}. {broken.sentence}")
        for fault in found.faults:
            message(fault)
        message("Stop using this trail, leave the file as it is, and call IT.")
        raise typer.Exit(DAMAGED)
