"""A capture is read up to its last whole line, whatever was done to it, in bounded memory."""

import contextlib
import os
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from captures.record.reader import RecordReader, read_capture
from captures.record.records import Unknown, encode
from captures.record.seals import LONGEST_LINE
from captures.record.verify import State, verify
from meterlink.errors import UnreadableError
from meterlink.reading import Reading
from tests.captures.made import HEADER, SMALL, many, same, write


def test_what_was_written_is_read(tmp_path):
    path = write(tmp_path / "a.jsonl", SMALL)
    with read_capture(path) as capture:
        assert capture.header == HEADER
        assert same(list(capture), SMALL)
    assert (capture.damaged, capture.cut) == (0, False)


def test_a_capture_cut_at_any_byte_is_read_up_to_its_last_whole_line(tmp_path):
    path = write(tmp_path / "cut.jsonl", SMALL)
    whole = path.read_bytes()
    first_line = whole.index(b"\n") + 1
    for length in reversed(range(len(whole))):
        os.truncate(path, length)
        if length < first_line:
            with pytest.raises(UnreadableError):
                read_capture(path)
            continue
        lines = whole[:length].count(b"\n")
        with read_capture(path) as capture:
            found = list(capture)
        assert same(found, SMALL[: lines - 1])
        assert capture.cut == (whole[length - 1 : length] != b"\n")
        assert capture.damaged == 0
        check = verify(path)
        assert check.state is not State.ALTERED
        assert (check.state is State.WHOLE) == (length == len(whole))


def test_a_damaged_line_is_named_and_reading_goes_on(tmp_path):
    path = write(tmp_path / "a.jsonl", SMALL)
    lines = path.read_bytes().splitlines(keepends=True)
    lines[2] = b"\x00\xff rubbish \x1b[31m\n"
    path.write_bytes(b"".join(lines))
    with read_capture(path) as capture:
        assert same(list(capture), [SMALL[0], *SMALL[2:]])
    assert capture.damaged == 1
    assert capture.damage[0].line == 3
    assert capture.damage[0].why.isprintable()


def test_unknown_records_are_passed_over_and_can_be_had(tmp_path):
    path = write(tmp_path / "a.jsonl", [])
    with path.open("ab") as file:
        file.write(b'{"kind":"pressure","t":1.0}\n' + encode(Reading(2.0, 1.0)))
    with read_capture(path) as capture:
        assert list(capture) == [Reading(2.0, 1.0)]
    with RecordReader(path) as reader:
        assert any(isinstance(record, Unknown) for _, record in reader.records())


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "header"),
        (b"{}\n", "header"),
        (b"t_s,value,unit\n0,1,ohm\n", "header"),
        (b'{"kind":"header","format":"meterlink-capture","ver', "cut inside its first line"),
        (
            b'{"kind":"header","format":"meterlink-capture","version":"2.0","started":"","program":""}\n',
            "newer program",
        ),
        (
            b'{"kind":"header","format":"meterlink-capture","version":"new","started":"","program":""}\n',
            "which version",
        ),
        (
            b'{"kind":"header","format":"meterlink-job-log","version":"1.0","started":"","program":""}\n',
            "no capture",
        ),
    ],
)
def test_what_is_no_capture_is_refused_in_one_sentence(tmp_path, content, said):
    path = tmp_path / "a.jsonl"
    path.write_bytes(content)
    with pytest.raises(UnreadableError, match=said) as refused:
        read_capture(path)
    assert str(path) in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("name", ["missing.jsonl", ".", "a\x00b"])
def test_a_path_that_is_no_file_is_refused(tmp_path, name):
    with pytest.raises(UnreadableError):
        read_capture(tmp_path / name)


@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_no_damage_whatever_makes_a_traceback(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "fuzz.jsonl"
    if not path.exists():
        write(path, SMALL).rename(path.with_suffix(".whole"))
    content = bytearray(path.with_suffix(".whole").read_bytes())
    for _ in range(data.draw(st.integers(0, 5))):
        at = data.draw(st.integers(0, len(content)))
        gone = data.draw(st.integers(0, 200))
        content[at : at + gone] = data.draw(
            st.binary(max_size=200) | st.sampled_from([b"\n", b"{", b'"', b"\x00" * 99, b'"kind":'])
        )
    path.write_bytes(content)
    with contextlib.suppress(UnreadableError):
        with read_capture(path) as capture:
            list(capture)
        verify(path)


@settings(max_examples=200, deadline=None)
@given(content=st.binary(max_size=600))
def test_nor_do_any_bytes_at_all(tmp_path_factory, content):
    path = tmp_path_factory.getbasetemp() / "bytes.jsonl"
    path.write_bytes(encode(HEADER) + content)
    with read_capture(path) as capture:
        list(capture)
    verify(path)


def test_a_line_however_long_is_passed_over_in_bounded_memory(tmp_path):
    path = write(tmp_path / "a.jsonl", SMALL[:2])
    _append_long_line(path, 32 * LONGEST_LINE)
    with path.open("ab") as file:
        file.write(b"\n" + encode(Reading(9.0, 1.0)))
    tracemalloc.start()
    try:
        with read_capture(path) as capture:
            found = list(capture)
        check = verify(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert same(found, [*SMALL[:2], Reading(9.0, 1.0)])
    assert capture.damaged == 1
    assert "longer than" in capture.damage[0].why
    assert check.state is State.OPEN
    assert peak < 8 * LONGEST_LINE


def test_many_damaged_lines_are_counted_and_only_some_are_kept(tmp_path):
    path = write(tmp_path / "a.jsonl", [])
    with path.open("ab") as file:
        file.write(b"rubbish\n" * 10_000)
    with read_capture(path) as capture:
        assert list(capture) == []
    assert capture.damaged == 10_000
    assert len(capture.damage) == 100


def test_reading_takes_no_more_memory_for_a_longer_capture(tmp_path):
    peaks = []
    for count in (2_000, 20_000):
        path = write(tmp_path / f"{count}.jsonl", many(count))
        tracemalloc.start()
        with read_capture(path) as capture:
            assert sum(1 for _ in capture) == count
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < peaks[0] * 1.1 + 65_536


def _append_long_line(path: Path, length: int) -> None:
    """A hole in the file reads as zeros and takes no room on the disk."""
    with path.open("r+b") as file:
        size = file.seek(0, 2)
        file.truncate(size + length)
