"""A real file system that fills up, turns read-only and is pulled out under an open capture.

Runs where an unprivileged process may have its own mounts (Linux user namespaces); elsewhere
``test_writer`` covers the same with limits and a device that is always full.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from captures.record.reader import read_capture
from captures.record.verify import State, verify

UNSHARE = shutil.which("unshare")


def _may_mount() -> bool:
    if UNSHARE is None:
        return False
    probe = [UNSHARE, "-rm", "mount", "-t", "tmpfs", "-o", "size=64k", "none", "/mnt"]
    return subprocess.run(probe, capture_output=True, check=False).returncode == 0


pytestmark = pytest.mark.skipif(not _may_mount(), reason="no mounts of one's own here")

BEGIN = """
import json, shutil, subprocess, sys
from pathlib import Path
from captures.record.writer import RecordWriter
from meterlink.reading import Reading
from tests.captures.made import HEADER

disk, out = Path(sys.argv[1]), Path(sys.argv[2])

def mount(*options):
    subprocess.run(["mount", *options, str(disk)], check=True)

mount("-t", "tmpfs", "-o", "size=64k", "none")
said = []
path = disk / "a.jsonl"
writer = RecordWriter.create(path, HEADER, on_trouble=said.append)
number = 0

def readings(count):
    global number
    for number in range(number, number + count):
        writer.append(Reading(number / 100, 1.0))
    number += 1
"""

END = """
writer.close()
shutil.copy(path, out)
print(json.dumps({"said": said, "readings": number}))
"""

FILLS = """
readings(3000)
mount("-o", "remount,size=1m")
assert writer.sync()
readings(100)
"""

READ_ONLY_WHILE_BEGINNING = """
writer.close()
mount("-o", "remount,ro")
from meterlink.errors import CannotWriteError
try:
    RecordWriter.create(disk / "b.jsonl", HEADER)
except CannotWriteError as fault:
    said.append(str(fault))
mount("-o", "remount,rw")
"""


def _run(tmp_path: Path, script: str) -> tuple[dict, Path]:
    disk, out = tmp_path / "disk", tmp_path / "out.jsonl"
    disk.mkdir()
    done = subprocess.run(
        [UNSHARE, "-rm", sys.executable, "-c", BEGIN + script + END, str(disk), str(out)],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout), out


def test_a_disk_that_fills_up_and_is_made_room_on_loses_nothing(tmp_path):
    told, out = _run(tmp_path, FILLS)
    assert "No space left" in told["said"][0]
    assert told["said"][-1] == ""
    with read_capture(out) as capture:
        assert [record.t for record in capture] == [n / 100 for n in range(told["readings"])]
    assert verify(out).state is State.WHOLE


def test_a_read_only_disk_is_said(tmp_path):
    told, _ = _run(tmp_path, READ_ONLY_WHILE_BEGINNING)
    assert "Read-only" in told["said"][0]
