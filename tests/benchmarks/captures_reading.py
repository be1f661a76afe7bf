"""A million readings read back: time and peak memory, against the same readings as CSV.

Each way runs in a process of its own and does the same work: count the readings, sum the values
that are no over range. The capture gives a checked object for each reading; the CSV ways give
columns or lists. The CSV holds the capture's own columns ``t_s,value,unit,overload,resolution``.

    python tests/benchmarks/captures_reading.py [--readings 1000000]
"""

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

WAYS = {
    "capture, read_capture": """
from captures.record.reader import read_capture
from meterlink.reading import Reading
with read_capture(capture) as records:
    for record in records:
        if isinstance(record, Reading):
            count += 1
            if not record.overload:
                total += record.value
""",
    "capture, with every seal checked": """
from captures.record.verify import verify
checked = verify(capture)
count = checked.lines
""",
    "CSV, csv.reader and float": """
import csv
with table.open(newline="") as file:
    rows = csv.reader(file)
    next(rows)
    for t, value, unit, overload, resolution in rows:
        count += 1
        if overload == "0":
            total += float(value)
""",
    "CSV, our plain reader": """
import threading
from captures.record.readings_file import open_readings
for reading in open_readings(table).readings(threading.Event()):
    count += 1
    if not reading.overload:
        total += reading.value
""",
    "CSV, pandas": """
import pandas
frame = pandas.read_csv(table)
count = len(frame)
total = frame["value"][frame["overload"] == 0].sum()
""",
    "CSV, DuckDB": """
import duckdb
count, total = duckdb.sql(
    f"select count(*), sum(value) filter (where overload = 0) from read_csv('{table}')"
).fetchall()[0]
""",
    "Parquet by export, pyarrow": """
import pyarrow.compute, pyarrow.parquet
columns = pyarrow.parquet.read_table(parquet)
count = len(columns)
kept = columns.filter(pyarrow.compute.invert(columns["overload"]))
total = pyarrow.compute.sum(kept["value"]).as_py()
""",
}

MEASURED = """
import json, sys, time
from pathlib import Path
from tests.benchmarks.peak import peak_mib
capture, table, parquet = map(Path, sys.argv[1:])
count, total = 0, 0.0
{imports}
start = time.perf_counter()
{work}
took = time.perf_counter() - start
peak = peak_mib()
print(json.dumps([took, peak, int(count), float(total)]))
"""


def main() -> None:
    """Make the files, run every way three times, print the best."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--readings", type=int, default=1_000_000)
    readings = arguments.parse_args().readings
    with tempfile.TemporaryDirectory() as folder:
        files = _make(Path(folder), readings)
        for file in files:
            print(f"{file.name}: {file.stat().st_size / 1e6:.1f} MB")
        first = None
        print(f"{'way':<34} {'s':>7} {'ratio':>7} {'peak MiB':>9}   sum of values")
        for name, work in WAYS.items():
            runs = [_run(work, files) for _ in range(3)]
            took, peak, _, total = min(runs)
            first = first or took
            print(f"{name:<34} {took:7.3f} {took / first:7.2f} {peak:9.0f}   {total:.6f}")


def _make(folder: Path, readings: int) -> list[Path]:
    from captures.exchange.export import ReadingRow, reading_rows, write_parquet
    from captures.record.records import PROGRAM, Header
    from captures.record.writer import RecordWriter
    from meterlink.reading import Reading

    capture, table, parquet = (folder / f"readings.{e}" for e in ("jsonl", "csv", "parquet"))
    header = Header(started="2026-11-03T09:14:00.000+01:00", program=PROGRAM)
    with RecordWriter.create(capture, header) as writer, table.open("w", newline="") as file:
        file.write("t_s,value,unit,overload,resolution\r\n")
        for n in range(readings):
            over = n % 50 == 0
            value = float("inf") if over else round(0.84 + (n % 97) * 1e-4, 4)
            writer.append(Reading(n / 1000, value, resolution=1e-4, overload=over))
            file.write(f"{n / 1000!r},{9.9e37 if over else value!r},ohm,{int(over)},0.0001\r\n")
    write_parquet(reading_rows(capture), ReadingRow, parquet)
    return [capture, table, parquet]


def _run(way: str, files: list[Path]) -> list[float]:
    lines = way.splitlines()
    imports = [line for line in lines if line.startswith(("import ", "from "))]
    work = [line for line in lines if line not in imports]
    script = MEASURED.format(imports="\n".join(imports), work="\n".join(work))
    done = subprocess.run(
        [sys.executable, "-c", script, *map(str, files)],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    return json.loads(done.stdout)


if __name__ == "__main__":
    main()
