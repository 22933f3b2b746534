"""Commands for the unit educator, and for each person about their own work."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from checklist.faces.options import JsonOption, TrailOption, WardOption


class _Replays(TyperGroup):
    """A group whose word that is no command is the preparation to replay."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        if args and not args[0].startswith("-") and args[0] not in self.commands:
            args = ["replay", *args]
        return super().parse_args(ctx, args)


app = typer.Typer(
    cls=_Replays,
    help=(
        "Look back at preparations: `checklist review ID` replays one. A person's work is shown to"
        " that person and to the unit's educator, and nobody is ranked."
    ),
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)

ByOption = Annotated[
    str, typer.Option("--as", metavar="CODE", help="Your staff code; left out, it is asked.")
]
NamedArgument = Annotated[
    str, typer.Argument(metavar="[ID]", help="Its id, the beginning of it, or `last`.")
]
PersonArgument = Annotated[str, typer.Argument(metavar="PERSON", help="A staff code.")]
ContainerOption = Annotated[
    str, typer.Option("--container", metavar="NAME", help="The container, as glass_ampoule; `all`.")
]


@app.callback()
def review() -> None:
    """Look back at preparations: replay, observe, agree, learn."""


@app.command()
def replay(
    preparation: NamedArgument = "last",
    trail: TrailOption = None,
    ward: WardOption = None,
    by: ByOption = "",
    json: JsonOption = False,
) -> None:
    """Replay a preparation: what happened when, and how long each step took."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.replaying import replay as replayed

        replayed(preparation, trail=trail, ward=ward, by=by, as_json=json)


@app.command()
def observe(
    preparation: NamedArgument = "last",
    trail: TrailOption = None,
    ward: WardOption = None,
    by: ByOption = "",
    lines: Annotated[
        bool, typer.Option("--lines", help="Work from another program, one JSON object a line.")
    ] = False,
) -> None:
    """Record what you saw of the technique, while somebody prepares or afterwards.

    Each answer is an entry of its own, kept beside the trail: the nurse never waits for it. An
    observation that was left goes on where it was. Exit code 1 when it is not complete.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.observing import guided, in_lines

        run = in_lines if lines else guided
        code = run(preparation, trail=trail, ward=ward, by=by)
    raise typer.Exit(code)


@app.command()
def correct(
    observation: Annotated[str, typer.Argument(metavar="OBSERVATION", help="Its id.")],
    item: Annotated[str, typer.Argument(metavar="ITEM", help="The item's name.")],
    answer: Annotated[
        str, typer.Argument(metavar="ANSWER", help="seen, `not so` or `not observable`.")
    ],
    because: Annotated[
        str, typer.Option("--because", metavar="TEXT", help="Why; kept with the new entry.")
    ] = "",
    trail: TrailOption = None,
    ward: WardOption = None,
    by: ByOption = "",
) -> None:
    """Correct an answer of your own observation by a new entry; the first one stays."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.observing import correct as corrected

        corrected(observation, item, answer, because, trail=trail, ward=ward, by=by)


@app.command()
def agreement(
    container: ContainerOption = "",
    trail: TrailOption = None,
    ward: WardOption = None,
    by: ByOption = "",
    json: JsonOption = False,
) -> None:
    """Compare observers of the same preparations, item by item (Cohen, Fleiss)."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.coaching import agreement as compared

        compared(container, trail=trail, ward=ward, by=by, as_json=json)


@app.command()
def progress(
    person: PersonArgument,
    container: ContainerOption = "",
    step: Annotated[
        str, typer.Option("--step", metavar="NAME", help="Judge this step alone.")
    ] = "",
    acceptable: Annotated[
        float, typer.Option("--acceptable", help="p0: share of attempts not right that will do.")
    ] = 0.10,
    unacceptable: Annotated[
        float, typer.Option("--unacceptable", help="p1: share that will not do.")
    ] = 0.20,
    alpha: Annotated[float, typer.Option("--alpha", help="Risk: stopped without cause.")] = 0.10,
    beta: Annotated[float, typer.Option("--beta", help="Risk: passed without cause.")] = 0.10,
    trail: Annotated[
        list[Path] | None,
        typer.Option("--trail", metavar="FILE", help="The trail file; several may be named."),
    ] = None,
    ward: WardOption = None,
    by: ByOption = "",
    json: JsonOption = False,
    ids: Annotated[
        bool, typer.Option("--ids", help="Name the preparation of each attempt.")
    ] = False,
    every: Annotated[
        bool,
        typer.Option("--every-stop", help="Count what the person told of themselves as well."),
    ] = False,
) -> None:
    """Show a person's learning curve and CUSUM, with everything that is assumed."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.coaching import progress as shown
        from checklist.review.cusum import Plan
        from checklist.review.unusable import Unusable

        try:
            plan = Plan(acceptable=acceptable, unacceptable=unacceptable, alpha=alpha, beta=beta)
        except Unusable as fault:
            from checklist.faces.leaving import CannotGoOn

            raise CannotGoOn(str(fault)) from fault
        shown(
            person,
            container,
            step,
            plan,
            trails=trail or [],
            ward=ward,
            by=by,
            as_json=json,
            ids=ids,
            every=every,
        )


@app.command()
def due(
    person: Annotated[
        str, typer.Argument(metavar="[PERSON]", help="A staff code; left out, everybody.")
    ] = "",
    within: Annotated[
        int, typer.Option("--within", metavar="DAYS", help="Only what is due by then.")
    ] = 0,
    trail: TrailOption = None,
    ward: WardOption = None,
    by: ByOption = "",
    json: JsonOption = False,
) -> None:
    """List what has a last day in date, by that day: the competency record."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.deciding import due as listed

        listed(person, within, trail=trail, ward=ward, by=by, as_json=json)


@app.command()
def decide(
    person: PersonArgument,
    container: Annotated[str, typer.Argument(metavar="CONTAINER", help="As glass_ampoule.")],
    outcome: Annotated[str, typer.Argument(metavar="OUTCOME", help="competent or `not yet`.")],
    on: Annotated[
        list[str] | None,
        typer.Option("--on", metavar="OBSERVATION", help="What it rests on; may be repeated."),
    ] = None,
    until: Annotated[
        str, typer.Option("--until", metavar="DATE", help="Last day in date (2027-11-25).")
    ] = "",
    trail: TrailOption = None,
    ward: WardOption = None,
    by: ByOption = "",
) -> None:
    """Record a decision on a person's competence with a container, resting on observations."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.deciding import decide as decided

        decided(person, container, outcome, on or [], until, trail=trail, ward=ward, by=by)


@app.command()
def feedback(
    about: Annotated[
        str, typer.Argument(metavar="PERSON|ID", help="A staff code, a preparation, or `last`.")
    ] = "last",
    container: ContainerOption = "",
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="Write it: .txt or .md; PDF by `checklist report`."
        ),
    ] = None,
    names: Annotated[bool, typer.Option("--names", help="Put the person's name on it.")] = False,
    trail: TrailOption = None,
    ward: WardOption = None,
    by: ByOption = "",
) -> None:
    """One page: what went well, what to change, the next step."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.coaching import feedback as made

        made(about, container, out, trail=trail, ward=ward, by=by, names=names)


@app.command()
def events(
    out: Annotated[Path, typer.Argument(metavar="DIR", help="A folder, made when missing.")],
    trail: TrailOption = None,
    ward: WardOption = None,
    by: ByOption = "",
) -> None:
    """Export the events (OCEL 2.0) and a net of each workflow (PNML), and play one on the other.

    Exit code 1 when a preparation does not play on its workflow's net.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.event_export import events as exported

        code = exported(out, trail=trail, ward=ward, by=by)
    raise typer.Exit(code)
