"""Whole, open or altered: any change under a seal is found, and the line is named."""

import shutil

import pytest

from captures.job.verify_job import verify_job
from captures.record.records import encode
from captures.record.seals import SEAL_EVERY_LINES
from captures.record.verify import State, verify
from captures.record.writer import RecordWriter
from meterlink.errors import UnreadableError
from meterlink.reading import Reading
from tests.captures.made import HEADER, SMALL, START, many, write


def test_every_single_bit_of_a_sealed_record_counts(tmp_path):
    path = write(tmp_path / "a.jsonl", SMALL)
    whole = path.read_bytes()
    assert verify(path).state is State.WHOLE
    with path.open("r+b", buffering=0) as file:
        for at, byte in enumerate(whole):
            for bit in range(8):
                _put(file, at, byte ^ 1 << bit)
                try:
                    state = verify(path).state
                except UnreadableError:
                    continue  # the header's format or version: refused outright
                assert state is not State.WHOLE, (at, bit)
            _put(file, at, byte)
    assert verify(path).state is State.WHOLE


def _put(file, at: int, byte: int) -> None:
    """Change a byte where it stands; rewriting the file ten thousand times is slow."""
    file.seek(at)
    file.write(bytes([byte]))


@pytest.mark.parametrize("line", [1, 2, 57, 101, 102, 103, 250, 299])
def test_the_line_that_was_changed_is_named(tmp_path, line):
    path = write(tmp_path / "a.jsonl", many(300))
    lines = path.read_bytes().splitlines(keepends=True)
    lines[line - 1] = lines[line - 1].replace(b"0", b"1", 1)
    path.write_bytes(b"".join(lines))
    check = verify(path)
    assert check.state is State.ALTERED
    assert (check.first_bad_line, check.last_bad_line) == (line, line)
    assert str(line) in check.sentence


@pytest.mark.parametrize("key", ["lines", "bytes", "marks"])
def test_a_seal_that_was_changed_itself_is_named(tmp_path, key):
    path = write(tmp_path / "a.jsonl", many(300))
    lines = path.read_bytes().splitlines(keepends=True)
    seals = [n for n, line in enumerate(lines) if line.startswith(b'{"kind":"seal"')]
    number = seals[1]
    at = lines[number].index(f'"{key}":'.encode()) + len(key) + 4
    changed = lines[number][at] ^ 1
    lines[number] = lines[number][:at] + bytes([changed]) + lines[number][at + 1 :]
    path.write_bytes(b"".join(lines))
    check = verify(path)
    assert check.state is State.ALTERED
    assert (check.first_bad_line, check.last_bad_line) == (number + 1, number + 1)


@pytest.mark.parametrize("line", [2, 57, 150])
def test_a_line_taken_out_or_put_in_is_named(tmp_path, line):
    path = write(tmp_path / "a.jsonl", many(300))
    lines = path.read_bytes().splitlines(keepends=True)
    for changed in (
        lines[: line - 1] + lines[line:],
        [*lines[: line - 1], encode(Reading(5.0, 9.0)), *lines[line - 1 :]],
        [*lines[: line - 1], lines[line], lines[line - 1], *lines[line + 1 :]],
    ):
        path.write_bytes(b"".join(changed))
        check = verify(path)
        assert check.state is State.ALTERED
        assert check.first_bad_line == line


def test_a_change_that_keeps_the_lines_mark_is_still_found(tmp_path):
    """CRC-32 can be forged with four bytes, so the mark may agree where the hash does not."""
    import zlib

    path = write(tmp_path / "a.jsonl", many(10))
    lines = path.read_bytes().splitlines(keepends=True)
    mark = zlib.crc32(lines[3]) & 0xFFFF
    forged = next(
        line
        for number in range(10**6)
        if zlib.crc32(line := encode(Reading(0.2, 0.9, raw=str(number)))) & 0xFFFF == mark
        and len(line) == len(encode(Reading(0.2, 0.9, raw=str(number))))
    )
    lines[3] = forged
    path.write_bytes(b"".join(lines))
    check = verify(path)
    assert check.state is State.ALTERED
    assert check.first_bad_line <= 4 <= check.last_bad_line or check.first_bad_line == len(lines)


def test_the_tail_after_the_last_seal_is_called_unsealed(tmp_path):
    path = write(tmp_path / "a.jsonl", many(250))
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:230]))
    check = verify(path)
    assert check.state is State.OPEN
    assert check.sealed_lines == 2 * SEAL_EVERY_LINES + 1
    assert f"from line {check.sealed_lines + 1}" in check.sentence


def test_a_record_that_was_cut_and_continued_is_whole_and_says_so(tmp_path):
    path = write(tmp_path / "a.jsonl", many(30))
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:20]) + lines[20][:10])
    with RecordWriter.resume(path, START) as writer:
        writer.append(Reading(99.0, 1.0))
    check = verify(path)
    assert (check.state, check.unreadable_lines) == (State.WHOLE, 1)


def test_what_is_no_record_is_refused(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("nothing of the kind\n" * 1000)
    with pytest.raises(UnreadableError, match="no capture"):
        verify(path)


@pytest.fixture
def job(store):
    with store.create("Pump 7") as writer:
        for _ in range(2):
            with writer.new_capture(HEADER) as capture:
                capture.append(Reading(0.0, 1.0))
    return writer.job


def states(job):
    return {part.file: part.state for part in verify_job(job)}


def test_a_job_is_whole_in_all_its_parts(job):
    assert set(states(job).values()) == {State.WHOLE}
    assert list(states(job)) == [
        "log.jsonl",
        "captures/0001-primary.jsonl",
        "captures/0002-primary.jsonl",
    ]


def test_a_capture_that_was_replaced_by_another_whole_one_is_found(job):
    first, _ = job.captures()
    write(first.with_suffix(".new"), SMALL).replace(first)
    assert states(job)["captures/0001-primary.jsonl"] is State.ALTERED


def test_a_capture_that_was_taken_away_is_found(job):
    job.captures()[1].unlink()
    assert states(job)["captures/0002-primary.jsonl"] is State.CUT


def test_a_capture_that_the_log_does_not_know_is_named(job):
    shutil.copy(job.captures()[0], job.folder / "captures" / "0009-slipped-in.jsonl")
    parts = {part.file: part for part in verify_job(job)}
    assert "knows nothing" in parts["captures/0009-slipped-in.jsonl"].sentence
