"""`checklist trail acts`: what happened at the place of work beside any preparation."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from checklist.faces.options import JsonOption, TrailOption, TrailsWardOption

if TYPE_CHECKING:
    from checklist.preparation import Event

app = typer.Typer(rich_markup_mode=None, add_completion=False)

MOST = 10_000


@app.command()
def acts(
    trail: TrailOption = None,
    ward: TrailsWardOption = None,
    only: Annotated[
        list[str] | None,
        typer.Option("--only", metavar="KIND", help="Only acts of this kind; may be repeated."),
    ] = None,
    last: Annotated[
        int, typer.Option("--last", metavar="N", min=1, max=MOST, help="How many of the newest.")
    ] = 30,
    json: JsonOption = False,
) -> None:
    """List what happened beside preparations, the newest first.

    Sign-ins and those that were refused, acts that nobody was allowed, forms that were turned
    away, locks, keys, heads, exports, backups. Times are UTC; people stand by their codes.
    """
    from checklist.faces.leaving import CannotGoOn, told

    with told():
        from itertools import islice
        from json import dumps

        from checklist import codec
        from checklist.faces.workplace import quoted, trail_to_read
        from checklist.preparation import WORKPLACE_KINDS
        from checklist.trail import Trail

        for kind in only or ():
            if kind not in WORKPLACE_KINDS:
                raise CannotGoOn(
                    f"{quoted(kind)} is no kind of act. Kinds: {', '.join(WORKPLACE_KINDS)}."
                )
        with Trail.open(trail_to_read(trail, ward), read_only=True) as kept:
            found = [e.event for e in islice(kept.acts(tuple(only or WORKPLACE_KINDS)), last)]
        if json:
            shown = [
                {
                    "at": codec.time_out(one.at), "kind": one.kind, "by": one.by,
                    "station": one.station, "body": one.body,
                }
                for one in found
            ]  # fmt: skip
            typer.echo(dumps(shown, ensure_ascii=False, indent=1))
            return
        if not found:
            typer.echo("Nothing of that kind is recorded.")
        for one in found:
            typer.echo(_line(one))


def _line(event: Event) -> str:
    """An act on one line: when, what, by whom, where, and what its body says."""
    from checklist.faces.saying import harmless

    told = [
        f"{name} {', '.join(map(str, value)) if isinstance(value, list) else value}"
        for name, value in event.body.items()
        if value not in ("", None, [], "0") and value != event.by
    ]
    place = event.station or "-"
    head = f"{event.at:%Y-%m-%d %H:%M:%S}Z  {event.kind:14}  {event.by:9}  {place:7}"
    return harmless(f"{head}  {'; '.join(told)}".rstrip())
