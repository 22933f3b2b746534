"""Answers that are worked out from several numbers, and letters of harm, at the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import typer

from checklist.faces.asking import Wish, checked, checked_day, engine_of
from checklist.faces.leaving import CannotGoOn
from checklist.faces.saying import harmless
from checklist.faces.workplace import quoted, real_clock
from checklist.facts import worked
from checklist.facts.engine import Scope
from checklist.facts.folder import Folder
from checklist.facts.harm import enter
from checklist.facts.label import HARM
from checklist.review.small_cell import FLOOR
from checklist.review.unusable import Unusable


def harm(facts: Path, preparation: str, letter: str, by: str, because: str) -> None:
    """Enter a letter of harm for a preparation that the facts hold."""
    engine = engine_of(Wish(name="", facts=facts))
    try:
        known = {id_ for (id_,) in engine.rows("SELECT preparation FROM preparations").rows}
    finally:
        engine.close()
    if preparation not in known:
        raise CannotGoOn(
            f"The facts in {facts} hold no preparation {preparation!r}. Give its whole id."
        )
    enter(Folder(facts), preparation, letter, by=by, because=because, at=real_clock())
    typer.echo(harmless(f"{preparation}: {letter}, {HARM[letter]}"))
    typer.echo(f"next: checklist ask harm --facts {quoted(facts)}")


def before_after(facts: Path, day: str, unit: str) -> None:
    """Tell the two rates and their ratio."""
    for line in before_after_said(facts, day, unit):
        typer.echo(line)
    _checked(facts)


def before_after_said(facts: Path, day: str, unit: str) -> list[str]:
    """The two rates and their ratio, a line for each. Raises CannotGoOn."""
    checked_day(day)
    engine = engine_of(Wish(name="", facts=facts, scope=Scope(unit=unit)))
    try:
        found = worked.before_after(engine, day)
    except Unusable as fault:
        raise CannotGoOn(str(fault)) from fault
    finally:
        engine.close()
    said = []
    for when, (stops, made) in (("before", found.before), ("from then on", found.after)):
        if made < FLOOR.preparations:
            raise CannotGoOn(f"Too few preparations {when} to be shown.")
        said.append(f"{when:<13} {stops} refusals in {made} preparations, {_per(stops, made)}")
    ratio = found.ratio
    return [
        *said,
        (
            f"ratio         {ratio.ratio:.2f} ({ratio.low:.2f} to {ratio.high:.2f}, exact 95 %"
            f" limits), P {ratio.p_value:.3g}"
        ),
        "The day has to be chosen before the numbers are seen; a chart shows the rest.",
    ]


def gaps(facts: Path, reasons: Sequence[str], unit: str, *, ids: bool) -> None:
    """Tell the gaps between rare events, and the one that is still open."""
    engine = engine_of(Wish(name="", facts=facts, scope=Scope(unit=unit)))
    try:
        found = worked.gaps(engine, reasons)
    finally:
        engine.close()
    if ids:
        for id_, gap in found.events:
            typer.echo(f"{id_}\t{gap}")
        return
    for line in gaps_said(found, reasons):
        typer.echo(harmless(line))
    _checked(facts)


def gaps_said(found: worked.Gaps, reasons: Sequence[str]) -> list[str]:
    """What the gaps between rare events come to, a line for each."""
    said = [f"{len(found.events)} events: {', '.join(reasons)}"]
    if found.events:
        counts = sorted(gap for _, gap in found.events)
        said.append(f"preparations from one to the next, middle one: {counts[len(counts) // 2]}")
    said.append(f"preparations since the last: {found.open}")
    if found.high is not None:
        word = "a signal: rarer than before" if found.signal else "no signal"
        said.append(f"exact limit for a gap: {found.high:.0f}; {word}")
    return said


def audit_size(expected: float, half_width: float) -> None:
    """Tell the two sizes of an audit."""
    for line in audit_size_said(expected, half_width):
        typer.echo(line)


def audit_size_said(expected: float, half_width: float) -> tuple[str, str]:
    """The two sizes of an audit, a line for each. Raises CannotGoOn."""
    try:
        found = worked.audit_size(expected, half_width)
    except Unusable as fault:
        raise CannotGoOn(str(fault)) from fault
    return (
        (
            f"{found.for_width} preparations: a share near {100 * expected:g} % is known within"
            f" {100 * half_width:g} % (Wilson)."
        ),
        (
            f"{found.without_event} preparations without one show that it is below"
            f" {100 * expected:g} % (95 %)."
        ),
    )


def reports(facts: Path, file: Path) -> None:
    """Tell how many near misses were reported, and the least number that there were."""
    reported = [line.strip() for line in _lines(file)]
    engine = engine_of(Wish(name="", facts=facts))
    try:
        found = worked.reports(engine, reported)
    except Unusable as fault:
        raise CannotGoOn(str(fault)) from fault
    finally:
        engine.close()
    share = found.share
    typer.echo(
        f"{found.near_misses} preparations with a near miss, {found.reports} reported,"
        f" {found.both} both"
    )
    typer.echo(
        f"reported: {100 * share.estimate:.1f} % ({100 * share.low:.1f} to {100 * share.high:.1f})"
    )
    typer.echo(
        f"at least {found.all.estimate:.0f} in all ({found.all.low:.0f} to {found.all.high:.0f}) by"
        " two sources; they are not independent, so this is a lower bound"
    )
    _checked(facts)


def judged(file: Path) -> None:
    """Tell the share of judged refusals that were right."""
    found: dict[str, bool] = {}
    for number, line in enumerate(_lines(file), start=1):
        id_, comma, word = line.partition(",")
        if not comma or word.strip() not in ("right", "not right"):
            raise CannotGoOn(
                f"Line {number} of {file} reads {line!r}. Write an id, a comma, and `right` or"
                " `not right`."
            )
        found[id_.strip()] = word.strip() == "right"
    if not found:
        raise CannotGoOn(f"{file} holds no line. Judge a sample first.")
    share = worked.judged_right(found)
    typer.echo(
        f"{share.count} of {share.base} refusals were right: {100 * share.estimate:.1f} %"
        f" ({100 * share.low:.1f} to {100 * share.high:.1f}, Wilson)"
    )


def _lines(file: Path) -> list[str]:
    try:
        return [line for line in file.read_text(encoding="utf-8").splitlines() if line.strip()]
    except (OSError, UnicodeDecodeError) as fault:
        raise CannotGoOn(f"{file} cannot be read ({fault}).") from fault


def _per(stops: int, made: int) -> str:
    return f"{1000 * stops / made:.0f} in 1000"


def _checked(facts: Path) -> None:
    for line in checked(Folder(facts)):
        typer.echo(harmless(line))
