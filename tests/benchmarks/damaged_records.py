"""What every reader of records says of damaged ones: one bit flipped, or cut at some byte.

    python tests/benchmarks/damaged_records.py [--rounds 330] [--seed 1]

For each round a job of the demo is copied, and its capture (in every fourth round its log) gets
one flipped bit, or is cut. Then each reader is asked. ``silent`` counts the answers that differ
from those on the sound job while neither exit code nor any line speaks of the record's state.
"""

import argparse
import contextlib
import io
import random
import re
import shutil
import tempfile
from collections import Counter
from pathlib import Path

from tui.cli import main

SPEAKS = re.compile(
    r"altered|\bcut\b|not closed|never closed|unsealed|cannot be read"
    r'|"record":"(?:open|cut|altered)"'
    r"|,(?:open|cut|altered)(?:,[01])?\r?$",
    re.MULTILINE,
)


def readers(job: Path, out: Path) -> dict[str, list[str]]:
    """Return the command line of every reader."""
    [capture] = (job / "captures").iterdir()
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


def measure(kind: str, rounds: int, seed: int) -> None:
    """Print a table for one kind of damage."""
    rng = random.Random(seed)
    root = Path(tempfile.mkdtemp(prefix="meterlink-damaged-"))
    with contextlib.redirect_stdout(io.StringIO()):
        main(["demo", "--plain", "--jobs", str(root / "sound")])
    [sound] = (root / "sound").glob("2*")
    out = root / "out.html"
    job = root / "damaged" / sound.name
    counts: dict[str, Counter[str]] = {}

    def renew() -> None:
        shutil.rmtree(job.parent, ignore_errors=True)
        shutil.copytree(sound, job)

    renew()
    right = {name: ask(words, out) for name, words in readers(job, out).items()}
    for number in range(rounds):
        renew()
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
    print(f"{kind}: {rounds} jobs")
    for name, count in counts.items():
        codes = ", ".join(f"{k} {v}" for k, v in sorted(count.items()) if k.startswith("exit"))
        print(
            f"  {name:<17} silent {count['silent']:4}  says so {count['says so']:4}"
            f"  in line 1 {count['says so in line 1']:4}  {codes}"
        )
    shutil.rmtree(root)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=330)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    for kind in ("flip", "cut"):
        measure(kind, given.rounds, given.seed)
