"""Options that many commands share, each in the same words."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

TrailOption = Annotated[
    Path | None, typer.Option("--trail", metavar="FILE", help="The trail file.")
]
WardOption = Annotated[
    Path | None, typer.Option("--ward", metavar="DIR", help="The ward's folder.")
]
TrailsWardOption = Annotated[
    Path | None, typer.Option("--ward", metavar="DIR", help="The ward whose trail is meant.")
]
StationOption = Annotated[
    str,
    typer.Option(
        "--station", metavar="NAME", envvar="CHECKLIST_STATION", help="This place of work."
    ),
]
PracticeOption = Annotated[
    bool,
    typer.Option("--practice", help="Practise at the hour of the ward's scenario, apart."),
]
AsOption = Annotated[
    str, typer.Option("--as", metavar="CODE", envvar="CHECKLIST_AS", help="Your staff code.")
]
FactsOption = Annotated[Path, typer.Option("--facts", metavar="DIR", help="The folder of facts.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print data as JSON.")]
