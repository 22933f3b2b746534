"""The command line: each command imports what it needs when it is called, so that help is quick."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from checklist import __version__
from checklist.faces import (
    ask,
    chart,
    copies,
    disposal,
    dose,
    erasing,
    facts,
    label,
    orders,
    people,
    prove,
    report,
    review,
    scanner,
    serve,
    trail,
    trail_acts,
    trail_heads,
    unit,
    unit_settings,
    workflow,
    year,
)
from checklist.faces.options import JsonOption, PracticeOption, StationOption, TrailOption


class Inert(TyperGroup):
    """The commands, which say a word that they do not know without being steered by it."""

    def make_context(self, *words: Any, **more: Any) -> Any:
        with _inert():
            return super().make_context(*words, **more)

    def invoke(self, ctx: Any) -> Any:
        with _inert():
            return super().invoke(ctx)


@contextmanager
def _inert() -> Iterator[None]:
    """Show each character of a usage message that could steer a terminal, or hide, as an escape."""
    try:
        yield
    except Exception as fault:
        if hasattr(fault, "format_message"):
            from checklist.faces.saying import harmless

            said = harmless(fault.format_message())
            fault.format_message = lambda: said
        raise


WIDE = {"help_option_names": ["-h", "--help"], "max_content_width": 100}

app = typer.Typer(
    name="checklist",
    cls=Inert,
    help=(
        "Prepare a medication dose step by step, with every step checked and recorded."
        " Try: checklist demo"
    ),
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_show_locals=False,
    context_settings=WIDE,
)
app.add_typer(trail.app, name="trail")
trail.app.add_typer(trail_acts.app)
trail.app.add_typer(trail_heads.app)
trail.app.add_typer(copies.app)
trail.app.add_typer(disposal.app)
app.add_typer(people.app, name="people")
people.app.add_typer(erasing.app)
app.add_typer(workflow.app, name="workflow")
workflow.app.add_typer(prove.app)
unit.app.add_typer(unit_settings.app)
app.add_typer(unit.app, name="unit")
app.add_typer(dose.app, name="dose")
app.add_typer(label.app)
app.add_typer(orders.app, name="orders")
app.add_typer(scanner.app, name="scanner")
app.add_typer(facts.app, name="facts")
app.add_typer(review.app, name="review")
app.command()(ask.ask)
app.command()(serve.serve)
app.add_typer(chart.app, name="chart")
app.add_typer(report.app, name="report")
app.add_typer(year.app, name="year")

WardOption = Annotated[
    Path | None,
    typer.Option("--ward", metavar="DIR", help="The ward's folder (default: the demonstration)."),
]
NamesOption = Annotated[
    bool,
    typer.Option("--names", help="Show names and identifiers as well; that you asked is recorded."),
]


def main() -> None:
    """The entry point of the installed command."""
    app()


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"checklist {__version__}")
        raise typer.Exit


@app.callback()
def root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Prepare a medication dose step by step, with every step checked and recorded."""


@app.command()
def demo(
    trail: TrailOption = None,
    fast: Annotated[bool, typer.Option("--fast", help="No pauses between the steps.")] = False,
) -> None:
    """Watch a scripted preparation, its stops put right."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.demo import play

        code = play(trail, fast=fast)
    raise typer.Exit(code)


@app.command()
def prepare(
    order: Annotated[
        str, typer.Argument(metavar="[ORDER]", help="The order; left out, it is asked.")
    ] = "",
    ward: WardOption = None,
    trail: TrailOption = None,
    station: StationOption = "",
    by: Annotated[
        str, typer.Option("--as", metavar="CODE", help="Your staff code; left out, it is asked.")
    ] = "",
    container: Annotated[
        str, typer.Option("--container", metavar="NAME", help="The container, where several fit.")
    ] = "",
    practice: PracticeOption = False,
    lines: Annotated[
        bool, typer.Option("--lines", help="Work from another program, one JSON object a line.")
    ] = False,
) -> None:
    """Prepare the dose of an order, step by step.

    It goes on where it was left.

    Exit code: 0 given, 1 ended without giving or put on hold, 2 the command or a file cannot be
    used, 3 the trail is not as it was recorded.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.preparing import guided, in_lines
        from checklist.faces.workplace import Place
        from checklist.observation import Channel

        place = Place(
            ward=ward,
            trail=trail,
            station=station,
            practice=practice,
            via=Channel.LINES if lines else None,
        )
        run = in_lines if lines else guided
        code = run(place, order, by=by, container=container)
    raise typer.Exit(code)


@app.command()
def called(
    ward: WardOption = None,
    trail: TrailOption = None,
    station: StationOption = "",
    by: Annotated[
        str, typer.Option("--as", metavar="CODE", help="Your staff code; left out, it is asked.")
    ] = "",
    practice: PracticeOption = False,
) -> None:
    """Prepare a dose that a leader calls for in an emergency, before an order is written.

    Your unit's own emergency rules come first.

    Exit code: 0 given, 1 ended without giving, put on hold or not begun, 2 the command or a file
    cannot be used, 3 the trail is not as it was recorded.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.calling import called
        from checklist.faces.workplace import Place

        code = called(Place(ward=ward, trail=trail, station=station, practice=practice), by=by)
    raise typer.Exit(code)


@app.command()
def show(
    preparation: Annotated[
        str, typer.Argument(metavar="[ID]", help="Its id, the beginning of it, or `last`.")
    ] = "last",
    trail: TrailOption = None,
    ward: WardOption = None,
    json: JsonOption = False,
    names: NamesOption = False,
    by: Annotated[
        str, typer.Option("--as", metavar="CODE", help="Your staff code, with --names.")
    ] = "",
) -> None:
    """Show a preparation step by step, and its label."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.record import show as shown

        shown(preparation, trail=trail, ward=ward, as_json=json, names=names, by=by)


@app.command("list")
def list_(trail: TrailOption = None, ward: WardOption = None, json: JsonOption = False) -> None:
    """List the preparations of a trail."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.record import listing

        listing(trail=trail, ward=ward, as_json=json)


if __name__ == "__main__":
    main()
