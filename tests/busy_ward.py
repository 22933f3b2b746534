"""A ward with many nurses at work at once, for the tests of many tablets: invented like the other.

It is the demonstration ward with `count` places, nurses, patients and orders of one kind added.
"""

from __future__ import annotations

import json
import shutil
from datetime import date, timedelta
from pathlib import Path

from checklist import library

ORDER, PATIENT, NURSE = "ORD-103", "P-303", "RN-12"
_FIRST = ("Alm", "Bro", "Cas", "Dre", "Elv", "Fen", "Gri", "Hol", "Ivo", "Jas")
_LAST = ("bert", "dane", "fold", "gart", "hurst", "kell", "land", "mere", "nock", "pole")


def code(number: int) -> str:
    """The staff code of a nurse of the ward."""
    return f"RN-{200 + number}"


def pin(number: int) -> str:
    """The printed PIN of that nurse."""
    return f"28{4_000 + number}"


def order(number: int) -> str:
    """The order that this nurse makes."""
    return f"ORD-{500 + number}"


def place(number: int) -> str:
    """Where this nurse works."""
    return f"W7E-{10 + number}"


def identifiers(number: int) -> tuple[str, str, str]:
    """The record number, birth date and band number of this nurse's patient."""
    born = date(1950, 1, 1) + timedelta(days=97 * number)
    return f"4001{number:04d}", born.isoformat(), _with_check_digit(f"95200000000000{400 + number}")


def make(folder: Path, count: int) -> Path:
    """Write the ward's files into a new folder."""
    shutil.copytree(library.folder("demo_db"), folder, ignore=shutil.ignore_patterns("year"))
    every = range(1, count + 1)
    unit = folder / "unit.toml"
    places = ", ".join(f'"{one}"' for one in ["W7E-1", "W7E-2", *map(place, every)])
    unit.write_text(unit.read_text("utf-8").replace('["W7E-1", "W7E-2"]', f"[{places}]"), "utf-8")
    with (folder / "staff.toml").open("a", encoding="utf-8") as staff:
        for number in every:
            staff.write(
                f'\n[[person]]\ncode = "{code(number)}"\nname = "{_name(number)} Weir"\n'
                'roles = ["preparer", "checker", "witness", "leader"]\n'
                "competent = { IV = 2027-06-30, IM = 2027-06-30, high_alert = 2027-03-31 }\n"
            )
    scenario = folder / "scenario.toml"
    pins = "".join(f'{code(number)} = "{pin(number)}"\n' for number in every)
    scenario.write_text(scenario.read_text("utf-8").replace("[pin]\n", f"[pin]\n{pins}"), "utf-8")
    _orders(folder / "orders.json", every)
    return folder


def _orders(path: Path, every: range) -> None:
    data = json.loads(path.read_text("utf-8"))
    patient = next(one for one in data["patients"] if one["code"] == PATIENT)
    line = next(one for one in data["orders"] if one["id"] == ORDER)
    for number in every:
        record, born, band = identifiers(number)
        ours = {
            "code": f"P-{500 + number}", "name": f"{_name(number)} {_name(number + 37)}son",
            "birth_date": born, "record_number": record, "band_numbers": [band],
        }  # fmt: skip
        data["patients"].append({**patient, **ours})
        data["orders"].append({**line, "id": order(number), "patient": ours["code"]})
    path.write_text(json.dumps(data, indent=1), "utf-8")


def _name(number: int) -> str:
    return _FIRST[number % 10] + _LAST[number // 10 % 10] + _LAST[number % 7][::-1]


def _with_check_digit(figures: str) -> str:
    """A GS1 key of 18 figures: source GS1 General Specifications, section 7.9."""
    weighted = (int(one) * (3 if at % 2 == 0 else 1) for at, one in enumerate(reversed(figures)))
    return f"{figures}{-sum(weighted) % 10}"
