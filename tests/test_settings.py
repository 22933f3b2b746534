"""Where sources disagree a unit may choose, limits it may only tighten, and all is recorded."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from checklist import library
from checklist.checks import REASONS
from checklist.intake.fault import Faults
from checklist.intake.ward import load_ward
from checklist.setting import FILE, SettingsFaults, read, unfit
from checklist.station import NotHere
from checklist.unit import Unit
from checklist.verdict import Tier
from tests.scene import Scene, demo_ward
from tests.test_cli import call
from tests.wards import UNIT, copied, edit

KNOWN = library.settings()
SHIPPED = (library.folder("workflows") / FILE).read_text(encoding="utf-8")


def test_all_38_disagreements_are_there_with_both_sides_and_a_default_that_is_allowed() -> None:
    assert {one.number for one in KNOWN.choices.values()} == set(range(1, 39))
    for one in KNOWN.choices.values():
        assert not unfit(one, one.default), one.key
        assert one.evidence.endswith("."), one.key
        assert one.sides and all(side.says.endswith(".") for side in one.sides), one.key
        told = {value for side in one.sides for value in side.values}
        if len(one.values) > 1 and told:
            # The shipped neutral value of a disagreement without a winner needs no side.
            assert told >= set(one.values) - {str(one.default)}, one.key


def test_each_choice_is_read_by_what_it_says_or_by_nothing() -> None:
    """The key stands in the program where something hangs on it, and nowhere else."""
    package = Path(library.__file__).parent
    text = "\n".join(
        file.read_text(encoding="utf-8")
        for file in package.rglob("*.py")
        if file.name not in ("setting.py", "unit_settings.py")
    )
    for key, one in KNOWN.choices.items():
        named = f'"{key}"' in text or bool(one.eases)
        if key.startswith("prepared_to_start_limit_"):
            named = "prepared_to_start_limit_{" in text
        assert named == bool(one.read_by), key


def test_shipped_limits_are_those_of_the_engine() -> None:
    usual = Unit(code="U", name="U")
    for key, bound in KNOWN.bounds.items():
        value = getattr(usual, key)
        said = f"{value * 100} %" if key.startswith("rounding") else str(value)
        assert said in (bound.default, bound.default.replace("days", "d").replace(" d", " days")), (
            key,
            said,
        )


@pytest.mark.parametrize("key", sorted(KNOWN.bounds))
def test_a_limit_is_tightened_and_never_loosened(
    key: str, tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    record_property("weakened", json.dumps({"loosen a limit": {"refused": 1}}))
    bound = KNOWN.bounds[key]
    number, _, unit = bound.default.partition(" ")
    for factor, fits in ((2, bound.tighter == "higher"), ("half", bound.tighter == "lower")):
        folder = tmp_path / str(factor)
        folder.mkdir()
        copied(folder)
        value = _times(number, factor)
        text = value if not unit else f'"{value} {unit}"'
        lines = (folder / UNIT).read_text(encoding="utf-8").splitlines()
        kept = [line for line in lines if not line.startswith(f"{key} ")]
        at = next(i for i, line in enumerate(kept) if line.startswith("areas"))
        kept.insert(at, f"{key} = {text}")
        if key == "rounding_warn" or key == "rounding_limit":
            kept = [ln for ln in kept if not ln.startswith("rounding_") or ln.startswith(key)]
        (folder / UNIT).write_text("\n".join(kept) + "\n", encoding="utf-8")
        if fits:
            try:
                load_ward(folder)
            except Faults as found:  # a share may pass the other share; never the direction
                assert "shipped limit" not in str(found)
        else:
            with pytest.raises(Faults, match="shipped limit"):
                load_ward(folder)


def test_no_tier_is_lowered(tmp_path: Path, record_property: Callable[[str, object], None]) -> None:
    """Every code to every lower tier, in one file each: as many faults as lines."""
    lower = [
        (code, tier) for code, one in REASONS.items() for tier in Tier if tier.rank < one.tier.rank
    ]
    for tier in Tier:
        folder = tmp_path / tier.value
        folder.mkdir()
        copied(folder)
        codes = [code for code, to in lower if to is tier]
        kept = (folder / UNIT).read_text(encoding="utf-8").partition("\n[raised]")[0]
        lines = [f'{code} = "{tier.value}"' for code in codes]
        (folder / UNIT).write_text("\n".join((kept, "[raised]", *lines, "")), encoding="utf-8")
        if codes:
            with pytest.raises(Faults) as found:
                load_ward(folder)
            assert str(found.value).count("may only raise it") == len(codes)
    record_property("weakened", json.dumps({"lower a tier": {"refused": len(lower)}}))
    assert len(lower) > len(REASONS)


def _times(number: str, factor: object) -> str:
    from fractions import Fraction

    from checklist.number import plain

    whole = Fraction(number) * (2 if factor == 2 else Fraction(1, 2))
    if number == "3" and factor != 2:
        return "2"
    return plain(whole)


def test_every_choice_in_force_stands_in_the_opening_entry(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    scene.change_settings(ampoule_settle_seconds=30)
    opening = scene.open().entry.event.body["unit"]
    assert set(opening["settings"]) == set(KNOWN.choices)
    assert opening["settings"]["ampoule_settle_seconds"] == "30"
    assert opening["settings"]["double_check_scope"] == ["high_alert", "controlled"]
    json.dumps(opening)


# -- what hangs on a choice -------------------------------------------------------------------

# Setting, value, order, step, answers, the codes told (refused or cautioned), the notes' codes.
Row = tuple[str, object, str, str, dict[str, str | None], list[str], list[str]]
ROWS: list[Row] = [
    ("glass_filter_rule", "always", "ORD-103", "fit_the_filter",
     {"filter_kind": "filter at the line only", "pore": None}, ["filter_missing"], []),
    ("glass_filter_rule", "inline_filter_accepted", "ORD-103", "fit_the_filter",
     {"filter_kind": "filter at the line only", "pore": None}, [], []),
    ("glass_filter_rule", "inline_filter_accepted", "ORD-103", "fit_the_filter",
     {"filter_kind": "none", "pore": None}, ["filter_missing"], []),
    ("glass_filter_rule", "off", "ORD-103", "fit_the_filter",
     {"filter_kind": "none", "pore": None}, [], []),
    ("glass_filter_rule", "iv_and_neuraxial", "ORD-103", "fit_the_filter",
     {"filter_kind": "none", "pore": None}, ["filter_missing"], []),
    ("glass_filter_rule", "iv_and_neuraxial", "ORD-104", "fit_the_filter",
     {"filter_kind": "none", "pore": None}, [], []),
    ("ampoule_neck_wipe", "required", "ORD-103", "make_the_neck_ready",
     {"neck_wiped": "n"}, ["neck_not_wiped"], []),
    ("ampoule_neck_wipe", "optional", "ORD-103", "make_the_neck_ready",
     {"neck_wiped": "n"}, [], ["neck_not_wiped"]),
    ("ampoule_settle_seconds", 120, "ORD-103", "read_the_label_again", {}, [],
     ["settle_wait_short"]),
    ("ampoule_settle_seconds", 0, "ORD-103", "read_the_label_again", {}, [], []),
    ("third_label_read", "both", "ORD-103", "leave_the_area",
     {"container_along": "n"}, ["original_container_absent"], []),
    ("third_label_read", "before_discard_or_return", "ORD-103", "leave_the_area",
     {"container_along": "n"}, [], ["original_container_absent"]),
    ("identifiers_required", 3, "ORD-103", "read_the_order", {}, ["patient_id_too_few"], []),
    ("cd_waste_method", "absorbent_or_kit", "ORD-101", "waste_the_rest",
     {"waste_method": "sink"}, ["cd_waste_recoverable"], []),
    ("cd_waste_method", "sink", "ORD-101", "waste_the_rest", {"waste_method": "sink"}, [], []),
    ("cd_waste_method", "return", "ORD-101", "waste_the_rest",
     {"waste_method": "pharmacy"}, [], []),
]  # fmt: skip


@pytest.mark.parametrize(("key", "value", "order", "step", "seen", "codes", "notes"), ROWS)
def test_a_choice_decides_what_is_told(
    key: str,
    value: object,
    order: str,
    step: str,
    seen: dict[str, str | None],
    codes: list[str],
    notes: list[str],
    tmp_path: Path,
) -> None:
    scene = Scene(tmp_path, order)
    scene.open()
    scene.to(step)
    scene.change_settings(**{key: value})
    outcome = scene.attempt(seen)
    assert [told.code for told in outcome.told] == codes
    assert [note.code for note in outcome.notes if note.code in notes] == notes


def test_thirty_minutes_for_every_dose_is_a_narrower_window(tmp_path: Path) -> None:
    for value, codes in (("tiers", []), ("thirty_minutes", ["outside_time_window"])):
        folder = tmp_path / value
        folder.mkdir()
        scene = Scene(folder)
        due = scene.order.due
        assert due is not None
        scene.now = due.replace(minute=(due.minute + 45) % 60, hour=due.hour + (due.minute > 14))
        scene.change_settings(time_window=value)
        scene.open()
        assert [told.code for told in scene.attempt().told] == codes


@pytest.mark.parametrize(
    ("scope", "order", "asked"),
    [
        ((), "ORD-101", False),
        (("high_alert",), "ORD-101", True),
        (("controlled",), "ORD-101", True),
        (("all_iv",), "ORD-103", True),
        (("paediatric",), "ORD-103", False),
    ],
)
def test_the_scope_of_the_double_check_decides_whether_a_second_person_comes(
    scope: tuple[str, ...], order: str, asked: bool, tmp_path: Path
) -> None:
    scene = Scene(tmp_path, order)
    scene.change_order(double_check=False)
    scene.change_settings(double_check_scope=scope)
    scene.open()
    steps = scene.station.rules_of(scene.station.find(scene.id).workflow).workflow.steps
    assert ("second_person_works_it_out" in [s.name for s in steps]) is asked


def test_a_unit_without_pens_opens_none(tmp_path: Path) -> None:
    pens = [
        order.id
        for order in Scene(tmp_path).ward.orders.values()
        if {p.container for p in demo_ward().formulary.of_drug(order.drug)} == {"insulin_pen"}
    ]
    assert pens, "the demonstration ward has an order for a pen"
    folder = tmp_path / "again"
    folder.mkdir()
    scene = Scene(folder, pens[0])
    scene.change_settings(insulin_pens_in_use="no")
    with pytest.raises(NotHere, match="no workflow"):
        scene.open()


# -- the files and the commands -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('default = "always"', 'default = "sometimes"', ("glass_filter_rule", "default")),
        ('read_by = ["filter_is_fitted"]', 'read_by = ["filter_fits"]', ("filter_fits",)),
        ("optional = [", "optinal = [", ("eases", "optinal")),
        ('optional = ["neck_not_wiped"]', 'optional = ["filter_missing"]', ("only a soft",)),
        ('key = "ampoule_hold"', 'key = "ampoule_snap"', ("ampoule_snap", "stands twice")),
        ("highest = 120\n", "", ("ampoule_settle_seconds", "`lowest` and `highest`")),
        ('tighter = "higher"', 'tighter = "first"', ("does not go with its values",)),
        ("number = 38", "number = 39", ("number", "less than or equal to 38")),
    ],
)
def test_a_fault_of_the_settings_is_a_sentence(
    old: str, new: str, words: tuple[str, ...], tmp_path: Path
) -> None:
    assert old in SHIPPED
    file = tmp_path / FILE
    file.write_text(SHIPPED.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(SettingsFaults) as found:
        read(file)
    for word in words:
        assert word in str(found.value), found.value


def test_what_differs_is_explained_with_the_sources_on_both_sides(tmp_path: Path) -> None:
    copied(tmp_path)
    edit(tmp_path / UNIT, "[settings]", '[settings]\nglass_filter_rule = "off"\nmdv_days = "14"')
    edit(tmp_path / UNIT, 'weight_max_age = "7 days"', 'weight_max_age = "3 days"')
    code, out, err = call("unit", "show", tmp_path)
    flat = " ".join(out.split())
    assert (code, err) == (0, "")
    assert "Filter after opening glass: this unit has off, shipped is always" in flat
    assert "looser than shipped" in flat and "another way" in flat
    assert "For it: A filter for every ampoule is not borne out" in flat
    assert "On the other side: Every glass ampoule is drawn through a filter." in flat
    assert "What hangs on it: filter is fitted." in flat
    assert "Age of a weight that a dose hangs on: tightened from 7 days to 3" in flat
    told = json.loads(call("unit", "show", tmp_path, "--json")[1])
    assert len(told["settings"]) == len(KNOWN.choices)
    rule = next(s for s in told["settings"] if s["key"] == "glass_filter_rule")
    assert rule["direction"] == "looser than shipped"


def test_one_choice_is_explained_by_its_key() -> None:
    code, out, _ = call("unit", "explain", "ampoule_hold")
    assert code == 0 and "It is recorded with every preparation; no check hangs on it." in out
    assert call("unit", "explain", "ampoule_holds")[0] == 2


@pytest.mark.parametrize("key", sorted(KNOWN.choices))
def test_tighter_and_looser_are_told_apart(key: str) -> None:
    one = KNOWN.choices[key]
    assert one.looser(one.default) == 0
    if one.tighter == "first" and one.values[0] != one.default:
        assert one.looser(one.values[0]) < 0
    if one.tighter == "first" and one.values[-1] != one.default:
        assert one.looser(one.values[-1]) > 0
    if one.tighter == "higher" and one.highest != one.default:
        assert one.looser(one.highest) < 0
    if one.tighter == "more":
        assert one.looser(()) > 0 and one.looser(one.some) < 0
