"""What the tests tell at their end: planted errors caught, right work refused, weakenings tried.

Each test hands its share to its report, so that the sums hold when several processes run them.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Generator, Iterable
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import settings

from tests.planted import Shelf
from tests.scene import Scene

# How long an example takes says nothing about the code on a machine that is busy.
settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")

PLANTED = "test_a_planted_error_is_caught"
RIGHT = ("test_a_right_", "test_whole_right_")
# The names under which the tables of right answers stand in their modules.
RIGHT_TABLES = ("RIGHT", "RIGHT_ONES", "RIGHT_ANSWERS", "VARIATIONS")


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Shelf:
    """Right preparations kept at every step, for the tests of one file."""
    return Shelf(tmp_path_factory.mktemp("shelf"))


@cache
def _container(order_id: str) -> str:
    """What the order's drug comes in, or how it goes in, on the demonstration ward."""
    with TemporaryDirectory() as folder:
        scene = Scene(Path(folder), order_id=order_id)
        scene.open()
        rules = scene.station.rules_of(scene.station.find(scene.id).workflow)
        return rules.layout.workflow.name.partition(".")[0]


def _seed(item: pytest.Function) -> Any:
    """The row of the module's table that this test plays, or None."""
    name = item.callspec.params.get("name") if hasattr(item, "callspec") else None
    tables = ("SEEDS",) if item.function.__name__.startswith(PLANTED) else RIGHT_TABLES
    for table in tables:
        if name in getattr(item.module, table, {}):
            return getattr(item.module, table)[name]
    return None


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Say in the report of a planted error or a right preparation what it was about."""
    report = yield
    if report.when != "call" or not isinstance(item, pytest.Function):
        return report
    name, seed = item.function.__name__, _seed(item)
    planted = name.startswith(PLANTED)
    if not planted and not name.startswith(RIGHT):
        return report
    order_id = seed.order if seed is not None else item.callspec.params.get("order_id", "")
    if order_id:
        code = seed.code if planted else ""
        report.user_properties.append(("played", [_container(order_id), code]))
    return report


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print the sums over all processes."""
    reports = [
        (report, name, value)
        for outcome in ("passed", "failed")
        for report in terminalreporter.stats.get(outcome, [])
        for name, value in getattr(report, "user_properties", ())
    ]
    played = [(report.passed, *value) for report, name, value in reports if name == "played"]
    if played:
        terminalreporter.section("planted errors and right preparations")
        for line in _of_containers(played):
            terminalreporter.write_line(line)
        for line in _of_hazards(played):
            terminalreporter.write_line(line)
    labels = [value for _, name, value in reports if name == "labels"]
    if labels:
        made, rendered = (sum(one) for one in zip(*labels, strict=True))
        terminalreporter.section("labels of the invented year and of the demonstration orders")
        terminalreporter.write_line(
            f"{made} held to the writing rules, {rendered} different ones rendered and looked over"
        )
    weakened = [json.loads(value) for _, name, value in reports if name == "weakened"]
    if weakened:
        terminalreporter.section("weakened workflows")
        for line in _of_weakenings(weakened):
            terminalreporter.write_line(line)


def _of_containers(played: Iterable[tuple[bool, str, str]]) -> Iterable[str]:
    sums: dict[str, Counter[str]] = {}
    for passed, container, code in played:
        what = ("caught" if passed else "missed") if code else ("right" if passed else "refused")
        sums.setdefault(container, Counter())[what] += 1
        sums.setdefault("all", Counter())[what] += 1
    yield f"{'container':22}{'planted':>9}{'caught':>9}{'right':>9}{'refused':>9}"
    for container in sorted(sums, key=lambda c: (c == "all", c)):
        told = sums[container]
        planted, right = told["caught"] + told["missed"], told["right"] + told["refused"]
        yield (f"{container:22}{planted:9}{told['caught']:9}{right:9}{told['refused']:9}")


def _of_hazards(played: Iterable[tuple[bool, str, str]]) -> Iterable[str]:
    from checklist.checks import REASONS

    sums: dict[str, Counter[bool]] = {}
    for passed, _, code in played:
        for hazard in REASONS[code].hazards if code else ():
            sums.setdefault(hazard, Counter())[passed] += 1
    told = (f"{hazard} {n[True]}/{n.total()}" for hazard, n in sorted(sums.items()))
    yield "caught of planted, by hazard (a code may stand against several):"
    line = ""
    for one in told:
        if len(line) + len(one) > 96:
            yield line
            line = ""
        line += f"  {one}"
    yield line


def _of_weakenings(parts: Iterable[dict[str, dict[str, int]]]) -> Iterable[str]:
    sums: dict[str, Counter[str]] = {}
    for part in parts:
        for kind, tally in part.items():
            sums.setdefault(kind, Counter()).update(tally)
    for kind, tally in sorted(sums.items()):
        yield f"{kind}: {tally.total()} tried, {tally['refused']} refused"
        for why, many in sorted(tally.items()):
            if why != "refused":
                yield f"    {many} {why}"
