"""Jobs into an archive, and questions to it: seconds, memory and growth, against two other ways.

For each number of jobs, a thousand readings each: how long “archive” takes and how much memory, and
each question. Then the same two questions (the mean of each winding's standing verdict; the mean of
all readings) to the archive, to DuckDB on the raw logs and captures, and to a loop over the files
with json and pandas. Processor seconds of the process and its children are what to compare on a
machine that does other things too; the ratios are of one run.

    python tests/benchmarks/archive_jobs.py [--jobs 100 1000 10000] [--folder DIR]
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

QUESTIONS = ("spread", "drift", "verdicts", "comebacks", "times", "redone", "learnt")
MEANS = "SELECT step, avg(corrected) FROM verdicts WHERE stands GROUP BY step ORDER BY step"
ALL = "SELECT count(*), avg(value) FROM readings WHERE NOT overload"

RAW_LOGS = """
import duckdb, sys
columns = {"kind": "VARCHAR", "step": "VARCHAR", "corrected": "DOUBLE", "at": "VARCHAR"}
rows = duckdb.read_json(sys.argv[1] + "/*/log.jsonl", format="newline_delimited", columns=columns,
    filename=True)
print(duckdb.sql('''SELECT step, avg(corrected) FROM (SELECT * FROM rows WHERE kind = 'verdict'
    QUALIFY row_number() OVER (PARTITION BY filename, step ORDER BY "at" DESC) = 1)
    GROUP BY step ORDER BY step''').fetchall())
"""
RAW_CAPTURES = """
import duckdb, sys
rows = duckdb.read_json(sys.argv[1] + "/*/captures/*.jsonl", format="newline_delimited",
    columns={"kind": "VARCHAR", "value": "DOUBLE"})
print(duckdb.sql("SELECT count(*), avg(value) FROM rows WHERE kind = 'reading'").fetchall())
"""
LOOP_LOGS = """
import json, sys, pandas
from pathlib import Path
found = []
for log in Path(sys.argv[1]).glob("*/log.jsonl"):
    standing = {}
    for line in log.open():
        record = json.loads(line)
        if record["kind"] == "verdict":
            standing[record["step"]] = record["corrected"]
    found += standing.items()
print(pandas.DataFrame(found, columns=["step", "corrected"]).groupby("step").mean())
"""
LOOP_CAPTURES = """
import json, sys, pandas
from pathlib import Path
count, total = 0, 0.0
for capture in Path(sys.argv[1]).glob("*/captures/*.jsonl"):
    rows = [r for r in map(json.loads, capture.open()) if r["kind"] == "reading"]
    values = pandas.DataFrame(rows)["value"]
    count, total = count + len(values), total + values.sum()
print(count, total / count)
"""


WITHOUT_PANDAS = """
import sys
class Hidden:
    def find_spec(self, name, *_):
        if name.partition(".")[0] == "pandas":
            raise ModuleNotFoundError(name)
sys.meta_path.insert(0, Hidden())
"""


class Took(NamedTuple):
    """What one process took, its children with it."""

    wall: float
    cpu: float
    peak_mib: float
    """Of the largest process."""


def main() -> None:
    """Make jobs, archive them, ask, and compare."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--jobs", type=int, nargs="+", default=[100, 1000, 10_000])
    arguments.add_argument("--folder")
    args = arguments.parse_args()
    with tempfile.TemporaryDirectory(dir=args.folder) as folder:
        for count in args.jobs:
            _measure(Path(folder) / str(count), count)


def _measure(folder: Path, count: int) -> None:
    from tests.many_jobs import make_jobs

    jobs, archive = folder / "jobs", folder / "archive"
    start = time.perf_counter()
    make_jobs(jobs, count)
    _say(f"\n{count} jobs, made in {time.perf_counter() - start:.0f} s, {_mib(jobs):.0f} MiB")
    _line("archive", _meterlink("archive", str(archive), "--jobs", str(jobs)))
    _say(f"  the archive takes {_mib(archive):.0f} MiB")
    _line("archive again, nothing new", _meterlink("archive", str(archive), "--jobs", str(jobs)))
    for question in QUESTIONS:
        _line(f"ask {question}", _meterlink("ask", question, "--archive", str(archive)))
    for name, sql, raw, loop in (
        ("verdicts", MEANS, RAW_LOGS, LOOP_LOGS),
        ("readings", ALL, RAW_CAPTURES, LOOP_CAPTURES),
    ):
        ours = _meterlink("ask", "--archive", str(archive), "--sql", sql, "--json")
        _line(f"mean of {name}: the archive", ours)
        for other, code in (("DuckDB on raw files", raw), ("json and pandas loop", loop)):
            took = _run([sys.executable, "-c", code, str(jobs)])
            ratio = f"{took.cpu / ours.cpu:6.1f} times the archive's processor time"
            _line(f"mean of {name}: {other}", took, ratio)
    _line("mean of verdicts: --jobs", _meterlink("ask", "--jobs", str(jobs), "--sql", MEANS))


def _meterlink(*words: str) -> Took:
    """Run the command as it is installed: without pandas, which pyarrow imports where it is.

    The loop that this is compared with needs it.
    """
    with tempfile.TemporaryDirectory() as hidden:
        (Path(hidden) / "sitecustomize.py").write_text(WITHOUT_PANDAS)
        return _run([sys.executable, "-m", "tui", *words], PYTHONPATH=hidden)


def _run(command: list[str], **environment: str) -> Took:
    """Run a command and return what it and its children took."""
    measured = (
        "import json, resource, subprocess, sys, time\n"
        "start = time.perf_counter()\n"
        "done = subprocess.run(sys.argv[1:], stdout=subprocess.PIPE, text=True)\n"
        "used = resource.getrusage(resource.RUSAGE_CHILDREN)\n"
        "print(json.dumps([time.perf_counter() - start, used.ru_utime + used.ru_stime,"
        " used.ru_maxrss / 1024, done.returncode, done.stdout[:200]]))"
    )
    out = subprocess.run(
        [sys.executable, "-c", measured, *command], capture_output=True, text=True, cwd=ROOT,
        check=True, env=os.environ | environment,
    )  # fmt: skip
    wall, cpu, peak, code, said = json.loads(out.stdout)
    if code:
        raise SystemExit(f"{command} gave {code}: {said} {out.stderr}")
    return Took(wall, cpu, peak)


def _line(name: str, took: Took, more: str = "") -> None:
    _say(
        f"  {name:<42} {took.wall:8.2f} s  {took.cpu:8.2f} s processor  "
        f"{took.peak_mib:6.0f} MiB  {more}".rstrip()
    )


def _say(line: str) -> None:
    print(line, flush=True)


def _mib(folder: Path) -> float:
    files = (Path(base) / name for base, _, names in os.walk(folder) for name in names)
    return sum(file.stat().st_size for file in files) / (1 << 20)


if __name__ == "__main__":
    main()
