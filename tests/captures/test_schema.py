"""The schema that ships is the one of the Structs, and real files fit it.

Checked by jsonschema, the reference implementation of JSON Schema in Python.
"""

import json
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from captures.exchange.schema import FILE, schema
from captures.record.records import encode
from tests.captures.made import SMALL
from tests.captures.test_frozen import FROZEN
from tests.tui.demo_job import copy_demo

CHECKER = jsonschema.Draft202012Validator(json.loads(FILE.read_text("utf-8")))
LIBRARY = sorted((Path(__file__).parents[2] / "captures" / "library").glob("*.jsonl"))


def test_what_ships_is_what_the_structs_say():
    assert json.loads(FILE.read_text("utf-8")) == json.loads(json.dumps(schema()))
    jsonschema.Draft202012Validator.check_schema(schema())


def lines(path):
    for line in path.read_bytes().split(b"\n")[:-1]:
        try:
            yield json.loads(line)
        except ValueError:
            continue  # cut when it was written, as FORMAT.md allows


@pytest.mark.parametrize("path", LIBRARY, ids=lambda path: path.stem)
def test_the_captures_that_ship_fit(path):
    for record in lines(path):
        CHECKER.validate(record)


def test_a_job_and_the_frozen_files_fit(tmp_path):
    root, name = copy_demo(tmp_path / "jobs")
    files = [*(root / name).rglob("*.jsonl"), *FROZEN.glob("*/capture-*.jsonl")]
    files += [path for path in FROZEN.rglob("*.jsonl") if "jobs" in path.parts]
    assert len(files) > 5
    for path in files:
        for record in lines(path):
            CHECKER.validate(record)
    for record in SMALL:
        CHECKER.validate(json.loads(encode(record)))


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "reading", "t": "soon", "value": 1.0},
        {"kind": "reading", "t": 1.0, "value": "inf"},
        {"kind": "reading", "value": 1.0},
        {"kind": "seal", "lines": 1, "bytes": 2, "sha256": "x"},
        {"t": 1.0},
        {"kind": "verdict", "t": 1.0, "step": "primary", "verdict": "splendid"},
        [],
    ],
)
def test_what_does_not_fit_is_refused(wrong):
    assert not CHECKER.is_valid(wrong)


@given(st.text().filter(lambda kind: kind not in json.loads(FILE.read_text("utf-8"))["$defs"]))
def test_kinds_to_come_fit(kind):
    known = {d.get("properties", {}).get("kind", {}).get("enum", [""])[0] for d in _definitions()}
    if kind not in known:
        CHECKER.validate({"kind": kind, "anything": [1, {}]})


def _definitions():
    return schema()["$defs"].values()
