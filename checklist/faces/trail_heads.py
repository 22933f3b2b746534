"""Commands on the heads of a trail: sign one, print the key, prove one preparation."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from checklist.faces.options import TrailOption, TrailsWardOption

app = typer.Typer(rich_markup_mode=None, add_completion=False)


@app.command()
def checkpoint(trail: TrailOption = None, ward: TrailsWardOption = None) -> None:
    """Sign the head of the trail, keep it elsewhere, print it.

    The note on stdout can be printed, photographed or sent: kept where nobody who can write to
    the trail can change it, it shows later that the trail still goes on from it. A head that does
    not go on from the last one is never signed; the exit code is then 3.
    """
    from checklist.faces.leaving import CannotGoOn, message, told

    with told():
        from checklist.faces.notarial import heads_of, notary_of
        from checklist.faces.workplace import trail_to_read
        from checklist.trail import Trail

        with Trail.open(trail_to_read(trail, ward), read_only=True) as kept:
            notary = notary_of(kept)
            note = notary.checkpoint()
            heads = heads_of(kept.path, kept.origin.id)
        if notary.trouble:
            raise CannotGoOn(notary.trouble)
        if note is None:
            raise CannotGoOn("Nothing is recorded in this trail yet, so it has no head.")
        typer.echo(str(note), nl=False)
        message(f"kept in {heads.folder}")


@app.command()
def key(
    trail: TrailOption = None,
    ward: TrailsWardOption = None,
    person: Annotated[
        str,
        typer.Option("--make-for", metavar="CODE", help="Make a person's own key, and print that."),
    ] = "",
) -> None:
    """Print the public key for the trail's heads.

    Whoever is to verify them needs it, and is to have it from you, not with the heads. A person
    who has a key of their own signs with it what they do at this device.
    """
    from checklist.faces.leaving import told

    if person:
        with told():
            from checklist.faces.notarial import keys

            typer.echo(str(keys().make_person(person).key()))
        return

    with told():
        from checklist.faces.notarial import key_of
        from checklist.faces.workplace import trail_to_read
        from checklist.trail import Trail

        with Trail.open(trail_to_read(trail, ward), read_only=True) as kept:
            typer.echo(str(key_of(kept.origin.id)))


@app.command()
def prove(
    preparation: Annotated[
        str, typer.Argument(metavar="[ID]", help="Its id, the beginning of it, or `last`.")
    ] = "last",
    trail: TrailOption = None,
    ward: TrailsWardOption = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="A new file; stdout when left out.")
    ] = None,
) -> None:
    """Write one preparation with its proof, as JSON.

    It can be checked without the trail and without anybody else's data; the program for that,
    checklist/independent/check_proof.py, shares no code with this one.
    """
    from checklist.faces.leaving import told

    with told():
        from json import dumps

        from checklist.faces.notarial import proved, written
        from checklist.faces.workplace import trail_to_read

        text = dumps(proved(trail_to_read(trail, ward), preparation), indent=1) + "\n"
        if to is None:
            typer.echo(text, nl=False)
        else:
            written(to, text)
            typer.echo(f"next: python check_proof.py {to} --key KEY")
