"""Commands on a ward's files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from checklist.faces.options import JsonOption

if TYPE_CHECKING:
    from checklist.intake.fault import Fault

app = typer.Typer(
    help="Look over a ward's files.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


@app.callback()
def unit() -> None:
    """Look over a ward's files."""


@app.command()
def check(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The ward's folder.")],
    json: JsonOption = False,
) -> None:
    """Read a ward's folder and tell every fault at once. Exit code 2 when there is one."""
    from checklist.faces.leaving import USAGE, message, told
    from checklist.intake.fault import Faults

    with told():
        from checklist.definition import WorkflowFaults
        from checklist.faces.looking_over import looked_over
        from checklist.faces.saying import harmless
        from checklist.faces.workplace import quoted
        from checklist.proof import prove_all

        found = looked_over(folder)
        ward, own = found.ward, [found.flows[name] for name in found.own]
        if found.faults or ward is None:
            if not json:
                raise Faults(found.faults)
            _faults(found.faults)
            raise typer.Exit(USAGE)
        ways_round = [fault for flow in own for fault in prove_all(flow, found.required).faults]
        if ways_round:
            raise WorkflowFaults(ways_round)
    counts = {
        "staff": len(ward.staff),
        "drugs": len(ward.formulary.drugs),
        "products": len(ward.formulary.products),
        "patients": len(ward.patients),
        "orders": len(ward.orders),
        "workflows of its own": len(own),
    }
    if json:
        from json import dumps

        typer.echo(dumps({"unit": ward.unit.code, **counts, "faults": []}))
        return
    typer.echo(harmless(f"{ward.unit.name} ({ward.unit.code}): no faults"))
    typer.echo(", ".join(f"{many} {what}" for what, many in counts.items()))
    if ward.orders:
        typer.echo(f"next: checklist prepare {next(iter(ward.orders))} --ward {quoted(folder)}")
    else:
        message("There is no order yet; add one to orders.json.")


def _faults(found: Sequence[Fault]) -> None:
    from json import dumps

    faults = [{"file": one.file, "place": one.place, "sentence": one.sentence} for one in found]
    typer.echo(dumps({"faults": faults}))
