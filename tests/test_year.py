"""The invented year through the real engine, and every question asked of it by both engines."""

from __future__ import annotations

import itertools
import json
import sqlite3
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from checklist import library
from checklist.checks import REASONS
from checklist.facts import asking
from checklist.facts.engine import Duck, Scope, Small, rows_of
from checklist.facts.export import export
from checklist.facts.folder import Folder
from checklist.facts.label import LABELS, NEAR_MISSES, labels_of
from checklist.facts.modelled import MODELLED
from checklist.facts.modelled import ids as ids_by_method
from checklist.facts.row import columns
from checklist.review.series import Point
from checklist.review.small_cell import TOO_FEW, Floor
from checklist.station import Station
from checklist.trail import Trail
from checklist.year import finding
from checklist.year.plan import Learner, read_plan
from checklist.year.year import FOLDER, Part, make, parts, play_part

SEED = 20_261
SIZE = 108
NO_FLOOR = Floor(people=0, preparations=0)
PLAN = read_plan(library.folder("demo_db") / FOLDER)


@pytest.fixture(scope="module")
def year(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small year, with its facts."""
    into = tmp_path_factory.mktemp("year")
    told: list[int] = []
    played = list(
        make(into, preparations=SIZE, seed=SEED, progress=lambda done, _all: told.append(done))
    )
    assert sum(each.preparations for each in played) == SIZE and told[-1] == SIZE
    for each in played:
        with Trail.open(each.trail, read_only=True) as trail:
            export(trail, Folder(into / "facts"), giving=frozenset(library.required().giving))
    return into


@pytest.fixture(scope="module")
def engines(year: Path) -> Iterator[tuple[Duck, Small]]:
    severities = {id_: one.severity for id_, one in library.hazards().hazards.items()}
    folder = Folder(year / "facts")
    with (
        Duck(folder, severities=severities) as duck,
        Small(rows_of(folder), severities=severities) as small,
    ):
        yield duck, small


def alike(rows: tuple[tuple[Any, ...], ...]) -> list[tuple[Any, ...]]:
    """Rows in one order, numbers as both engines can give them."""

    def plain(value: Any) -> Any:
        return value if value is None or isinstance(value, str) else round(float(value), 6)

    return sorted((tuple(map(plain, row)) for row in rows), key=repr)


@pytest.mark.parametrize("name", asking.QUESTIONS)
def test_both_engines_give_the_same_answer(engines: tuple[Duck, Small], name: str) -> None:
    duck, small = engines
    question = asking.QUESTIONS[name]
    for sql in (question.sql, question.ids):
        one, other = duck.rows(sql), small.rows(sql)
        assert one.columns == other.columns
        assert alike(one.rows) == alike(other.rows)
    assert {*question.keys, "preparation"} == set(duck.rows(question.ids).columns)


@pytest.mark.parametrize("name", MODELLED)
def test_questions_by_method_are_alike_in_both_engines_and_show_no_person(
    engines: tuple[Duck, Small], name: str
) -> None:
    duck, small = engines
    question = MODELLED[name]
    one, other = (question.work(each, NO_FLOOR, "2026-07-27") for each in engines)
    assert one == other and one.columns
    people = {p for (p,) in duck.rows("SELECT DISTINCT person FROM steps").rows}
    for row in one.rows:
        assert people.isdisjoint(map(str, row))
    found = [ids_by_method(each, question, one, "2026-07-27") for each in (duck, small)]
    assert found[0] == found[1] and "preparation" in found[0].columns


COUNTED = {
    "refused-weekly": "refused", "reasons": "preparations_hit", "units": "refused",
    "shifts": "refused", "containers": "refused", "hazards": "preparations_hit",
    "near-misses": "preparations_hit", "late": "preparations_hit", "notation": "preparations_hit",
    "reasons-weekly": "preparations_hit", "hours": "refused", "weekdays": "refused",
}  # fmt: skip


@pytest.mark.parametrize("name", COUNTED)
def test_each_number_leads_to_as_many_preparations(engines: tuple[Duck, Small], name: str) -> None:
    question = asking.QUESTIONS[name]
    asked = asking.ask(engines[0], question, floor=NO_FLOOR)
    ids = asking.ids(engines[0], question, floor=NO_FLOOR)
    key = [ids.columns.index(each) for each in question.keys]
    counted = {
        group: len(list(rows))
        for group, rows in itertools.groupby(
            sorted(ids.rows, key=repr), key=lambda row: tuple(row[n] for n in key)
        )
    }
    for row in asked.rows:
        told = dict(zip(asked.columns, row, strict=True))
        group = tuple(told[each] for each in question.keys)
        assert counted.get(group, 0) == told[COUNTED[name]], group


def test_the_numbers_are_those_of_the_trails(year: Path, engines: tuple[Duck, Small]) -> None:
    """Counted once more from the files of the trails, with SQLite's own JSON functions."""
    refused = codes = 0
    for file in sorted((year / "trails").glob("*.db")):
        db = sqlite3.connect(file)
        refused += db.execute("SELECT count(*) FROM entries WHERE kind = 'refused'").fetchone()[0]
        codes += db.execute(
            "SELECT count(*) FROM entries, json_each(entries.body, '$.reasons') AS each"
            " WHERE entries.kind IN ('refused', 'cautioned')"
        ).fetchone()[0]
        db.close()
    assert refused > 5
    (row,) = engines[0].rows("SELECT sum(refusals), count(*) FROM preparations").rows
    assert row[0] == refused and row[1] >= SIZE
    assert engines[0].rows("SELECT count(*) FROM findings").rows == ((codes,),)


def test_rows_below_the_floor_lose_their_numbers_and_their_ids(
    engines: tuple[Duck, Small],
) -> None:
    question = asking.QUESTIONS["refused-weekly"]
    asked = asking.ask(engines[0], question)
    assert asked.hidden == len(asked.rows) > 0
    assert all(row[2] == TOO_FEW for row in asked.rows)
    assert asking.ids(engines[0], question).rows == ()
    units = asking.ask(engines[0], asking.QUESTIONS["units"])
    assert units.hidden == 0 and [row[0] for row in units.rows] == ["ACU", "W3N", "W7E"]


def test_no_question_shows_a_person(engines: tuple[Duck, Small]) -> None:
    people = {p for (p,) in engines[0].rows("SELECT DISTINCT person FROM steps").rows}
    for question in asking.QUESTIONS.values():
        for row in engines[0].rows(question.sql).rows:
            assert people.isdisjoint(str(value) for value in row), question.name


def test_a_scope_keeps_to_one_unit_and_its_months(year: Path) -> None:
    scope = Scope(unit="W7E", first_month="2026-03", last_month="2026-04")
    with Duck(Folder(year / "facts"), scope=scope) as duck:
        found = duck.rows("SELECT DISTINCT unit, month FROM steps ORDER BY month").rows
    assert found == (("W7E", "2026-03"), ("W7E", "2026-04"))


def test_only_keeps_the_rows_with_that_key(engines: tuple[Duck, Small]) -> None:
    question = asking.QUESTIONS["units"]
    for engine in engines:
        asked = asking.ask(engine, question, only={"unit": "ACU"})
        assert [row[0] for row in asked.rows] == ["ACU"]
        with pytest.raises(KeyError):
            asking.ask(engine, question, only={"preparer": "p-1"})


@pytest.mark.parametrize("near_miss", NEAR_MISSES)
def test_labels_in_sql_are_those_of_the_rules(year: Path, near_miss: str) -> None:
    with Duck(Folder(year / "facts"), near_miss=near_miss) as duck:
        rows = duck.rows("SELECT * FROM found").dicts()
    assert rows
    for row in rows:
        plain = {name: row[name] for name in columns("findings")}
        labels = labels_of(plain, near_miss)
        assert {name: row[name] for name in (*LABELS, "near_miss")} == labels


def test_a_small_copy_has_a_view_for_each_question(year: Path, tmp_path: Path) -> None:
    file = tmp_path / "small.db"
    with Small(rows_of(Folder(year / "facts")), file=file) as small:
        made = asking.views(small)
    assert len(made.rows) == len(asking.QUESTIONS)
    db = sqlite3.connect(f"file:{file}?mode=ro&immutable=1", uri=True)
    for name, _ in made.rows:
        db.execute(f"SELECT * FROM {name}").fetchall()
    db.close()


# -- how the year is made ------------------------------------------------------------------------


def test_the_year_stops_only_for_known_reasons_and_in_several_containers(
    engines: tuple[Duck, Small],
) -> None:
    reasons = {r for (r,) in engines[0].rows("SELECT DISTINCT reason FROM findings").rows}
    assert reasons <= set(REASONS) and len(reasons) >= 6
    containers = engines[0].rows("SELECT DISTINCT container FROM preparations").rows
    assert len(containers) >= 5
    (row,) = engines[0].rows("SELECT sum(breaks), sum(entries) FROM preparations").rows
    assert 0 < row[0] < 2 * SIZE and row[1] > 15 * SIZE


@pytest.mark.parametrize("day", ["2026-07-14", "2026-12-31"])
def test_right_answers_are_never_stopped(year: Path, tmp_path: Path, day: str) -> None:
    """Each order of answers.toml played with no slip and no break comes to its end unrefused.

    On the last day of the year as well: no date of a product passes in it.
    """
    import random
    from dataclasses import replace
    from datetime import datetime

    from checklist.intake.ward import load_ward
    from checklist.year.place import YearStation
    from checklist.year.play import Player, Turn

    plan = replace(PLAN, rates=replace(PLAN.rates, late=0.0))
    ward = load_ward(year / "wards" / "W7E")
    start = datetime.fromisoformat(f"{day}T09:00:00+00:00")
    with Trail.create(tmp_path / "t.db", trail_id="T", unit="W7E", at=start) as trail:
        station = YearStation(trail, ward, seed="right", start=start)
        player = Player(station, plan, random.Random(1))
        for number, made in enumerate(PLAN.made):
            outcome = player.play(
                Turn(made=made, by="RN-201", second="RN-202", slips=0), f"L{number}"
            )
            prep = outcome.screen.prep
            assert (prep.place, prep.refusals) == ("given", 0), made.order
            # The shortcuts of a station that is alone give what a plain one finds in the trail.
            plain = Station(
                trail, station.ward, workflows={}, limits=library.limits(),
                required=library.required(), name=station.name, clock=lambda: start, new_id=str,
            )  # fmt: skip
            assert plain._others_open(prep, station.person("RN-202")) == ()
            twin = replace(prep, id="another")
            assert plain._given_before(twin) == station._given_before(twin)
            assert dict(plain.uses()) == dict(station.uses())


def test_a_player_who_cannot_get_on_is_a_fault_and_no_row_of_stops(
    year: Path, tmp_path: Path
) -> None:
    """A December with a date that passed in November: it is said, where it would go on for ever."""
    import random
    from dataclasses import replace
    from datetime import datetime

    from checklist.intake.ward import load_ward
    from checklist.year.place import YearStation
    from checklist.year.play import Player, Stuck, Turn

    plan = replace(PLAN, rates=replace(PLAN.rates, late=0.0, ended=0.0))
    made = next(each for each in plan.made if each.container == "pharmacy_syringe")
    past = replace(made, answers={**made.answers, "use_before_day": "26 Nov 2026"})
    start = datetime.fromisoformat("2026-12-14T09:00:00+00:00")
    with Trail.create(tmp_path / "t.db", trail_id="T", unit="W7E", at=start) as trail:
        station = YearStation(trail, load_ward(year / "wards" / "W7E"), seed="stuck", start=start)
        player = Player(station, plan, random.Random(1))
        with pytest.raises(Stuck, match=r"beyond_use_date_passed\. Look at what answers\.toml"):
            player.play(Turn(made=past, by="RN-201", second="RN-202", slips=0), "L1")


def test_the_same_seed_gives_the_same_trail(tmp_path: Path, year: Path) -> None:
    part = next(each for each in parts(PLAN, SIZE) if each.unit == "ACU" and each.month == 5)
    heads = []
    for name in ("one", "two"):
        into = tmp_path / name
        (into / "trails").mkdir(parents=True)
        (into / "wards").symlink_to(year / "wards")
        played = play_part(into, part, seed=SEED, planted=True)
        with Trail.open(played.trail, read_only=True) as trail:
            heads.append(trail.head())
            assert trail.verify().whole
    with Trail.open(year / "trails" / "ACU-2026-05.db", read_only=True) as trail:
        assert heads == [trail.head()] * 2


@pytest.mark.parametrize("size", [36, 5_000, 1_000_000])
def test_the_parts_make_up_the_year(size: int) -> None:
    found = parts(PLAN, size)
    assert sum(each.count for each in found) == size
    learned = 0
    for each in found:
        if each.learner:
            assert each.learned == learned
            learned += each.learner
    shares = {u.code: Fraction(u.share, 100) for u in PLAN.units}
    for unit, share in shares.items():
        count = sum(each.count for each in found if each.unit == unit)
        assert abs(count - share * size) <= 13


def test_what_was_planted_is_written_down(year: Path) -> None:
    told = json.loads((year / "planted.json").read_text(encoding="utf-8"))
    assert told["made_up"] is True and told["shift"]["unit"] == "W7E"


def test_a_learner_slips_less_and_less() -> None:
    learner = PLAN.learner
    assert isinstance(learner, Learner)
    chances = [learner.chance(n) for n in range(0, 200, 20)]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] == learner.start and abs(chances[-1] - learner.end) < 0.01


def test_a_doubled_share_is_found_and_a_steady_one_is_not() -> None:
    weeks = [f"2026-W{n:02d}" for n in range(1, 53)]
    steady = [Point(label=w, count=5 + n % 3 - 1, size=50) for n, w in enumerate(weeks)]
    doubled = [
        p if p.label < "2026-W31" else Point(label=p.label, count=10, size=50) for p in steady
    ]
    found = finding.shift(doubled, "W7E", "2026-W31")
    assert found.after is not None and 1 <= found.after <= 12 and found.earlier == ()
    assert 0 < found.steady < 1
    assert finding.shift(steady, "W7E", "2026-W31").after is None


def test_a_part_that_is_there_is_left_alone(year: Path) -> None:
    part = Part(unit="ACU", month=5, count=3)
    assert play_part(year, part, seed=SEED, planted=True).entries == 0
