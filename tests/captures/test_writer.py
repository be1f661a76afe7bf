"""Nothing that was acknowledged is lost: killed programs, second writers, full disks."""

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from datetime import timedelta
from pathlib import Path

import pytest

import captures.record.append_file
from captures.record.append_file import PROMISE_S
from captures.record.reader import read_capture
from captures.record.records import decode
from captures.record.seals import SEAL_EVERY_LINES, Seal
from captures.record.verify import State, verify
from captures.record.writer import SEAL_EVERY_S, RecordWriter
from meterlink.errors import CannotWriteError, InUseError, UnreadableError
from meterlink.events import Gap, Note
from meterlink.reading import Reading
from tests.captures.made import HEADER, SMALL, START, many, same, write

POSIX_ONLY = pytest.mark.skipif(sys.platform == "win32", reason="needs POSIX signals and limits")


def test_a_record_is_in_the_file_when_append_returns(tmp_path):
    with RecordWriter.create(tmp_path / "a.jsonl", HEADER) as writer:
        for count, record in enumerate(SMALL, 2):
            writer.append(record)
            assert (tmp_path / "a.jsonl").read_bytes().count(b"\n") == count


def test_seals_come_at_least_every_so_many_lines_and_seconds(tmp_path):
    path = write(tmp_path / "a.jsonl", many(1000))
    slow = write(tmp_path / "b.jsonl", [Reading(float(t), 1.0) for t in range(50)])
    for file, farthest in ((path, SEAL_EVERY_LINES), (slow, SEAL_EVERY_S + 1)):
        seals = [
            number
            for number, line in enumerate(file.read_bytes().splitlines(), 1)
            if isinstance(decode(line), Seal)
        ]
        assert max(b - a for a, b in zip([0, *seals], seals, strict=False)) <= farthest + 2


def test_the_newest_bytes_are_sent_to_the_medium_within_the_promise(tmp_path, monkeypatch):
    """Watches the real calls: whatever is in the file goes to the medium soon after."""
    sent: list[tuple[float, int]] = []
    enough = threading.Event()
    to_medium = captures.record.append_file._to_medium

    def watched(fd: int) -> None:
        size = os.fstat(fd).st_size
        to_medium(fd)
        sent.append((time.monotonic(), size))
        if len(sent) >= 3:
            enough.set()

    monkeypatch.setattr(captures.record.append_file, "_to_medium", watched)
    written: list[tuple[float, int]] = []
    with RecordWriter.create(tmp_path / "a.jsonl", HEADER) as writer:
        while not enough.wait(0.02):
            writer.append(Reading(len(written) / 50, 1.0))
            written.append((time.monotonic(), (tmp_path / "a.jsonl").stat().st_size))
        covered = sent[-1][1]
    slack = 0.5  # this machine may be busy with other tests
    for when, size in written:
        if size <= covered:
            assert min(at for at, upto in sent if upto >= size) - when <= PROMISE_S + slack


def test_a_second_writer_is_refused_until_the_first_lets_go(tmp_path):
    path = tmp_path / "a.jsonl"
    with RecordWriter.create(path, HEADER) as writer:
        writer.append(Reading(0.0, 1.0))
        with pytest.raises(InUseError, match="another program"):
            RecordWriter.resume(path, START)
        probe = f"""
from datetime import datetime, UTC
from pathlib import Path
from captures.record.writer import RecordWriter
from meterlink.errors import InUseError
try:
    RecordWriter.resume(Path({str(path)!r}), datetime.now(UTC))
except InUseError:
    print("refused")
"""
        asked = subprocess.run(
            [sys.executable, "-c", probe], capture_output=True, text=True, check=True, env=_env()
        )
        assert asked.stdout == "refused\n"
        before = path.read_bytes()
    assert path.read_bytes().startswith(before)
    RecordWriter.resume(path, START).close()


def test_an_existing_file_is_never_begun_again(tmp_path):
    path = write(tmp_path / "a.jsonl", SMALL)
    before = path.read_bytes()
    with pytest.raises(CannotWriteError):
        RecordWriter.create(path, HEADER)
    assert path.read_bytes() == before


def test_a_record_goes_on_after_a_crash_with_a_gap(tmp_path):
    path = write(tmp_path / "a.jsonl", many(30))
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:20]) + lines[20][:7])
    now = START + timedelta(seconds=100)
    with RecordWriter.resume(path, now) as writer:
        assert writer.last_t == 100.0
        writer.append(Reading(100.5, 2.0))
    assert path.read_bytes().startswith(b"".join(lines[:20]) + lines[20][:7] + b"\n")
    with read_capture(path) as capture:
        *before, gap, after = list(capture)
    assert same(before, many(19))
    assert isinstance(gap, Gap)
    assert (gap.t, gap.until) == (1.8, 100.0)
    assert after == Reading(100.5, 2.0)
    assert (capture.damaged, capture.damage[0].line) == (1, 21)
    assert verify(path).state is State.WHOLE


def test_a_closed_record_goes_on_without_a_gap(tmp_path):
    path = write(tmp_path / "a.jsonl", many(5))
    with RecordWriter.resume(path, START) as writer:
        writer.append(Note(t=7.0, text="later"))
    with read_capture(path) as capture:
        assert same(list(capture), [*many(5), Note(t=7.0, text="later")])
    assert verify(path).state is State.WHOLE


def test_what_is_no_capture_is_not_written_to(tmp_path):
    path = tmp_path / "letter.txt"
    path.write_text("Dear club,\n")
    with pytest.raises(UnreadableError):
        RecordWriter.resume(path, START)
    assert path.read_text() == "Dear club,\n"


WRITE_UNTIL_KILLED = """
import os
import sys
from datetime import UTC, datetime
from pathlib import Path
from captures.record.writer import RecordWriter
from meterlink.events import Note
from meterlink.reading import Reading
from tests.captures.made import HEADER

path = Path(sys.argv[1])
if path.exists():
    writer = RecordWriter.resume(path, datetime.now(UTC))
else:
    writer = RecordWriter.create(path, HEADER)
number = int(sys.argv[2])
while True:
    number += 1
    t = float(number)
    writer.append(Note(t=t, text="x") if number % 7 == 0 else Reading(t, 1.0))
    os.write(1, b"%d\\n" % number)
"""


@POSIX_ONLY
def test_killed_at_any_moment_nothing_acknowledged_is_lost(tmp_path, kills):
    """Kill, read, continue the same file, over and over; a new file now and then."""
    moment = random.Random(20261103)
    for start in range(0, kills, 10):
        path = tmp_path / f"{start}.jsonl"
        acknowledged = 0
        for _ in range(min(10, kills - start)):
            acknowledged = _run_until_killed(path, acknowledged, moment.random() * 0.02)
            numbers = _numbers(path)
            assert numbers[:acknowledged] == list(range(1, acknowledged + 1))
            acknowledged = len(numbers)
        RecordWriter.resume(path, START).close()
        assert acknowledged >= 10
        assert verify(path).state is State.WHOLE


def _run_until_killed(path: Path, number: int, after_s: float) -> int:
    """Return the last number that the writer said was written, or ``number`` if it said none."""
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITE_UNTIL_KILLED, str(path), str(number)],
        stdout=subprocess.PIPE,
        env=_env(),
    )
    assert writer.stdout is not None
    said = writer.stdout.readline()
    time.sleep(after_s)
    writer.send_signal(signal.SIGKILL)
    said += writer.stdout.read()
    writer.stdout.close()
    writer.wait()
    whole = [int(line) for line in said.split(b"\n")[:-1] if line]
    return max(whole, default=number)


def _numbers(path: Path) -> list[int]:
    with read_capture(path) as capture:
        return [int(record.t) for record in capture if not isinstance(record, Gap)]


FULL_DISK = """
import json, resource, sys
from pathlib import Path
from captures.record.writer import RecordWriter
from meterlink.reading import Reading
from tests.captures.made import HEADER

soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
resource.setrlimit(resource.RLIMIT_FSIZE, (20_001, hard))
said = []
writer = RecordWriter.create(Path(sys.argv[1]), HEADER, on_trouble=said.append)
for number in range(1000):
    writer.append(Reading(number / 100, 1.0))
size = Path(sys.argv[1]).stat().st_size
troubled = bool(writer.trouble)
resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
writer.sync()
for number in range(1000, 1100):
    writer.append(Reading(number / 100, 1.0))
writer.close()
print(json.dumps({"said": said, "size": size, "troubled": troubled}))
"""


@POSIX_ONLY
def test_a_full_disk_is_said_and_nothing_is_lost_once_there_is_room(tmp_path):
    path = tmp_path / "a.jsonl"
    done = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(path)],
        capture_output=True,
        text=True,
        check=True,
        env=_env(),
    )
    told = json.loads(done.stdout)
    assert told["size"] == 20_001
    assert told["troubled"]
    assert "cannot be written" in told["said"][0]
    assert told["said"][-1] == ""
    with read_capture(path) as capture:
        assert [record.t for record in capture] == [n / 100 for n in range(1100)]
    assert verify(path).state is State.WHOLE


@pytest.fixture
def full(tmp_path):
    """A writer whose medium has gone: its descriptor leads to a device that is always full."""
    if not Path("/dev/full").exists():
        pytest.skip("this system has no device that is always full")
    said: list[str] = []
    writer = RecordWriter.create(tmp_path / "a.jsonl", HEADER, on_trouble=said.append)
    writer.append(Reading(0.0, 1.0))
    _lead_away(writer)
    return writer, said


def _lead_away(writer: RecordWriter) -> None:
    nowhere = os.open("/dev/full", os.O_RDWR)
    os.dup2(nowhere, writer._file._fd)
    os.close(nowhere)


def test_a_medium_that_went_and_came_back_is_taken_up_again(full):
    writer, said = full
    for number in range(1, 500):
        writer.append(Reading(float(number), 1.0))
    assert len(said) == 1
    assert writer.sync()
    writer.append(Reading(500.0, 1.0))
    writer.close()
    assert said[-1] == ""
    with read_capture(writer.path) as capture:
        assert [record.t for record in capture] == [float(n) for n in range(501)]
    assert verify(writer.path).state is State.WHOLE


def test_bytes_that_the_medium_lost_when_it_was_pulled_are_written_again(tmp_path):
    if not Path("/dev/full").exists():
        pytest.skip("this system has no device that is always full")
    writer = RecordWriter.create(tmp_path / "a.jsonl", HEADER)
    writer.sync()
    safe = writer.path.stat().st_size
    with writer._file._lock:  # no sync may come between
        writer.append(Reading(0.0, 1.0))
        _lead_away(writer)
        os.truncate(writer.path, safe + 5)
        writer.append(Reading(1.0, 1.0))
        assert writer.sync()
    writer.close()
    with read_capture(writer.path) as capture:
        assert [record.t for record in capture] == [0.0, 1.0]
    assert verify(writer.path).state is State.WHOLE


def test_another_file_of_the_same_name_is_left_alone(full):
    writer, _ = full
    writer.path.unlink()
    write(writer.path, [Note(t=1.0, text="someone else's")])
    before = writer.path.read_bytes()
    writer.append(Reading(1.0, 1.0))
    assert not writer.sync()
    with pytest.raises(CannotWriteError, match="could not be written"):
        writer.close()
    assert writer.path.read_bytes() == before


def test_another_file_of_the_same_name_and_length_is_left_alone_too(full):
    writer, _ = full
    others = bytes(reversed(writer.path.read_bytes()))
    writer.path.unlink()
    writer.path.write_bytes(others)
    writer.append(Reading(1.0, 1.0))
    assert not writer.sync()
    with pytest.raises(CannotWriteError, match="could not be written"):
        writer.close()
    assert writer.path.read_bytes() == others


def test_what_memory_cannot_hold_becomes_a_gap_and_events_outlast_readings(full, monkeypatch):
    writer, _ = full
    monkeypatch.setattr(writer._file, "_hold_bytes", 100_000)
    monkeypatch.setattr("captures.record.writer._RESERVED", 25_000)
    monkeypatch.setattr(writer._file, "_retry_at", float("inf"))
    for number in range(1, 10_000):
        writer.append(Reading(float(number), 1.0))
        assert len(writer._file._held) <= 100_000
    writer.append(Note(t=10_000.0, text="worth keeping"))
    assert writer.sync()
    writer.append(Reading(10_001.0, 1.0))
    writer.close()
    with read_capture(writer.path) as capture:
        found = list(capture)
    gaps = [record for record in found if isinstance(record, Gap)]
    assert len(gaps) == 1
    assert gaps[0].until == 9_999.0
    kept = [record.t for record in found if isinstance(record, Reading)]
    assert kept == [*(float(n) for n in range(int(gaps[0].t))), 10_001.0]
    assert Note(t=10_000.0, text="worth keeping") in found
    assert verify(writer.path).state is State.WHOLE


def test_a_folder_that_cannot_be_written_is_said_in_one_sentence(tmp_path):
    with pytest.raises(CannotWriteError, match="cannot be made") as refused:
        RecordWriter.create(tmp_path / "no" / "such" / "a.jsonl", HEADER)
    assert refused.value.exit_code == 5


def _env() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}


def test_a_program_that_dies_while_it_begins_a_file_leaves_none(tmp_path, monkeypatch):
    """Not an empty one, which nobody could continue or read."""

    def die(draft, path):
        assert draft.read_bytes().endswith(b"\n")
        raise SystemExit

    monkeypatch.setattr(Path, "rename", die)
    with pytest.raises(SystemExit):
        RecordWriter.create(tmp_path / "a.jsonl", HEADER)
    assert [path.name[0] for path in tmp_path.iterdir()] == ["."]
    monkeypatch.undo()
    RecordWriter.create(tmp_path / "a.jsonl", HEADER).close()
    with read_capture(tmp_path / "a.jsonl") as capture:
        assert capture.header == HEADER


@POSIX_ONLY
def test_a_file_that_is_deleted_while_it_is_written_is_said_and_saved_again(tmp_path):
    said: list[tuple[float, str]] = []
    folder = tmp_path / "job" / "captures"
    folder.mkdir(parents=True)
    path = folder / "a.jsonl"
    told = threading.Event()

    def trouble(sentence: str) -> None:
        said.append((time.monotonic(), sentence))
        told.set()

    with RecordWriter.create(path, HEADER, on_trouble=trouble) as writer:
        for record in many(50):
            writer.append(record)
        shutil.rmtree(tmp_path / "job")
        assert told.wait(10)
        assert "was deleted while it was written, and has been saved again" in writer.trouble
        writer.append(Reading(9.0, 1.0))
    assert verify(path).state is State.WHOLE
    with read_capture(path) as reader:
        assert list(reader) == [*many(50), Reading(9.0, 1.0)]


@POSIX_ONLY
def test_a_file_deleted_just_before_the_end_is_saved_again_too(tmp_path):
    path = tmp_path / "a.jsonl"
    with RecordWriter.create(path, HEADER) as writer:
        writer.append(Reading(0.0, 1.0))
        path.unlink()
    assert verify(path).state is State.WHOLE


@POSIX_ONLY
def test_a_file_that_is_moved_while_it_is_written_is_said_and_nothing_is_lost(tmp_path):
    (tmp_path / "elsewhere").mkdir()
    path, moved = tmp_path / "a.jsonl", tmp_path / "elsewhere" / "b.jsonl"
    told = threading.Event()
    with RecordWriter.create(path, HEADER, on_trouble=lambda _: told.set()) as writer:
        path.rename(moved)
        assert told.wait(10)
        assert "was moved or renamed" in writer.trouble
        writer.append(Reading(0.0, 1.0))
    assert verify(moved).state is State.WHOLE
    assert not path.exists()


@POSIX_ONLY
def test_a_deleted_file_whose_name_another_has_is_saved_beside_it(tmp_path):
    path = tmp_path / "a.jsonl"
    with RecordWriter.create(path, HEADER) as writer:
        writer.append(Reading(0.0, 1.0))
        path.unlink()
        path.write_text("another")
    assert path.read_text() == "another"
    assert verify(tmp_path / "saved-a.jsonl").state is State.WHOLE


def test_nothing_comes_after_the_final_seal_however_many_threads_write(tmp_path):
    for round_ in range(20):
        path = tmp_path / f"{round_}.jsonl"
        writer = RecordWriter.create(path, HEADER)
        stop = threading.Event()

        def write_on(writer=writer, stop=stop) -> None:
            while not stop.is_set():
                writer.append(Reading(1.0, 1.0))

        threads = [threading.Thread(target=write_on) for _ in range(3)]
        for thread in threads:
            thread.start()
        while writer.path.stat().st_size < 20_000:
            pass
        writer.close()
        stop.set()
        for thread in threads:
            thread.join()
        assert verify(path).state is State.WHOLE


def test_a_clock_that_was_set_back_makes_a_gap_of_unknown_length(tmp_path):
    path = write(tmp_path / "a.jsonl", many(50))
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:30]))
    with RecordWriter.resume(path, START - timedelta(days=400)):
        pass
    with read_capture(path) as reader:
        [gap] = [record for record in reader if isinstance(record, Gap)]
    assert (gap.t, gap.until) == (2.8, None)


def test_a_closed_record_that_is_taken_up_and_gets_nothing_stays_as_it_is(tmp_path):
    path = write(tmp_path / "a.jsonl", SMALL)
    before = path.read_bytes()
    RecordWriter.resume(path, START).close()
    assert path.read_bytes() == before
