"""The command `checklist dose`: any dose sum by name, with its working, its formula and its source.

Nothing but the names of the sums is imported before a sum is asked for.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from checklist.dose.sheets.names import NAMES
from checklist.faces.leaving import USAGE, WANTING

if TYPE_CHECKING:
    from checklist.dose.own import Compared
    from checklist.dose.sheets.sheet import Given, Outcome, Sheet, Shelf
    from checklist.dose.working import Working
    from checklist.quantity import Quantity

Words = Annotated[
    list[str] | None,
    typer.Argument(help="Each blank's name, then its value: dose 60 mg strength 80 mg in 2 mL"),
]
Mine = Annotated[str, typer.Option("--mine", help="Your own answer, to be compared: 1.5 mL")]
AsJson = Annotated[bool, typer.Option("--json", help="Print data for another program.")]

# A word like -2 is the sum's to refuse, with a sentence, and no option.
_WORDS = {"ignore_unknown_options": True}

app = typer.Typer(
    name="dose",
    help="Dose sums, exact, with every line of the working.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)


@app.command("list", help="Name every sum.")
def list_sums(as_json: AsJson = False) -> None:
    """Print the name of every sum and what it works out."""
    if as_json:
        typer.echo(json.dumps([{"kind": name, "works_out": says} for name, says in NAMES.items()]))
        return
    width = max(map(len, NAMES))
    for name, says in NAMES.items():
        _say(says, first=f"{name:<{width}}  ")
    _say("next: checklist dose explain volume")


@app.command("explain", help="Show a sum's formula, what it asks for, its source and an example.")
def explain(
    kind: Annotated[str, typer.Argument(help="The name of the sum, see: checklist dose list")],
    as_json: AsJson = False,
) -> None:
    """Print what a sum asks for and where its formula comes from."""
    sheet, shelf = _sheet(kind), _shelf()
    figures = _figures(sheet, shelf)
    if as_json:
        asks = [
            {"name": e.name, "what": e.what, "example": e.example, "needed": e.needed}
            for e in sheet.asks
        ]
        typer.echo(
            _dumped(
                {
                    "kind": sheet.name,
                    "works_out": NAMES[sheet.name],
                    "formula": sheet.formula,
                    "asks": asks,
                    "source": _source(sheet),
                    "figures": [dict(zip(_FIGURES, row, strict=True)) for row in figures],
                    "example": f"checklist dose {sheet.name} {sheet.example}",
                }
            )
        )
        return
    _say(f"{sheet.name}: {NAMES[sheet.name]}")
    _say(sheet.formula, first="formula: ")
    width = max(len(blank.name) for blank in sheet.asks)
    for blank in sheet.asks:
        needed = "" if blank.needed else " (may be left out)"
        _say(f"{blank.what}, like {blank.example}{needed}", first=f"  {blank.name:<{width}}  ")
    _say(f"{sheet.source.title} [{sheet.source.status}]", first="source: ")
    for name, figure, title, status in figures:
        _say(f"{figure}: {name} [{title}; {status}]", first="  ", rest="      ")
    _say(f"checklist dose {sheet.name} {sheet.example}", first="next: ")


def _command(name: str) -> Callable[[Words, Mine, AsJson], None]:
    """The command of one sum."""

    def work(words: Words = None, mine: Mine = "", as_json: AsJson = False) -> None:
        _work(name, words or [], mine, as_json)

    return work


for _name, _says in NAMES.items():
    app.command(_name, help=f"Work out {_says}.", context_settings=_WORDS)(_command(_name))


def _work(name: str, words: Sequence[str], mine: str, as_json: bool) -> None:
    """Work out one sum and print it; leave with 1 when it is refused, 2 when it cannot be read."""
    from checklist.dose.sheets.sheet import Unreadable, filled, worked_out
    from checklist.dose.working import DoseFault
    from checklist.quantity import DimensionMismatch

    sheet = _sheet(name)
    try:
        given = filled(sheet, words)
    except Unreadable as trouble:
        _refuse(f"{trouble}\nFor example: checklist dose {name} {sheet.example}", usage=True)
    own = _own(sheet, mine)
    try:
        found = worked_out(sheet, given, _shelf())
        compared = _compared(own, found)
    except (DoseFault, DimensionMismatch, ValueError) as trouble:
        _refuse(str(trouble))
    if compared is not None and not compared.same:
        # What differs is worked out again before the answer is seen.
        if as_json:
            typer.echo(_dumped({"kind": name, "inputs": _inputs(given), "mine": _mine(compared)}))
        else:
            _say(compared.line, first="yours: ")
            _say("next: work it out again, or leave --mine out to see the working")
        raise typer.Exit(WANTING)
    if as_json:
        typer.echo(_dumped(_data(sheet, given, found, compared)))
    else:
        _show(sheet, found, compared)
    if not found.stands:
        raise typer.Exit(WANTING)


def _own(sheet: Sheet, mine: str) -> Quantity | None:
    """The own answer as it was typed; leaves with 2 when it cannot be read."""
    from checklist.quantity import Quantity

    if not mine:
        return None
    try:
        return Quantity.parse(mine)
    except (ValueError, TypeError) as trouble:
        _refuse(f"--mine: {trouble}", usage=True)


def _compared(own: Quantity | None, found: Outcome) -> Compared | None:
    from checklist.dose.own import compared
    from checklist.dose.working import DoseFault

    if own is None:
        return None
    if found.working is None:
        raise DoseFault("This sum has no single amount to compare an own answer with.")
    return compared(own, found.working)


def _show(sheet: Sheet, found: Outcome, compared: Compared | None) -> None:
    """Print a sum for a person: the lines as on paper, the outcome, what to look at."""
    from checklist.faces.blocks import FOOTER
    from checklist.quantity import words

    _say(f"{sheet.name}: {NAMES[sheet.name]}")
    for line in found.lines:
        _say(line, first="  ", rest="      ")
    _table(found.table)
    value = found.working.value if found.working is not None else None
    spoken = f" ({words(value)})" if value is not None and found.said == str(value) else ""
    _say(f"{found.said}{spoken}", first="result: ")
    if compared is not None:
        _say(compared.line, first="yours: ")
    for caution in found.cautions:
        _say(caution, first="look again: ")
    for missing in found.not_compared:
        _say(missing, first="not compared: ")
    _say(f"{sheet.source.title} [{sheet.source.status}]", first="source: ")
    _say(FOOTER)
    _say(f"next: checklist dose explain {sheet.name}")


def _table(table: tuple[tuple[str, ...], ...]) -> None:
    """Print a table in columns, the last cell of each row below it; as text where it is narrow."""
    if not table:
        return
    widths = [max(len(row[place]) for row in table) for place in range(len(table[0]) - 1)]
    fits = sum(widths) + 2 * len(widths) <= _width()
    for row in table:
        if fits:
            cells = zip(row, widths, strict=False)
            typer.echo("  " + "  ".join(f"{cell:<{width}}" for cell, width in cells).rstrip())
        else:
            _say(", ".join(cell for cell in row[:-1] if cell), first="  ", rest="      ")
        if row is not table[0] and row[-1]:
            _say(row[-1], first="      ")


def _data(
    sheet: Sheet, given: Given, found: Outcome, compared: Compared | None
) -> Mapping[str, Any]:
    """A sum as data: every number is text, the exact value a fraction."""
    heading, *rows = found.table or ((),)
    data = {
        "kind": sheet.name,
        "inputs": _inputs(given),
        "said": found.said,
        "stands": found.stands,
        **(_outcome(found.working) if found.working is not None else {}),
        "working": list(found.lines),
        "cautions": list(found.cautions),
        "not_compared": list(found.not_compared),
        "source": _source(sheet),
    }
    if rows:
        data["table"] = [dict(zip(heading, row, strict=True)) for row in rows]
    if compared is not None:
        data["mine"] = _mine(compared)
    return data


def _outcome(working: Working) -> dict[str, Any]:
    change = working.change
    return {
        "value": _amount(working.value),
        "exact": _amount(working.exact),
        "within": None if working.within is None else _amount(working.within),
        "rounding": None
        if change is None
        else {
            "step": _amount(change.step),
            "how": change.how.value,
            "lost": _amount(change.lost),
            "share": str(change.share),
            "said": str(change),
        },
    }


def _amount(quantity: Quantity) -> dict[str, str]:
    from checklist.number import plain

    return {
        "value": plain(quantity.magnitude),
        "unit": quantity.unit,
        "fraction": str(quantity.magnitude),
        "shown": str(quantity),
    }


def _inputs(given: Given) -> dict[str, Any]:
    from checklist.quantity import Concentration, Quantity, Rounding

    def stated(value: object) -> object:
        if isinstance(value, Quantity):
            return _amount(value)
        if isinstance(value, Concentration):
            return {"amount": _amount(value.amount), "per": _amount(value.per)}
        return value.value if isinstance(value, Rounding) else str(value)

    return {name: stated(value) for name, value in given.items()}


def _mine(compared: Compared) -> dict[str, Any]:
    return {"value": _amount(compared.mine), "same": compared.same, "side": compared.side}


def _source(sheet: Sheet) -> dict[str, str]:
    return {"title": sheet.source.title, "status": sheet.source.status}


_FIGURES = ("name", "figure", "source", "status")


def _figures(sheet: Sheet, shelf: Shelf) -> list[tuple[str, str, str, str]]:
    """The published figures that belong beside a sum; they are shown, and never taken unasked."""
    table = shelf.figures
    rows = {
        "": [],
        "factors": [(row.name, str(row.factor), row.citation) for row in table.factors],
        "drop_sets": [(row.name, str(row.drops), row.citation) for row in table.drop_sets],
        "roundings": [
            (f"{row.use} from {row.least}, {row.how.value}", str(row.step), row.citation)
            for row in table.roundings
        ],
        "salts": [
            (f"{row.name}, {row.ion} counted, valence {row.valence}", str(row.molar_mass),
             row.citation)
            for row in table.salts
        ],
    }[sheet.shows]  # fmt: skip
    return [(name, figure, cited.title, cited.status) for name, figure, cited in rows]


def _sheet(name: str) -> Sheet:
    from checklist.dose.sheets.catalogue import SHEETS

    if name not in SHEETS:
        _refuse(f'There is no sum "{name}". See: checklist dose list', usage=True)
    return SHEETS[name]


def _shelf() -> Shelf:
    from checklist import library
    from checklist.dose.sheets.sheet import Shelf
    from checklist.faces.leaving import told

    with told():
        return Shelf(limits=library.limits(), figures=library.dose_figures())


def _dumped(data: object) -> str:
    return json.dumps(data, ensure_ascii=False)


def _width() -> int:
    import shutil

    from checklist.faces.saying import WIDEST

    return min(shutil.get_terminal_size().columns, WIDEST)


def _say(text: str, *, first: str = "", rest: str | None = None) -> None:
    """Print a text in lines that fit, none of which parts a number from its unit."""
    from checklist.faces.saying import lines

    for line in lines(text, _width(), first=first, rest=rest):
        typer.echo(line)


def _refuse(sentences: str, *, usage: bool = False) -> NoReturn:
    """Say why on the error stream and leave; nothing is printed as data."""
    from checklist.faces.leaving import message

    for sentence in sentences.splitlines():
        message(sentence)
    raise typer.Exit(USAGE if usage else WANTING)
