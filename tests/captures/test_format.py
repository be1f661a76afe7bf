"""FORMAT.md says all that is needed: a reader written from it alone agrees with the program."""

import re
from pathlib import Path
from typing import get_args

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import captures
from captures.record.reader import read_capture
from captures.record.records import FileRecord, decode, encode, known_kinds
from captures.record.verify import State, verify
from meterlink.card import BenchEvent
from meterlink.commands import AnyCommand, How
from meterlink.errors import UnreadableError
from meterlink.events import Evidence, Limit, Note, Verdict
from meterlink.reading import Reading
from meterlink.wording import COMPONENT_WORDS, OUTCOME_WORDS
from tests.captures import from_format
from tests.captures.made import SMALL, many, same, write
from tui.settings import CARDS

PAGE = (Path(captures.__file__).parent / "FORMAT.md").read_text(encoding="utf-8")
KINDS = [*get_args(BenchEvent), *get_args(FileRecord)]


@pytest.mark.parametrize("records", [SMALL, many(350)], ids=["small", "many"])
def test_a_reader_made_from_the_page_reads_the_same(tmp_path, records):
    path = write(tmp_path / "a.jsonl", records)
    header, found, bad = from_format.read(path)
    with read_capture(path) as capture:
        mine = [record for record in capture if isinstance(record, Reading)]
    assert (header["kind"], header["format"], bad) == ("header", "meterlink-capture", 0)
    theirs = [
        (float(r["t"]), from_format.value_of(r), r.get("overload", False), r.get("raw", ""))
        for r in found
        if r["kind"] == "reading"
    ]
    assert same(theirs, [(r.t, r.value, r.overload, r.raw) for r in mine])
    holds = [record for record in found if record["kind"] == "hold"]
    assert [from_format.number(hold["dof"]) for hold in holds] == [
        record.dof for record in records if hasattr(record, "dof")
    ]


@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_a_checker_made_from_the_page_finds_the_same(tmp_path_factory, data):
    folder = tmp_path_factory.getbasetemp()
    whole = folder / "checked.whole"
    if not whole.exists():
        write(folder / "checked.jsonl", many(230)).rename(whole)
    content = bytearray(whole.read_bytes())
    start = content.index(b"\n") + 1  # the header is another test's
    for _ in range(data.draw(st.integers(0, 2))):
        at = data.draw(st.integers(start, len(content) - 1))
        content[at : at + data.draw(st.integers(0, 60))] = data.draw(st.binary(max_size=60))
    path = folder / "checked.damaged"
    path.write_bytes(content)
    state, line = from_format.check(path)
    mine = verify(path)
    assert mine.state.value == state
    if mine.state is State.ALTERED and line is not None:
        assert mine.first_bad_line == min(line, mine.lines + 1)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_every_kind_and_key_is_in_the_page(kind):
    said = set(re.findall(r"`\"?([a-z0-9_-]+)\"?`", PAGE))
    assert kind.__struct_config__.tag in said
    assert {field.encode_name for field in msgspec.structs.fields(kind)} <= said


def test_every_word_that_a_key_may_hold_is_in_the_page():
    said = set(re.findall(r"`([a-z0-9_-]+)`", PAGE))
    for words in (How, Limit, Evidence, Verdict):
        assert {word.value for word in words} <= said
    assert {kind.__struct_config__.tag for kind in AnyCommand.__args__} <= said
    assert set(COMPONENT_WORDS) | set(OUTCOME_WORDS) <= said
    for step in (step for found in CARDS.all() for step in CARDS.get(found.name).step):
        assert (step.outcomes or set()) - set(getattr(step, "choices", ())) <= said


def test_every_reading_key_is_in_the_page():
    said = set(re.findall(r"`([a-z0-9_-]+)`", PAGE))
    assert set(Reading.__struct_fields__) | {"special", "reading"} <= said | {"reading"}
    assert "reading" in known_kinds()


def test_the_examples_of_the_page_are_records():
    lines = re.findall(r"^    (\{.*\})$", PAGE, re.MULTILINE)
    assert len(lines) >= 2
    for line in lines:
        assert encode(decode(line.encode())).decode() == line + "\n"


def test_no_record_is_longer_than_a_line_may_be(tmp_path):
    path = write(tmp_path / "a.jsonl", [Note(t=0.0, text="word " * 2_000_000)])
    with read_capture(path) as capture:
        [note] = list(capture)
    assert note.text.startswith("word word")
    assert verify(path).state is State.WHOLE


def test_a_newer_major_version_is_refused_and_a_newer_minor_one_read(tmp_path):
    path = write(tmp_path / "a.jsonl", SMALL)
    whole = path.read_bytes()
    path.write_bytes(whole.replace(b'"version":"1.1"', b'"version":"1.9"', 1))
    with read_capture(path) as capture:
        assert same(list(capture), SMALL)
    path.write_bytes(whole.replace(b'"version":"1.1"', b'"version":"2.0"', 1))
    for look in (read_capture, verify):
        with pytest.raises(UnreadableError, match="newer program"):
            look(path)
