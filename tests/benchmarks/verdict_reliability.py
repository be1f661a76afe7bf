"""Reliability of stated probabilities: of verdicts stated with 80 %, are 80 % right?

Verdicts on simulated primaries, read by meters of four qualities, with the facts declared, with
the accuracy alone undeclared (ordinary careful work), with nothing declared, and declared wrongly:
a meter three times as far off as it says, a room 5 K from what was typed. The meter's gain and
offset, leads, contacts, thermal voltages, drift, temperature and noise are drawn afresh each time
(JCGM 101); true values lie evenly from 0.5 to 1.25 ohm about a window of 0.7 to 1.0 ohm.

Printed for today's rules and for those that took what nobody declared for zero: by stated
probability how many verdicts were right; how many good coils came out clear, and were clearly
called bad; how many bad ones were clearly called good.

Run: python tests/benchmarks/verdict_reliability.py [verdicts a situation, default 10000]

Last printed with 10,000 verdicts a situation, stated/right by stated probability:

    declared             0.61/0.59  0.75/0.73  0.85/0.87  0.93/0.94  0.97/0.97  1.000/0.999
      before             0.60/0.55  0.75/0.61  0.85/0.73  0.93/0.79  0.97/0.88  1.000/0.994
    accuracy undeclared  0.61/0.60  0.75/0.73  0.86/0.88  0.93/0.95  0.97/0.98  1.000/1.000
      before             0.60/0.54  0.75/0.62  0.85/0.70  0.93/0.78  0.97/0.85  1.000/0.993
    nothing declared     0.58/0.75  0.74/0.93  0.85/0.97  0.92/1.00  0.97/1.00  0.997/1.000
      before             0.61/0.39  0.75/0.37  0.85/0.32  0.92/0.34  0.97/0.33  1.000/0.558

Good coils clearly called bad and bad ones clearly called good, of 4,032 and 5,968: declared 8 and
7 (before 48 and 54), accuracy undeclared 8 and 4 (57 and 65), lead zero skipped 0 and 0 (2,126 and
1,590), nothing declared 0 and 0 (1,928 and 1,442). Good coils in mid-window that come out clear,
with lead zero and temperature: all of them on the first three meters, 2 % on the coarse one, whose
last digit is a third of the window.
"""

import sys
from dataclasses import dataclass
from math import sqrt
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import itertools

import numpy as np

from meterlink.events import Held, Verdict
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.assess import Assessor
from meterlink.judging.assumed import NOTHING_ASSUMED, NOTHING_SAID, Assumed
from meterlink.judging.correction import LeadZero, Temperature
from meterlink.judging.criterion import Criterion
from meterlink.quantities.window import Window

CRITERION = Criterion.winding(Window(0.7, 1.0), reference=20.0)
BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0 + 1e-9)


@dataclass(frozen=True)
class Meter:
    """How far off a meter may be, and its last digit."""

    name: str
    percent: float
    counts: float
    step: float


METERS = (
    Meter("bench", 0.05, 5, 1e-4),
    Meter("good handheld", 0.5, 3, 1e-3),
    Meter("handheld", 1.0, 3, 1e-2),
    Meter("coarse", 1.0, 3, 0.1),
)
FACTS = (
    "declared",
    "accuracy undeclared",
    "lead zero skipped",
    "nothing declared",
    "declared wrongly",
)


@dataclass(frozen=True)
class Taken:
    """One value, as it was taken, with the truth behind it."""

    truth: float
    held: Held
    zero: LeadZero | None
    spec: tuple[Accuracy, ...]
    temperature: Temperature | None


def take(rng: np.random.Generator, meter: Meter, facts: str) -> Taken:
    """Draw a winding, a meter and a bench, and read it."""
    off = 3.0 if facts == "declared wrongly" else 1.0
    truth = float(rng.uniform(0.5, 1.25))
    typed = float(rng.uniform(5, 35))
    celsius = typed + float(rng.uniform(-2, 2)) + (5.0 if off > 1 else 0.0)
    leads = float(rng.uniform(0.08, 0.35))
    gain = 1 + off * float(rng.uniform(-1, 1)) * meter.percent / 100
    counts = off * meter.counts * meter.step
    offset = float(rng.uniform(-1, 1)) * counts * 2 / 3
    found = truth * (235 + celsius) / 255

    def read(ohms: float) -> tuple[float, float, int]:
        bent = offset + float(rng.uniform(-1, 1)) * counts / 3
        shown = gain * ohms + bent + rng.normal(0, max(0.001, meter.step / 4), 6)
        shown = np.round(shown / meter.step) * meter.step
        return float(shown.mean()), float(shown.std(ddof=1)), len(shown)

    extra = float(rng.uniform(0, 0.008)) + float(rng.uniform(-0.004, 0.004))
    value, sd, n = read(found + leads + extra)
    zero, zero_sd, _ = read(leads)
    held = Held(
        t=1.0,
        contact_t=0.0,
        value=value,
        readings=n,
        noise=sd,
        resolution=meter.step,
        u=sd / sqrt(n),
        dof=n - 1.0,
    )
    if facts == "nothing declared":
        return Taken(truth, held, None, (), None)
    taken = LeadZero(value=zero, u=zero_sd / sqrt(n), dof=n - 1.0, resolution=meter.step)
    spec = (Accuracy(percent=meter.percent, counts=meter.counts),)
    told = () if facts == "accuracy undeclared" else spec
    skipped = facts == "lead zero skipped"
    return Taken(truth, held, None if skipped else taken, told, Temperature(celsius=typed))


def verdict_on(taken: Taken, assumed: Assumed) -> tuple[float, bool, bool, Verdict]:
    """Return: stated probability, clear, right, the verdict."""
    assessor = Assessor(CRITERION, taken.spec, taken.zero, taken.temperature, assumed=assumed)
    judged = assessor.assess(taken.held).judgement
    right = judged.verdict is CRITERION.verdict(taken.truth)
    return judged.probability, judged.clear, right, judged.verdict


def main() -> None:
    """Print the tables."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    rules = (("today", NOTHING_SAID), ("undeclared is zero", NOTHING_ASSUMED))
    for facts in FACTS:
        rng = np.random.default_rng(11)
        drawn = [take(rng, METERS[i % len(METERS)], facts) for i in range(count)]
        print(f"\n{facts}: {count} verdicts")
        for name, assumed in rules:
            seen = [verdict_on(taken, assumed) for taken in drawn]
            stated = np.array([p for p, *_ in seen])
            right = np.array([r for _, _, r, _ in seen])
            cells = []
            for low, high in itertools.pairwise(BINS):
                inside = (stated >= low) & (stated < high)
                if inside.any():
                    mean, share = stated[inside].mean(), right[inside].mean()
                    cells.append(f"{mean:.3f}/{share:.3f} ({inside.sum()})")
            print(f"  {name}: stated/right (number)  {'  '.join(cells)}")
            print(f"    Brier score {np.mean((stated - right) ** 2):.4f}")
            print(f"    {coils(drawn, seen)}")
            for meter in range(len(METERS)):
                some = slice(meter, None, len(METERS))
                print(f"      {METERS[meter].name:<14} {coils(drawn[some], seen[some])}")


def coils(drawn: list[Taken], seen: list[tuple[float, bool, bool, Verdict]]) -> str:
    """Return what became of the good coils and of the bad ones."""
    good = [s for t, s in zip(drawn, seen, strict=True) if 0.7 <= t.truth <= 1.0]
    middle = [s for t, s in zip(drawn, seen, strict=True) if 0.775 <= t.truth <= 0.925]
    bad = [s for t, s in zip(drawn, seen, strict=True) if not 0.7 <= t.truth <= 1.0]
    passing = Verdict.IN_WINDOW
    clear = sum(c for _, c, _, v in good if v is passing)
    mid = sum(c for _, c, _, v in middle if v is passing)
    scrapped = sum(c for _, c, _, v in good if v is not passing)
    passed = sum(c for _, c, _, v in bad if v is passing)
    return (
        f"good {len(good)}: clear {clear / len(good):.1%}, mid-window clear "
        f"{mid / len(middle):.1%}, clearly called bad {scrapped}; bad {len(bad)}: clearly called "
        f"good {passed}"
    )


if __name__ == "__main__":
    main()
