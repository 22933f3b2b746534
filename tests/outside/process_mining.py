"""Play an exported trail on its workflow's net in an outside process-mining program, pm4py.

    python -m pip install 'pm4py>=2.7,<3'    # in an environment of its own: it is AGPL
    checklist review events OUT --as CODE
    python tests/outside/process_mining.py OUT

It reads only the files of `checklist review events` and nothing of this project, so that what it
says does not lean on our own replay. Exit code 0 when every preparation fits with fitness 1 and a
log that was spoilt on purpose does not, 1 when not, 77 when pm4py is missing.
"""

from __future__ import annotations

import importlib
import json
import sys
from pathlib import Path
from typing import Any

SKIPPED = 77


def main(folder: Path) -> int:
    """Check every net in a folder against its part of the log."""
    try:
        pm4py: Any = importlib.import_module("pm4py")
    except ImportError:
        print("skipped: pm4py is not installed")
        return SKIPPED
    log = pm4py.read_ocel2_json(str(folder / "events.ocel.json"))
    print(f"pm4py {pm4py.__version__}: {len(log.events)} events, {len(log.objects)} objects")
    flat = pm4py.ocel_flattening(log, "preparation")
    follows = ended_under(folder / "events.ocel.json")
    worst = 0
    for file in sorted(folder.glob("workflow-*.pnml")):
        digest = file.stem.removeprefix("workflow-")
        kept = {id_ for id_, rules in follows.items() if rules.startswith(digest)}
        part = flat[flat["case:concept:name"].isin(kept)]
        net, start, end = pm4py.read_pnml(str(file))
        whole = pm4py.fitness_token_based_replay(part, net, start, end)
        exact = pm4py.fitness_alignments(part, net, start, end)
        from_end = part.groupby("case:concept:name").cumcount(ascending=False)
        spoilt = pm4py.fitness_token_based_replay(part[from_end >= 2], net, start, end)
        print(
            f"{file.name}: {len(kept)} preparations; token replay {whole['log_fitness']},"
            f" {whole['perc_fit_traces']} % fit; alignments {exact['log_fitness']}; with the last"
            f" two entries cut off {spoilt['log_fitness']:.4f}, {spoilt['perc_fit_traces']} % fit"
        )
        fits = whole["log_fitness"] == 1 and whole["perc_fit_traces"] == 100
        fits = fits and exact["log_fitness"] == 1 and spoilt["perc_fit_traces"] == 0
        worst = max(worst, int(not fits))
    return worst


def ended_under(file: Path) -> dict[str, str]:
    """The digest of the workflow of each ended preparation, from the log's own relations."""
    found = {}
    for one in json.loads(file.read_text(encoding="utf-8"))["objects"]:
        told = {each["name"]: each["value"] for each in one["attributes"]}
        if one["type"] == "preparation" and told["ending"]:
            (rules,) = (r for r in one["relationships"] if r["qualifier"] == "follows")
            found[one["id"]] = rules["objectId"].removeprefix("workflow:")
    return found


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
