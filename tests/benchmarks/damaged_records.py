"""What every reader says of damaged records: one bit flipped, cut, or left by a killed program.

    python tests/benchmarks/damaged_records.py [--rounds 330] [--seed 1] [--kinds flip cut kill]

For each round a job of the demo is copied, and its capture (in every fourth round its log) gets
one flipped bit, or is cut; or the same records are written anew by a program that is killed at
some moment. Then each reader is asked. ``silent`` counts the answers that differ from those on the
sound job while neither exit code nor any line speaks of the record's state. ``lost`` counts the
killed programs of which a record is missing that they had said was written.
"""

import argparse
import contextlib
import io
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from captures.record.reader import read_capture
from tui.cli import main

SPEAKS = re.compile(
    r"altered|\bcut\b|not closed|never closed|unsealed|cannot be read|record is open"
    r"|no job|unreadable"
    r'|"record":"(?:open|cut|altered)"'
    r"|,(?:open|cut|altered)(?:,[01])?\r?$",
    re.MULTILINE,
)


WRITER = """
import os, sys
from pathlib import Path
from captures.job.job import Job, is_logged
from captures.job.store import JobStore
from captures.record.reader import read_capture
from meterlink.reading import Reading
sound, root = Job(Path(sys.argv[1])), Path(sys.argv[2])
settings = sound.header().settings
with JobStore(root).create("Killed", settings=settings) as job:
    with read_capture(sound.captures()[0]) as records, job.new_capture(records.header) as capture:
        for number, record in enumerate(records, 1):
            capture.append(record)
            if is_logged(record):
                job.log.append(record)
            os.write(1, b"%d\\n" % number)
"""
"""Writes the records of a sound job into another, as the bench does, and says how many it has."""


def readers(job: Path, out: Path) -> dict[str, list[str]]:
    """Return the command line of every reader."""
    [capture] = (job / "captures").iterdir()
    archive = str(out.with_name("archive"))
    shutil.rmtree(archive, ignore_errors=True)
    jobs = ["--jobs", str(job.parent)]
    return {
        "verify": ["verify", str(job)],
        "analyse": ["analyse", str(capture)],
        "analyse --json": ["analyse", str(capture), "--json"],
        "export": ["export", str(capture)],
        "export --holds": ["export", str(capture), "--holds"],
        "finding": ["finding", str(job)],
        "jobs show": ["jobs", "show", str(job)],
        "jobs show --json": ["jobs", "show", str(job), "--json"],
        "replay --check": ["replay", "--check", str(capture)],
        "report": ["report", str(job), "--output", str(out)],
        "jobs list": ["jobs", *jobs],
        "archive": ["archive", archive, *jobs],
        "ask": ["ask", "times", "--archive", archive],
        "ask --jobs": ["ask", "times", *jobs],
    }


def ask(words: list[str], out: Path) -> tuple[int, str, str]:
    """Return exit code, what is read and what is said beside it."""
    out.unlink(missing_ok=True)
    shown, beside = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(beside):
        code = main(words)
    text = shown.getvalue()
    if out.exists():
        text += out.read_text(encoding="utf-8")[:20_000]
    return code, text, beside.getvalue()


def damage(kind: str, path: Path, rng: random.Random) -> None:
    """Flip one bit of ``path``, or cut it."""
    data = bytearray(path.read_bytes())
    at = rng.randrange(1, len(data))
    if kind == "flip":
        data[at] ^= 1 << rng.randrange(8)
        path.write_bytes(data)
    else:
        path.write_bytes(data[:at])


def kill(sound: Path, root: Path, rng: random.Random) -> tuple[Path, bool]:
    """Write the sound job anew, kill the writer; return the job and whether a record is lost."""
    shutil.rmtree(root, ignore_errors=True)
    wanted = rng.randrange(1, 400)
    command = [sys.executable, "-c", WRITER, str(sound), str(root)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=Path(__file__).parents[2]) as writer:
        assert writer.stdout is not None
        said = 0
        for line in writer.stdout:
            said = int(line)
            if said >= wanted:
                writer.kill()
                break
        rest = writer.stdout.read().split(b"\n")[:-1]
        said = int(rest[-1]) if rest else said
    [job] = root.glob("2*")
    [capture] = (job / "captures").iterdir()
    with read_capture(capture) as records:
        there = sum(1 for _ in records)
    return job, there < said


def measure(kind: str, rounds: int, seed: int) -> None:
    """Print a table for one kind of damage."""
    rng = random.Random(seed)
    root = Path(tempfile.mkdtemp(prefix="meterlink-damaged-"))
    with contextlib.redirect_stdout(io.StringIO()):
        main(["demo", "--plain", "--jobs", str(root / "sound")])
    [sound] = (root / "sound").glob("2*")
    out = root / "out.html"
    job = root / "damaged" / sound.name
    shutil.copytree(sound, job)
    right = {name: ask(words, out) for name, words in readers(job, out).items()}
    counts: dict[str, Counter[str]] = {}
    lost = 0
    for number in range(rounds):
        if kind == "kill":
            job, one = kill(sound, job.parent, rng)
            lost += one
        else:
            shutil.rmtree(job.parent, ignore_errors=True)
            shutil.copytree(sound, job)
            which = job / "log.jsonl" if number % 4 == 3 else next((job / "captures").iterdir())
            damage(kind, which, rng)
        for name, words in readers(job, out).items():
            code, text, beside = ask(words, out)
            count = counts.setdefault(name, Counter())
            speaks = bool(SPEAKS.search(text) or SPEAKS.search(beside))
            count[f"exit {code}"] += 1
            count["says so"] += speaks
            count["says so in line 1"] += bool(SPEAKS.search((beside + text).partition("\n")[0]))
            count["silent"] += code == 0 and not speaks and text != right[name][1]
    print(f"{kind}: {rounds} jobs" + (f", {lost} lost a record" if kind == "kill" else ""))
    for name, count in counts.items():
        codes = ", ".join(f"{k} {v}" for k, v in sorted(count.items()) if k.startswith("exit"))
        print(
            f"  {name:<17} silent {count['silent']:4}  says so {count['says so']:4}"
            f"  in line 1 {count['says so in line 1']:4}  {codes}",
            flush=True,
        )
    shutil.rmtree(root)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=330)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kinds", nargs="+", default=["flip", "cut", "kill"])
    given = parser.parse_args()
    for kind in given.kinds:
        measure(kind, given.rounds, given.seed)
