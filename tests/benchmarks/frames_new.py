"""What ``frames new`` makes of formats: those that ship, and made ones that nobody has seen.

Six displays each; then other values on all ranges are sent, and counted: read right, refused, read
wrong. Bytes come with the pauses between frames, or in one piece that begins anywhere.
Run ``python tests/benchmarks/frames_new.py [FORMATS]``, default 200 of each made kind.
"""

import random
import sys
import time
from collections import Counter
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from drivers.frames.learning import learn
from drivers.frames.store import load, names
from meterlink.errors import FaultFoundError
from tests.drivers.made_formats import made_format, sent
from tests.drivers.recorded import session
from tests.drivers.test_frames_learning import outcome

HEAD = (
    f"{'formats':<28}{'bytes':<12}{'worked out':>12}{'right':>8}{'refused':>9}{'wrong':>7}{'s':>8}"
)


def row(what, wires, *, cut, varies=False):
    """Print how it goes with ``wires``, pairs of a seed and a format."""
    counts: Counter = Counter()
    began = time.process_time()
    for seed, wire in wires:
        rng = random.Random(seed)
        shape = partial(sent, wire, rng=rng) if varies else None
        counts["all"] += 1
        try:
            learnt = learn(session(wire, seed, cut=cut, sent=shape), name="learnt")
        except FaultFoundError:
            continue
        counts["solved"] += 1
        for name, n in zip(("right", "refused", "wrong"), outcome(wire, learnt, seed), strict=True):
            counts[name] += n
    solved, pieces = f"{counts['solved']} of {counts['all']}", "one piece" if cut else "pauses"
    print(
        f"{what:<28}{pieces:<12}{solved:>12}{counts['right']:>8}{counts['refused']:>9}"
        f"{counts['wrong']:>7}{time.process_time() - began:>8.2f}",
        flush=True,
    )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(HEAD)
    for cut in (False, True):
        for name in sorted(names()):
            row(name, [(1, load(name))], cut=cut)
        row("made, of one length", ((n, made_format(n)) for n in range(count)), cut=cut)
        for varies, told in (("byte", "a length byte"), ("end", "an end mark")):
            made = ((n, made_format(n, varies)) for n in range(count))
            row(f"made, {told}", made, cut=cut, varies=True)


if __name__ == "__main__":
    main()
