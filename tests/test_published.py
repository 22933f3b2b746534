"""The published sets: each names its source and is read by a test."""

import json
from pathlib import Path

from tests.published import DATA


def test_every_published_set_is_read_by_a_test() -> None:
    text = "".join(path.read_text("utf-8") for path in Path(__file__).parent.glob("test_*.py"))
    for path in DATA.glob("*.json"):
        example = json.loads(path.read_text("utf-8"))
        if path.stem != "not_reproduced":
            assert example["source"]
            assert f'"{path.stem}"' in text, path.stem
