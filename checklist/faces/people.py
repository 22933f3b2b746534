"""Commands on the people of a ward: who they are, what they may do, their PINs; all recorded."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from checklist.faces.options import AsOption, JsonOption, WardOption

if TYPE_CHECKING:
    from checklist.intake.ward import Ward
    from checklist.trail import Trail

app = typer.Typer(
    help="See, add, lock and unlock people, and set PINs.",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
)
Code = Annotated[str, typer.Argument(metavar="CODE", help="The person's staff code.")]
TrailOption = Annotated[
    Path | None,
    typer.Option("--trail", metavar="FILE", help="The trail file (default: the ward's own)."),
]


@app.command("list")
def list_(
    ward: WardOption = None,
    trail: TrailOption = None,
    names: Annotated[
        bool, typer.Option("--names", help="Show names as well; needs --as, and is recorded.")
    ] = False,
    by: AsOption = "",
    json: JsonOption = False,
) -> None:
    """List the people of a ward: roles, PIN, lock, and what is in date until when."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.errand import errand
        from checklist.permission import Action

        folder, path = _places(ward, trail)
        if names:
            _made(folder, path)
            with errand(path, folder, by, Action.READ_NAMES) as here:
                here.record("names_shown", {"preparation": "", "what": "people list"})
        rows = _rows(folder, path, names=names)
    if json:
        from json import dumps

        typer.echo(dumps({"people": rows}))
        return
    from checklist.faces.saying import WIDEST, lines

    for row in rows:
        head = f"{row['code']}  {row['name']}" if names else row["code"]
        parts = [", ".join(row["roles"]) or "no role", row["state"], f"PIN {row['pin']}"]
        parts += [f"{task} until {day}" for task, day in row["competent"].items()]
        for line in lines("; ".join(parts), WIDEST, first=f"{head:<8}", rest="        "):
            typer.echo(line)


@app.command()
def roles() -> None:
    """Show what each role allows."""
    from checklist.permission import MAY

    for role, allowed in MAY.items():
        words = ", ".join(sorted(one.value.replace("_", " ") for one in allowed))
        typer.echo(f"{role.value:<14} {words}")
    typer.echo("A person may hold several. What no role of theirs allows is refused and recorded.")


@app.command()
def add(
    code: Code,
    name: Annotated[str, typer.Option("--name", help="Their name; it never stands in the trail.")],
    role: Annotated[
        list[str] | None, typer.Option("--role", metavar="ROLE", help="May stand several times.")
    ] = None,
    badge: Annotated[str, typer.Option("--badge", help="What their badge carries.")] = "",
    competent: Annotated[
        list[str] | None,
        typer.Option("--competent", metavar="TASK=DAY", help="Such as IV=2027-03-31."),
    ] = None,
    ward: WardOption = None,
    trail: TrailOption = None,
    by: AsOption = "",
) -> None:
    """Add a person to the ward's staff file; its comments stay. That it was done is recorded."""
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.errand import errand
        from checklist.intake.staff_file import added, table_of
        from checklist.permission import Action

        folder, path = _places(ward, trail, write=True)
        days = {
            task: _day(task, day) for task, _, day in (c.partition("=") for c in competent or ())
        }
        table = table_of(code, name, roles=role or [], badge=badge, competent=days)
        with errand(path, folder, by, Action.KEEP_PEOPLE) as here:
            body = {
                "person": code,
                "roles": list(role or ()),
                "competent": {task: day.isoformat() for task, day in days.items()},
            }
            with _writing(folder):
                added(folder, table, between=lambda: _nothing(here.record("person_added", body)))
    typer.echo(f"{code} is added, with {', '.join(role or ()) or 'no role'}.")
    typer.echo(f"next: checklist people pin {code} --ward {_quoted(folder)} --as {by}")


@app.command()
def lock(code: Code, ward: WardOption = None, trail: TrailOption = None, by: AsOption = "") -> None:
    """Shut a person out until somebody unlocks them."""
    from checklist.lockout import FOR_GOOD

    _recorded(code, "locked", {"until": FOR_GOOD, "why": "by hand"}, ward, trail, by)
    typer.echo(f"{code} is locked, and acts nowhere on this ward from now on.")


@app.command()
def unlock(
    code: Code, ward: WardOption = None, trail: TrailOption = None, by: AsOption = ""
) -> None:
    """Let a person in again who was locked, by hand or after PINs that did not fit."""
    _recorded(code, "unlocked", {}, ward, trail, by)
    typer.echo(f"{code} can sign in again.")


@app.command()
def pin(code: Code, ward: WardOption = None, trail: TrailOption = None, by: AsOption = "") -> None:
    """Set your own PIN; or, with --as, give a person one that only serves to set their own.

    PINs are typed without being shown, or come on stdin, one on each line: the PIN of who acts,
    then the new one twice. The first PIN of a ward is set by an administrator or pharmacist for
    themselves.
    """
    from checklist.faces.leaving import told

    with told():
        from checklist.credential import FILE, CredentialFile
        from checklist.faces.errand import errand
        from checklist.permission import Action

        folder, path = _places(ward, trail, write=True)
        keeper = CredentialFile(folder / FILE)
        if by and by != code:
            with errand(path, folder, by, Action.RESET_PIN) as here:
                _known(here.ward, code)
                fresh = _new_pin(here.ward, code)
                body = {"person": code, "how": "given"}
                keeper.keep(
                    code, fresh, given=True,
                    between=lambda: _nothing(here.record("secret_changed", body)),
                )  # fmt: skip
            typer.echo(f"{code} has a PIN that opens nothing yet. They set their own with it:")
            typer.echo(f"next: checklist people pin {code} --ward {_quoted(folder)}")
            return
        _own_pin(keeper, code, folder, path)
    typer.echo(f"The PIN of {code} is set.")


def _own_pin(keeper: Any, code: str, folder: Path, path: Path) -> None:
    """Set a person's own PIN, after the one that they have; the ward's first needs none."""
    from checklist.attendance import Attendance, NotSignedIn
    from checklist.faces.leaving import CannotGoOn
    from checklist.faces.pins import line_of_pin
    from checklist.faces.workplace import new_id, real_clock
    from checklist.intake.ward import load_ward
    from checklist.observation import Channel
    from checklist.permission import Action, may
    from checklist.preparation import Act
    from checklist.trail import Trail

    ward = load_ward(folder)
    _known(ward, code)
    with Trail.open(path) as kept:
        here = Attendance(kept, keeper, clock=real_clock, new_id=new_id, station="")
        old, how = "", "first"
        if not keeper.is_empty:
            old, how = line_of_pin(f"PIN of {code} so far"), "own"
            try:
                here.proved(ward, code, old)
            except NotSignedIn as fault:
                raise CannotGoOn(f"{fault}. Nothing was changed.") from fault
        elif not may(ward.staff[code], Action.RESET_PIN):
            raise CannotGoOn(
                "No PIN is set on this ward yet. An administrator or pharmacist sets their own"
                " first, and then gives one to the others."
            )
        fresh = _new_pin(ward, code, old=old)
        act = Act(
            id=new_id(),
            kind="secret_changed",
            at=real_clock(),
            by=code,
            station="",
            channel=Channel.TYPED.value,
            body={"person": code, "how": how},
        )
        keeper.keep(code, fresh, given=False, between=lambda: _nothing(kept.record(act)))


def _new_pin(ward: Ward, code: str, *, old: str = "") -> str:
    """A new PIN, typed twice. Raises CannotGoOn, and never quotes it."""
    from checklist.credential import unfit
    from checklist.faces.leaving import CannotGoOn
    from checklist.faces.pins import line_of_pin

    fresh = line_of_pin(f"New PIN for {code}")
    badge = ward.staff[code].badge
    if fault := unfit(fresh, shortest=ward.unit.pin_shortest, code=code, badge=badge):
        raise CannotGoOn(f"{fault} Nothing was changed.")
    if old and fresh == old:
        raise CannotGoOn("This is the PIN so far. Take another. Nothing was changed.")
    if line_of_pin("The same again") != fresh:
        raise CannotGoOn("The two differ. Nothing was changed; begin again.")
    return fresh


def _recorded(
    code: str,
    kind: str,
    body: Mapping[str, str],
    ward: Path | None,
    trail: Path | None,
    by: str,
) -> None:
    from checklist.faces.leaving import told

    with told():
        from checklist.faces.errand import errand
        from checklist.permission import Action

        folder, path = _places(ward, trail, write=True)
        with errand(path, folder, by, Action.LOCK_PEOPLE) as here:
            _known(here.ward, code)
            here.record(kind, {"person": code, **body})


def _places(ward: Path | None, trail: Path | None, *, write: bool = False) -> tuple[Path, Path]:
    """The ward's folder and its trail; to write, a folder that was named. Raises CannotGoOn."""
    from checklist import library
    from checklist.faces.leaving import CannotGoOn
    from checklist.faces.workplace import TRAIL

    if ward is None and write:
        raise CannotGoOn(
            "Which ward? Name its folder with --ward. The people of the demonstration stay as they"
            " are printed."
        )
    folder = ward or library.folder("demo_db")
    path = trail or folder / TRAIL
    if write:
        _made(folder, path)
    return folder, path


def _made(folder: Path, path: Path) -> None:
    """Make the ward's trail where there is none yet, so that what is done can be recorded."""
    from checklist.faces.workplace import open_or_make, real_clock
    from checklist.intake.ward import load_ward

    open_or_make(path, load_ward(folder), real_clock()).close()


def _known(ward: Ward, code: str) -> None:
    from checklist.attendance import known

    known(ward, code)


def _rows(folder: Path, path: Path, *, names: bool) -> list[dict[str, Any]]:
    from checklist.faces.pins import pins_of
    from checklist.intake.ward import load_ward
    from checklist.trail import Trail

    ward, keeper = load_ward(folder), pins_of(folder)
    kept = Trail.open(path, read_only=True) if path.is_file() else None
    try:
        return [
            {
                "code": one.code,
                **({"name": one.name} if names else {}),
                "roles": [role.value for role in one.roles],
                "state": _state(ward, kept, one.code),
                "pin": _pin_words(keeper, one.code),
                "competent": {task: day.isoformat() for task, day in one.competent.items()},
            }
            for one in ward.staff.values()
        ]
    finally:
        if kept is not None:
            kept.close()


def _pin_words(keeper: Any, code: str) -> str:
    if not keeper.has(code):
        return "not set"
    return "given, own not set yet" if keeper.is_given(code) else "set"


def _state(ward: Ward, kept: Trail | None, code: str) -> str:
    from checklist.attendance import shut_out
    from checklist.faces.workplace import real_clock
    from checklist.lockout import KINDS, lockout

    if not ward.staff[code].active:
        return "not active"
    if kept is None:
        return "active"
    standing, now = lockout(kept.acts(KINDS), code), real_clock()
    return shut_out(code, standing, ward, now) if standing.holds(now) else "active"


def _day(task: str, text: str) -> date:
    from checklist.faces.leaving import CannotGoOn

    try:
        return date.fromisoformat(text)
    except ValueError as fault:
        raise CannotGoOn(
            f"--competent {task}: write the last day like {task}=2027-03-31."
        ) from fault


@contextmanager
def _writing(folder: Path) -> Iterator[None]:
    from checklist.faces.leaving import CannotGoOn

    try:
        yield
    except OSError as fault:
        raise CannotGoOn(
            f"The staff file in {folder} cannot be written ({fault.strerror}). Nobody was added."
        ) from fault


def _nothing(_: object) -> None:
    """What was recorded is not needed here."""


def _quoted(path: Path) -> str:
    from checklist.faces.workplace import quoted

    return quoted(path)
