"""Commands on workflows: the shipped ones by name, or a file of one's own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from checklist.faces.options import JsonOption

if TYPE_CHECKING:
    from checklist.workflow import Step, Workflow

app = typer.Typer(
    help="Look at the step sequences, one for each kind of container.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)
Name = Annotated[
    str,
    typer.Argument(
        metavar="NAME|FILE", help="As `checklist workflow list` shows it, or a file (.toml)."
    ),
]


@app.command("list")
def list_(json: JsonOption = False) -> None:
    """List the workflows that ship with this program."""
    from checklist.faces.leaving import told

    with told():
        from checklist import library

        known = library.workflows()
    data = [
        {
            "name": name,
            "title": one.title,
            "container": one.container,
            "version": one.version,
            "steps": len(one.steps),
            "digest": one.digest,
        }
        for name, one in known.items()
    ]
    if json:
        from json import dumps

        typer.echo(dumps(data))
        return
    for one in data:
        typer.echo(f"{one['name']}   {one['title']}, version {one['version']}")
        typer.echo(f"    {one['steps']} steps, before any falls away for an order")
    typer.echo(f"next: checklist workflow show {data[0]['name']}" if data else "next: none")


@app.command()
def show(name: Name, json: JsonOption = False) -> None:
    """Show a workflow: its phases and steps, what each asks and what is compared there."""
    from checklist.faces.leaving import told

    with told():
        flow = _named(name)
    if json:
        typer.echo(flow.text)
        return
    typer.echo(f"{flow.title}, version {flow.version}")
    number = 0
    for phase in flow.phases:
        typer.echo(f"\n{phase.title} ({phase.mode})")
        for step in phase.steps:
            number += 1
            _say(number, step)
    _say_observed(flow)
    typer.echo(f"\nnext: checklist workflow draw {name}")


def _say_observed(flow: Workflow) -> None:
    """What an observer looks for besides, step by step."""
    from checklist.faces.saying import WIDEST, lines

    if flow.observe:
        typer.echo("\nWhat an observer looks for (checklist review observe; * critical)")
    step = ""
    for one in flow.observe:
        if one.step != step:
            step = one.step
            typer.echo(f"     {step}")
        mark = "*" if one.critical else "-"
        for line in lines(f"{one.say} ({one.name})", WIDEST, first=f"       {mark} "):
            typer.echo(line)


def _say(number: int, step: Step) -> None:
    from checklist.faces.saying import WIDEST, lines

    marks = [f"by the {step.who.value}"] if step.who.value != "preparer" else []
    marks += [f"only if {' and '.join(step.only_if)}"] if step.only_if else []
    marks += ["critical"] if step.critical else []
    told = f"  [{', '.join(marks)}]" if marks else ""
    for line in lines(f"{step.ask}{told}", WIDEST, first=f"{number:>3}  "):
        typer.echo(line)
    for field in step.fields:
        for line in lines(f"{field.say} ({field.kind.value})", WIDEST, first="       - "):
            typer.echo(line)
    if step.checks:
        compared = ", ".join(check.replace("_", " ") for check in step.checks)
        for line in lines(f"compared: {compared}", WIDEST, first="       "):
            typer.echo(line)


@app.command()
def check(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A workflow file (TOML).")],
    json: JsonOption = False,
) -> None:
    """Read a workflow file and tell every fault at once. Exit code 1 when there is one."""
    from checklist.faces.leaving import WANTING, message, told

    with told():
        from checklist import library
        from checklist.definition import WorkflowFaults

        faults, counts = [], {}
        try:
            flow = library.read_own(file)[0]
        except WorkflowFaults as found:
            faults = found.faults
        else:
            every = [step for phase in (*flow.phases, *flow.asides) for step in phase.steps]
            checks = {name for step in every for name in step.checks}
            counts = {"steps": len(every), "checks": len(checks)}
    if json:
        from json import dumps

        told_of = [{"file": f.file, "step": f.step, "sentence": f.sentence} for f in faults]
        typer.echo(dumps({**counts, "faults": told_of}))
    elif not faults:
        typer.echo(f"no faults: {counts['steps']} steps, {counts['checks']} checks")
        typer.echo(f"next: checklist workflow prove {file}")
    if faults:
        if not json:
            for fault in faults:
                message(str(fault))
        raise typer.Exit(WANTING)


@app.command()
def draw(
    name: Name,
    full: Annotated[
        bool, typer.Option("--full", help="Every move, with stops, cautions and breaks.")
    ] = False,
) -> None:
    """Draw a workflow as a Mermaid state diagram."""
    from checklist.faces.leaving import message, told

    with told():
        from checklist.workflow import mermaid

        drawn = mermaid(_named(name), full=full)
    typer.echo(drawn, nl=False)
    message("next: paste it where Mermaid is drawn, such as a code block of a Markdown page")


def _named(name: str) -> Workflow:
    from checklist import library
    from checklist.faces.leaving import CannotGoOn

    if name.endswith(".toml"):
        return library.read_own(Path(name))[0]
    known = library.workflows()
    if name not in known:
        raise CannotGoOn(f"There is no workflow {name!r}. Known: {', '.join(known) or 'none'}.")
    return known[name]
