"""The command that serves the ward's screens to browsers."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from checklist.faces.options import TrailOption, WardOption


def serve(
    ward: WardOption = None,
    trail: TrailOption = None,
    facts: Annotated[
        Path | None,
        typer.Option("--facts", metavar="DIR", help="A folder of `checklist facts export`."),
    ] = None,
    host: Annotated[
        str, typer.Option("--host", metavar="ADDRESS", help="The address to listen at.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=0, max=65_535, help="The port.")] = 8420,
    practice: Annotated[
        bool,
        typer.Option("--practice", help="Practise at the hour of the ward's scenario, apart."),
    ] = False,
) -> None:
    """Serve the ward's screens: preparing, reviewing, quality and pharmacy in a browser.

    Without --ward it is the demonstration ward, in practice.
    """
    from checklist.faces.leaving import message, told

    with told():
        from checklist.extra import wanted

        uvicorn = wanted("uvicorn", "web")
        for module in ("starlette", "jinja2", "python_multipart"):
            wanted(module, "web")
        from checklist.faces.web.app import make_app
        from checklist.faces.web.setting_up import desk_for

        desk = desk_for(ward, trail, facts=facts, practice=practice)
        message(f"http://{host}:{port}  (Ctrl-C stops it; nothing that was recorded is lost)")
        uvicorn.run(make_app(desk), host=host, port=port, server_header=False, log_level="warning")
