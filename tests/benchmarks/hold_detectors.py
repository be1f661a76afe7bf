"""The hold detector beside what one would write instead, over the same seeded traces.

Rates are per thousand touches (missed: of those that are due), delays from the first clean
reading to the hold, in the fewest readings that the policy allows and in seconds. The rivals are
tuned on other seeds, by the same cost that weighs a false hold above a wait. Then the trade-off
of the detector between false holds and delay, and each aim with its 95 % Clopper-Pearson limit.

Run: python tests/benchmarks/hold_detectors.py [traces] [first seed] [--alone]
Needs the river library, unless --alone. About 3 touches a trace; ``hold_verdicts.py`` counts the
verdicts.

Last printed with --alone, 4,000 traces from seed 210,000,000, which nothing was tuned or chosen on.
In 1,000 (one-sided 95 % Clopper-Pearson limit; aim):

    false holds                   1.81  (2.56; 1.0)     missed            1.10  (1.82; 2.0)
    of them with a wrong value    1.65  (2.38)          doubled           0.00  (0.24; 0.1)
    of them by more than 3 tol    1.26  (1.91; 0.2)     off by > 2 tol    0.39  (0.83; 0.5)
    worst families                false: poor contact 11.5 (20.7; 5), slow settling 8.0 (16.8; 5)

False holds miss their aim since touches that never come to rest are held: before that they were
0.2 in 1,000, and 79 in 1,000 of touches that are noisy were missed. A contact that adds half a
normal distribution for a second cannot be told from one that scatters about the value.

No family has values of a few counts: at 20 counts with noise of 0.6 and of a whole count, 12
readings at 5 a second, 5.5 and 30 in 1,000 are missed (4,000 touches each); 20 readings all hold.

Before that, the same 1,500 traces for all, 4,789 touches from seed 110,000,000, in 1,000; delays
in the fewest readings and in seconds:

                                  false  beyond 3 tol  doubled  missed   50 %  90 %   99 % in s
    N equal readings              45.5       6.9          6.3    61.9    1.00  1.67   2.34
    rolling mean, sd limit        11.1       0.0          2.5    83.7    2.67  5.25   2.80
    median and MAD, slope limit   15.9      13.8          2.7    43.0    2.67  5.05   2.92
    Kalman, innovation gate       52.8      28.8         11.7    66.1    1.67  2.00   2.92
    Page-Hinkley                  34.0      10.4         53.3    59.0    2.00  2.33   2.98
    this detector                  0.84      0.21         0.00    1.33   1.33  2.50   1.51
    oracle                         0.00      0.00         0.00    0.00   1.00  1.33   1.03
    this at a tenth of the risk    0.21      0.00         0.00    5.58   1.33  3.25   2.00
    at 0.3 times the risk          0.21      0.00         0.00    2.39   1.33  3.00   1.75
    at 3 times the risk            1.88      0.21         0.00    0.53   1.25  2.00   1.49
    at 10 times the risk           3.97      0.63         0.00    0.53   1.14  1.76   1.22
"""

import argparse
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import msgspec
import numpy as np
from scipy import stats

from meterlink.events import Held
from meterlink.hold.detector import HoldDetector
from meterlink.hold.policy import POLICY, HoldPolicy
from tests.traces.families import BEYOND
from tests.traces.generator import Trace, trace
from tests.traces.rivals import Steady, oracle, run, settings
from tests.traces.score import Score, holds_of

Holder = Callable[[Trace], Iterable[Held]]
TUNING_FROM, TUNING_TRACES = 900_000, 250
RIVAL_TRACES = 1500


def detector(policy: HoldPolicy = POLICY) -> Holder:
    """The detector under a policy."""
    return lambda t: holds_of(HoldDetector(policy).feed, t.readings)


def rival(steady: Steady) -> Holder:
    """A rival."""
    return lambda t: run(steady, t.readings)


def traces(first: int, count: int, *, beyond: bool = False) -> Iterator[tuple[int, Trace]]:
    """Seeded traces, made one at a time."""
    for seed in range(first, first + count):
        yield seed, trace(seed, tuple(BEYOND), hard=False) if beyond else trace(seed, hard=False)


def score(holder: Holder, first: int, count: int, *, beyond: bool = False) -> Score:
    """Score a detector over traces."""
    out = Score()
    for seed, t in traces(first, count, beyond=beyond):
        out.add(seed, t, holder(t))
    return out


def cost(s: Score) -> float:
    """One number to compare settings of a rival by."""
    n, due = sum(s.touches.values()), sum(s.due.values())
    if not s.units:
        return 1e9
    false = 1000 * (sum(s.false.values()) + sum(s.off.values())) / n
    return false + 0.4 * 1000 * sum(s.missed.values()) / due + 4 * float(np.quantile(s.units, 0.5))


def tuned(candidates: list[tuple[str, Steady]]) -> tuple[str, Steady]:
    """The setting that does best on the tuning seeds."""
    costs = [cost(score(rival(s), TUNING_FROM, TUNING_TRACES)) for _, s in candidates]
    return candidates[int(np.argmin(costs))]


def aims(s: Score) -> None:
    """Print each aim that is a rate, with how sure it is met."""
    n, due = sum(s.touches.values()), sum(s.due.values())
    rows = [
        ("false holds", sum(s.false.values()), n, 1.0),
        ("of them with a wrong value", sum(s.false_value.values()), n, 1.0),
        ("of them by more than 3 tol", sum(s.false_far.values()), n, 0.2),
        ("doubled", sum(s.doubled.values()), n, 0.1),
        ("off by more than 2 tol", sum(s.off.values()), n, 0.5),
        ("missed", sum(s.missed.values()), due, 2.0),
    ]
    for f in sorted(s.touches):
        if s.false[f] and f != "air":
            rows.append((f"false holds, {f}", s.false[f], s.touches[f], 5.0))
        if s.missed[f]:
            rows.append((f"missed, {f}", s.missed[f], s.due[f], 10.0))
    for name, k, of, aim in rows:
        upper = 1000 * float(stats.beta.ppf(0.95, k + 1, of - k))
        sure = float(stats.beta.cdf(aim / 1000, k + 0.5, of - k + 0.5))
        print(
            f"  {name:34s} {1000 * k / of:6.2f} in 1,000, at most {upper:6.2f} with 95 %; "
            f"aim {aim:4.1f}, met with {100 * sure:5.1f} %"
        )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("traces", type=int, nargs="?", default=14_000)
    parser.add_argument("first", type=int, nargs="?", default=0, help="first seed")
    parser.add_argument("--alone", action="store_true", help="without rivals and trade-off")
    args = parser.parse_args()
    count, first = args.traces, args.first
    if not args.alone:
        beside(first)
    whole = score(detector(), first, count)
    print(f"This detector over {count} traces:\n  {whole.line()}")
    print(whole.table())
    aims(whole)
    strange = score(detector(), first, max(count // 10, 200), beyond=True)
    print(f"Families that it was not made for:\n  {strange.line()}")
    print(strange.table())


def beside(first: int) -> None:
    """Print the rivals, the oracles and the trade-off over the same traces."""
    print(f"Same {RIVAL_TRACES} traces for all:")
    for name, candidates in settings().items():
        setting, steady = tuned(candidates)
        line = score(rival(steady), first, RIVAL_TRACES).line()
        print(f"  {name:28s} {line}   ({setting})", flush=True)
    print(f"  {'this detector':28s} {score(detector(), first, RIVAL_TRACES).line()}")
    for name, floor in (("oracle, policy floor", True), ("oracle, Wald's bound", False)):
        held = score(lambda t, floor=floor: oracle(t, floor), first, RIVAL_TRACES)
        print(f"  {name:28s} {held.line()}", flush=True)
    print("Trade-off of this detector, by the risk that a hold may take:")
    for times in (0.1, 0.3, 1.0, 3.0, 10.0):
        policy = msgspec.structs.replace(
            POLICY,
            risk=POLICY.risk * times,
            late_risk=POLICY.late_risk * times,
            second_risk=POLICY.second_risk * times,
        )
        line = score(detector(policy), first, RIVAL_TRACES).line()
        print(f"  risk x {times:4.1f} {line}", flush=True)


if __name__ == "__main__":
    main()
