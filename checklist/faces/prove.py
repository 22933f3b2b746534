"""Commands that hold workflows against what is required of them: proof, hazards, checks, schema."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from checklist.faces.options import JsonOption

if TYPE_CHECKING:
    from checklist.hazard import Cell
    from checklist.proof import Proof

app = typer.Typer(
    help="Prove workflows, and see which hazards they stand against.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)
File = Annotated[
    Path | None,
    typer.Argument(metavar="[FILE]", help="A workflow file (default: all that ship)."),
]


@app.command()
def prove(file: File = None, json: JsonOption = False) -> None:
    """Prove that no path dodges a required barrier. Exit code 1 when one does."""
    from checklist.faces.leaving import WANTING, message, told

    with told():
        proofs = list(_proofs(file))
    broken = [proof for proof in proofs if proof.faults]
    if json:
        from json import dumps

        typer.echo(dumps([_data(proof) for proof in proofs]))
    else:
        for proof in proofs:
            found = f"{len(proof.faults)} ways round" if proof.faults else "proved"
            typer.echo(
                f"{proof.workflow}: {found}; {proof.barriers} barriers,"
                f" {proof.combinations} kinds of order"
            )
            for fault in proof.faults:
                message(str(fault))
        typer.echo("next: checklist workflow hazards" if not broken else _mend(broken[0]))
    if broken:
        raise typer.Exit(WANTING)


def _mend(proof: Proof) -> str:
    return f"next: mend {proof.faults[0].file}, then prove it again"


def _data(proof: Proof) -> dict[str, object]:
    return {
        "workflow": proof.workflow,
        "proved": not proof.faults,
        "barriers": proof.barriers,
        "combinations": proof.combinations,
        "faults": [
            {"file": fault.file, "step": fault.step, "sentence": fault.sentence}
            for fault in proof.faults
        ],
    }


def _proofs(file: Path | None) -> list[Proof]:
    """The proof of each workflow of a file, or of every shipped one."""
    from checklist import library
    from checklist.definition import WorkflowFaults
    from checklist.faces.leaving import CannotGoOn
    from checklist.proof import prove_all
    from checklist.requirement import RequiredFaults

    try:
        if file is None:
            flows = tuple(library.workflows().values())
            required = library.required()
        else:
            flows, required = library.read_own(file), library.required_beside(file)
    except WorkflowFaults as found:
        raise CannotGoOn("\n".join(map(str, found.faults))) from None
    except RequiredFaults as found:
        raise CannotGoOn("\n".join(found.sentences)) from None
    return [prove_all(flow, required) for flow in flows]


@app.command()
def hazards(
    id_: Annotated[
        str | None, typer.Argument(metavar="[ID]", help="One hazard, such as H12.")
    ] = None,
    tests: Annotated[
        Path | None,
        typer.Option("--tests", metavar="DIR", help="Also name the tests that plant each reason."),
    ] = None,
    json: JsonOption = False,
) -> None:
    """Show which barriers stand against each hazard, in which workflow, at which step."""
    from checklist.faces.leaving import WANTING, message, told

    with told():
        from checklist import library
        from checklist.hazard import matrix, orphans

        register, flows = library.hazards(), tuple(library.workflows().values())
        required = library.required()
        cells = matrix(register, flows, required)
        alone = tuple(orphans(register, cells, flows, required))
        planted = _planted(tests) if tests is not None else {}
        asked = _asked(id_)
    if json:
        from json import dumps

        typer.echo(dumps(_matrix_data(cells, planted)))
    else:
        for one in register.hazards.values():
            if asked in ("", one.id):
                _say(one.id, cells, planted, whole=bool(asked))
        for gap in register.gaps:
            if asked == gap.hazard:
                typer.echo(f"    nothing stands against it where it is {gap.where}: {gap.why}")
        for sentence in alone:
            message(sentence)
        typer.echo(
            "next: checklist workflow prove" if asked else "next: checklist workflow hazards H12"
        )
    if alone:
        raise typer.Exit(WANTING)


def _asked(id_: str | None) -> str:
    from checklist import library
    from checklist.faces.leaving import CannotGoOn

    known = library.hazards().hazards
    if id_ and id_.upper() not in known:
        raise CannotGoOn(f"There is no hazard {id_!r}. They are {min(known)} to {max(known)}.")
    return (id_ or "").upper()


def _planted(folder: Path) -> dict[str, list[str]]:
    """Reason code to the test files that name it, so that a barrier without a test is seen."""
    import re

    found: dict[str, list[str]] = {}
    for file in sorted(folder.glob("test_*.py")):
        for code in sorted(set(re.findall(r'"([a-z]+(?:_[a-z]+)+)"', file.read_text("utf-8")))):
            found.setdefault(code, []).append(file.stem)
    return found


def _matrix_data(cells: tuple[Cell, ...], planted: dict[str, list[str]]) -> list[dict[str, object]]:
    from checklist import library

    known = library.hazards().hazards
    return [
        {
            "hazard": cell.hazard,
            "title": known[cell.hazard].title,
            "severity": known[cell.hazard].severity,
            "workflow": cell.workflow,
            "barriers": {code: list(steps) for code, steps in cell.steps.items()},
            **({"tests": {code: planted.get(code, []) for code in cell.steps}} if planted else {}),
        }
        for cell in cells
    ]


def _say(id_: str, cells: tuple[Cell, ...], planted: dict[str, list[str]], *, whole: bool) -> None:
    from checklist import library
    from checklist.faces.saying import WIDEST, lines
    from checklist.requirement import stops

    one = library.hazards().hazards[id_]
    mine = [cell for cell in cells if cell.hazard == id_]
    hard = {code for cell in mine for code in cell.steps if stops(code)}
    soft = {code for cell in mine for code in cell.steps} - hard
    typer.echo(f"{one.id} {one.title} (severity {one.severity}, a proposal)")
    said = f"{len(mine)} workflows; {len(hard)} reasons stop, {len(soft)} warn or note"
    if not whole:
        typer.echo(f"    {said}")
        return
    for text in (f"cause: {one.cause}", f"harm: {one.harm}", f"source: {one.source}", said):
        for line in lines(text, WIDEST, first="    "):
            typer.echo(line)
    for code in (*sorted(hard), *sorted(soft)):
        typer.echo(f"    {code} ({'stops' if code in hard else 'warns or notes'})")
        for cell in mine:
            if code in cell.steps:
                text = f"{cell.workflow}: {', '.join(cell.steps[code])}"
                for line in lines(text, WIDEST, first="        "):
                    typer.echo(line)
        if planted:
            typer.echo(f"        tests: {', '.join(planted.get(code, ['none']))}")


@app.command()
def checks(
    word: Annotated[
        str, typer.Argument(metavar="[WORD]", help="Only those with this word in them.")
    ] = "",
    json: JsonOption = False,
) -> None:
    """List the checks and lines to choose from: what each looks at, its reasons, their source."""
    from checklist.faces.leaving import told

    with told():
        found = _checks(word)
    if json:
        from json import dumps

        typer.echo(dumps(found))
        return
    from checklist.faces.saying import WIDEST, lines

    for one in found:
        typer.echo(str(one["name"]))
        for line in lines(str(one["doc"]), WIDEST, first="    "):
            typer.echo(line)
        fields = one["fields"]
        assert isinstance(fields, dict)
        looks = ", ".join(f"{name} ({kind})" for name, kind in fields.items()) or "no entry"
        for line in lines(f"looks at: {looks}", WIDEST, first="    "):
            typer.echo(line)
        reasons = one["reasons"]
        assert isinstance(reasons, list)
        for reason in reasons:
            text = f"{reason['code']} ({reason['tier']}): {reason['source']}"
            for line in lines(text, WIDEST, first="      "):
                typer.echo(line)
    typer.echo(f"{len(found)} found")
    typer.echo("next: name one in `checks` of a step, or a code in `if_not` of a line to look at")


def _checks(word: str) -> list[dict[str, object]]:
    """The checks, and the reasons that only lines to look at or enter give."""
    from checklist.checks import CHECKS, REASONS

    def reason(code: str) -> dict[str, object]:
        one = REASONS[code]
        tier = f"{one.tier.value}, never lowered" if one.firm else one.tier.value
        return {"code": code, "tier": tier, "source": one.source.title}

    checked = {r.code for check in CHECKS.values() for r in check.reasons}
    found: list[dict[str, object]] = [
        {
            "name": check.name,
            "doc": " ".join(check.doc.split()),
            "fields": {name: kind.value for name, kind in check.fields.items()},
            "reasons": [reason(r.code) for r in check.reasons],
        }
        for check in CHECKS.values()
    ]
    found += [
        {
            "name": f"line: {code}",
            "doc": f"A line to look at. Answered not so: {one.found}",
            "fields": {},
            "reasons": [reason(code)],
        }
        for code, one in REASONS.items()
        if code not in checked
    ]
    return [one for one in found if word.casefold() in str(one).casefold()]


@app.command()
def schema(
    phases: Annotated[
        bool, typer.Option("--phases", help="For a file of shared phases instead.")
    ] = False,
) -> None:
    """Print the JSON Schema of workflow files, for editors that complete and check TOML."""
    from json import dumps

    from checklist.faces.leaving import told

    with told():
        from checklist.schema import schema_of

        drawn = schema_of(phases=phases)
    typer.echo(dumps(drawn, indent=2))
