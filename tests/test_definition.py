"""The workflow language: every fault of a file comes back at once, in its author's words."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from checklist import library
from checklist.definition import (
    WorkflowFaults,
    from_text,
    layout_of,
    read_workflow,
    reasons_of,
)
from checklist.schema import schema_of
from checklist.workflow import mermaid, moves

SHIPPED = library.folder("workflows")


def copied(folder: Path) -> Path:
    """A copy of the shipped glass-ampoule workflow with its phases."""
    (folder / "phases").mkdir()
    for file in (SHIPPED / "phases").glob("*.toml"):
        (folder / "phases" / file.name).write_text(file.read_text())
    own = folder / "glass_ampoule.toml"
    own.write_text((SHIPPED / "glass_ampoule.toml").read_text())
    return own


def faults_after(folder: Path, file: str, edit: Callable[[str], str]) -> list[str]:
    """The faults after one edit of one file."""
    own = copied(folder)
    target = folder / file
    before = target.read_text()
    after = edit(before)
    assert after != before, "the edit changed nothing"
    target.write_text(after)
    with pytest.raises(WorkflowFaults) as raised:
        read_workflow(own)
    return [str(fault) for fault in raised.value.faults]


def swap(old: str, new: str, *, once: bool = True) -> Callable[[str], str]:
    return lambda text: text.replace(old, new, 1 if once else -1)


FAULTS: dict[str, tuple[str, Callable[[str], str], str]] = {
    "misspelt word": ("phases/withdraw.toml", swap("  ask = ", "  asks = "),
                      "`phase.0.step.0.asks` is not a word of the workflow language; "
                      "did you mean `ask`?"),
    "no ask": ("phases/withdraw.toml",
               lambda t: re.sub(r'  ask = "Fit the filter.*\n', "", t, count=1),
               "step fit_the_filter: `phase.0.step.0.ask` is missing"),
    "not toml": ("glass_ampoule.toml", swap("title = ", "title "), "this is not TOML text"),
    "unknown phase": ("glass_ampoule.toml", swap('"reread", "draw"', '"rered", "draw"'),
                      "there is no phase `rered`; did you mean `reread`?"),
    "unknown check": ("phases/withdraw.toml", swap('"filter_is_fitted"', '"filter_is_fited"'),
                      "there is no check `filter_is_fited`; did you mean `filter_is_fitted`?"),
    "field a check needs": ("phases/withdraw.toml", swap('name = "drawn_volume"',
                                                         'name = "volume_drawn"'),
                            "step set_the_dose: check `drawn_volume_is_the_dose` looks at a field "
                            "`drawn_volume`, which this step does not ask"),
    "field of another kind": ("phases/withdraw.toml",
                              swap('name = "drawn_volume"\n    kind = "quantity"',
                                   'name = "drawn_volume"\n    kind = "text"'),
                              "check `drawn_volume_is_the_dose` reads `drawn_volume` as quantity"),
    "unknown kind": ("phases/withdraw.toml", swap('kind = "quantity"', 'kind = "number"'),
                     "is 'number'; it can be"),
    "unknown reason": ("phases/withdraw.toml", swap('if_not = "key_part_touched"',
                                                    'if_not = "key_part_licked"'),
                       "`if_not` is 'key_part_licked', which is no reason code"),
    "reason with more to tell": ("phases/withdraw.toml",
                                 swap('if_not = "key_part_touched"', 'if_not = "lot_recalled"'),
                                 "the words of `lot_recalled` ask for lot, which only a check"),
    "remedy to ready": ("phases/withdraw.toml",
                        swap('remedy = "replace_item"\n    on = ["key_part_touched"]\n'
                             '    to = "fit_the_filter"',
                             'remedy = "replace_item"\n    on = ["key_part_touched"]\n'
                             '    to = "give_the_dose"'),
                        "leads forward to `give_the_dose`"),
    "remedy to nowhere": ("phases/withdraw.toml", swap('to = "fit_the_filter"',
                                                       'to = "fit_a_filter"'),
                          "leads to `fit_a_filter`, which is no step of the sequence"),
    "remedy to given": ("phases/withdraw.toml", swap('to = "fit_the_filter"', 'to = "given"'),
                        "leads to `given`, which is no step"),
    "resume outside a re-verification": ("phases/withdraw.toml",
                                         swap('to = "fit_the_filter"', 'to = "resume"'),
                                         "which only a re-verification may do"),
    "remedy for a reason not given": ("phases/withdraw.toml",
                                      swap('on = ["key_part_touched"]', 'on = ["wrong_diluent"]'),
                                      "no check of this step can give `wrong_diluent`"),
    "back of no remedy": ("phases/product.toml", swap('back = { recheck = "here" }',
                                                      'back = { redo = "here" }'),
                          "`back.redo` is not a remedy; there are recheck"),
    "step that stops nobody": ("phases/withdraw.toml",
                               lambda t: t.replace('checks = ["filter_is_fitted"]', "").replace(
                                   t[t.index('    [[phase.step.field]]\n    name = "filter_kind"'):
                                     t.index("[[phase]]", t.index('name = "filter_kind"'))],
                                   ""),
                               "step fit_the_filter: nothing is reported and nothing is checked"),
    "name used twice": ("phases/withdraw.toml", swap('name = "draw_up"', 'name = "set_the_dose"'),
                        "two steps have this name"),
    "field used twice": ("phases/withdraw.toml", swap('name = "no_air_in"',
                                                      'name = "rim_untouched"'),
                         "two fields have the same name"),
    "choice of one": ("phases/withdraw.toml",
                      swap('answers = ["no bubble left", "a bubble is left"]',
                           'answers = ["no bubble left"]'),
                      "a choice needs at least two `answers`"),
    "open identifier": ("phases/order.toml", swap("    private = true\n", ""),
                        "an identifier has `private = true`"),
    "seven lines": ("phases/order.toml",
                    swap('    [[phase.step.field]]\n    name = "hands_clean"',
                         '    [[phase.step.field]]\n    name = "seventh"\n    kind = "seen"\n'
                         '    say = "Seven"\n    if_not = "area_not_clean"\n\n'
                         '    [[phase.step.field]]\n    name = "hands_clean"'),
                    "more than six lines to look at on one screen"),
    "resume later": ("phases/withdraw.toml", swap('resume_at = "set_the_dose"',
                                                  'resume_at = "write_the_record"'),
                     "`resume_at` is `write_the_record`; it names this step or an earlier one"),
    "milestone gone": ("glass_ampoule.toml", swap('ready = "identify_the_patient"',
                                                  'ready = "be_ready"'),
                       "`ready` is `be_ready`, which is no step of the sequence"),
    "account gone": ("glass_ampoule.toml", swap('"reverify_given", "account",',
                                                '"reverify_given",'),
                     "`account` is `account`, which is not in `asides`"),
    "re-verification gone": ("glass_ampoule.toml", swap('"reverify_item", ', ""),
                             "`reverify` names `reverify_item`, not in `asides`"),
    "word without meaning": ("phases/product.toml", swap("Take the {item}", "Take the {thing}"),
                             "asks for a word 'thing' that [words] lacks"),
    "phase in two files": ("phases/order.toml",
                           lambda t: t + '\n[[phase]]\nname = "leave"\ntitle = "Leave"\n'
                           'mode = "do, then enter"\n[[phase.step]]\nname = "x"\nask = "Look."\n',
                           "a phase of this name is also in"),
    "capital in a name": ("phases/withdraw.toml", swap('name = "draw_up"', 'name = "Draw Up"'),
                          "string should match pattern"),
    "negative time": ("phases/withdraw.toml", swap("shortest = 5", "shortest = -5"),
                      "greater than or equal to 0"),
    "least time without a source": ("phases/withdraw.toml",
                                    swap('  shortest_from = "common practice, no source"\n', ""),
                                    "`shortest` has no `shortest_from`; say where"),
    "observed at no step": ("phases/observe.toml", swap('step = "draw_up"', 'step = "drew_up"'),
                            "it is observed at `drew_up`, which is no step; did you mean"),
    "observed twice": ("phases/observe.toml", swap('name = "snaps_away"', 'name = "neck_dries"'),
                       "step neck_dries: two things to observe have this name"),
    "observed at no kind": ("phases/observe.toml", swap('only_if = ["glass"]',
                                                        'only_if = ["clay"]'),
                            "`only_if` has 'clay', no kind of container; there are ampoule"),
    "observed in no words": ("phases/observe.toml", swap("against the order", "by the {list}"),
                             "asks for a word 'list' that [words] lacks"),
    "word of observing": ("phases/observe.toml", swap("critical = true", "criticle = true"),
                          "did you mean `critical`?"),
    "seen line without a code": ("phases/withdraw.toml",
                                 swap('    if_not = "air_injected_into_ampoule"\n', ""),
                                 "field `no_air_in`: `if_not` is ''"),
    "code on a choice": ("phases/withdraw.toml",
                         swap('    say = "In the syringe now"',
                              '    say = "In the syringe now"\n    if_not = "air_present"'),
                         "only a `seen` line has `if_not`"),
    "version of text": ("glass_ampoule.toml", swap("version = 1", 'version = "1"'),
                        "`version` is '1': input should be a valid integer"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_said_with_file_step_and_remedy(name: str, tmp_path: Path) -> None:
    file, edit, sentence = FAULTS[name]
    faults = faults_after(tmp_path, file, edit)
    assert any(sentence in fault for fault in faults), faults
    assert all(fault.split(":")[0].split(",")[0].endswith(".toml") for fault in faults)


def test_all_faults_of_all_files_come_at_once(tmp_path: Path) -> None:
    def edit(text: str) -> str:
        text = text.replace('"filter_is_fitted"', '"filter_is_fited"')
        text = text.replace('to = "fit_the_filter"', 'to = "give_the_dose"')
        return text.replace('name = "no_air_in"', 'name = "rim_untouched"')

    assert len(faults_after(tmp_path, "phases/withdraw.toml", edit)) >= 3


def test_a_missing_file_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(WorkflowFaults, match="there is no such file"):
        read_workflow(tmp_path / "nothing.toml")


def test_what_the_trail_keeps_reads_back_as_the_same_workflow() -> None:
    for workflow in library.workflows().values():
        spent = workflow.for_(frozenset({"controlled"}))
        for one in (workflow, spent):
            again = from_text(one.text)
            assert again == one and again.digest == one.digest and again.text == one.text


def test_any_change_of_a_workflow_changes_its_digest(tmp_path: Path) -> None:
    own = copied(tmp_path)
    first = read_workflow(own).digest
    own.write_text(own.read_text().replace('"Glass ampoule"', '"Glass  ampoule"'))
    assert read_workflow(own).digest != first


def test_a_text_kept_before_observing_was_known_keeps_its_digest() -> None:
    """A trail holds the digest of its day: what came to the language later may not move it."""
    workflow = library.workflows()["glass_ampoule"]

    def older(value: Any) -> Any:
        if isinstance(value, dict):
            later = ("observe", "shortest_from")
            return {name: older(one) for name, one in value.items() if name not in later}
        return [older(one) for one in value] if isinstance(value, list) else value

    kept = json.dumps(
        older(json.loads(workflow.text)), sort_keys=True, ensure_ascii=False, separators=(",", ":")
    )
    assert from_text(kept).text == kept and kept != workflow.text


def test_every_shipped_workflow_has_things_to_observe_at_its_own_steps() -> None:
    for workflow in library.workflows().values():
        steps = [step.name for step in workflow.steps]
        names = [one.name for one in workflow.observe]
        assert len(names) == len(set(names)) >= 18, workflow.name
        assert 0 < sum(one.critical for one in workflow.observe) < len(names), workflow.name
        assert [steps.index(one.step) for one in workflow.observe] == sorted(
            steps.index(one.step) for one in workflow.observe
        )


def test_what_is_observed_falls_away_with_its_step_and_fits_the_container() -> None:
    glass = library.workflows()["glass_ampoule"]
    names = {one.name for one in glass.observe}
    assert {"tip_off_the_rim", "filter_before_drawing", "witness_sees_it_go"} <= names
    assert names.isdisjoint({"rubs_the_stopper", "enters_at_a_slant", "pen_primed"})
    assert "witness_sees_it_go" not in {one.name for one in glass.for_(frozenset()).observe}
    both = library.workflows()["mixed_syringe.single_dose_vial.glass_ampoule"]
    said = {one.name: one.say for one in both.observe}
    assert "tip_off_the_rim@second" in said and "tip_off_the_rim@first" not in said
    assert "second container" in said["label_before_drawing@second"]


def test_conditions_are_spent_before_the_first_step() -> None:
    workflow = library.workflows()["glass_ampoule"]
    plain = workflow.for_(frozenset())
    assert not plain.conditions and plain.traits == ()
    assert {"count_the_stock", "witness_the_waste"}.isdisjoint(s.name for s in plain.steps)
    full = workflow.for_(workflow.conditions)
    assert full.traits == tuple(sorted(workflow.conditions))
    assert len(full.steps) == len(workflow.steps)


def test_a_milestone_may_not_fall_away_with_a_condition(tmp_path: Path) -> None:
    own = copied(tmp_path)
    phases = tmp_path / "phases" / "withdraw.toml"
    phases.write_text(
        phases.read_text().replace(
            'name = "draw_up"\n', 'name = "draw_up"\n  only_if = ["controlled"]\n'
        )
    )
    workflow = read_workflow(own)
    layout_of(workflow.for_(frozenset({"controlled"})))
    with pytest.raises(WorkflowFaults, match="`withdraw` falls away"):
        layout_of(workflow.for_(frozenset()))


def test_every_reason_of_every_step_has_a_way_out() -> None:
    for workflow in library.workflows().values():
        for phase in (*workflow.phases, *workflow.asides):
            for step in phase.steps:
                answered = {code for way in step.ways for code in way.on}
                assert {r.code for r in reasons_of(step)} <= answered, step.name


def test_the_drawing_shows_every_step_and_the_full_one_every_move() -> None:
    workflow = library.workflows()["glass_ampoule"].for_(frozenset({"controlled"}))
    layout = layout_of(workflow)
    brief, full = mermaid(workflow), mermaid(workflow, full=True)
    assert brief.startswith("stateDiagram-v2\n")
    for step in workflow.steps:
        assert f'state "{step.name.replace("_", " ")}" as {step.name}' in brief
    assert full.count(" --> ") == len(set(moves(layout))) + 4


def test_every_shipped_file_fits_the_json_schema_and_what_is_observed_at_no_kind_does_not() -> None:
    """JSON Schema, draft 2020-12, as the library `jsonschema` reads it."""
    jsonschema = pytest.importorskip("jsonschema")
    for phases, folder in ((False, SHIPPED), (True, SHIPPED / "phases")):
        validator = jsonschema.Draft202012Validator(schema_of(phases=phases))
        for file in sorted(folder.glob("*.toml")):
            if file.stem not in library.NOT_WORKFLOWS:
                assert not list(validator.iter_errors(tomllib.loads(file.read_text()))), file
    shared = jsonschema.Draft202012Validator(schema_of(phases=True))
    item = {"name": "x", "say": "Looks", "step": "draw_up", "only_if": ["clay"]}
    assert [error.validator for error in shared.iter_errors({"observe": [item]})] == ["enum"]
