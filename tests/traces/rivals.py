"""What one would write instead of the hold detector, each with a number or two to tune.

All of them take the touch as begun at the first finite reading, hold once a touch, and are armed
again by three readings in a row that are overloads or far from the held value, so that only their
ideas of steady are compared. Each knows the resolution that the reading tells.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from math import inf, isfinite, sqrt
from statistics import mean, median, stdev

from meterlink.events import Held
from meterlink.reading import Reading
from tests.traces.generator import Goal, Trace
from tests.traces.wald import Plan

Steady = Callable[[list[Reading]], float | None]
"""The readings of a touch so far to the value that stands, or None."""
LEAST_TIME = 0.2


def tolerance(readings: list[Reading]) -> float:
    """The tolerance as far as it is known without the noise."""
    newest = readings[-1]
    return max(0.002 * abs(newest.value), newest.resolution or 0.0, 1e-3)


def long_enough(window: list[Reading], n: int) -> bool:
    """Whether the window is at least ``n`` readings and over the least time."""
    return len(window) >= n and window[-1].t - window[0].t > LEAST_TIME


def newest(readings: list[Reading], n: int, seconds: float) -> list[Reading]:
    """The newest ``n`` readings, or as many more as ``seconds`` hold."""
    start = len(readings) - 1
    last = readings[-1].t
    while start > 0 and (len(readings) - start < n or last - readings[start].t <= seconds):
        start -= 1
    return readings[start:]


def equal_readings(n: int, tols: float) -> Steady:
    """``n`` readings in a row within ``tols`` tolerances of one another."""

    def steady(readings: list[Reading]) -> float | None:
        window = newest(readings, n, LEAST_TIME)
        values = [r.value for r in window]
        if not long_enough(window, n) or max(values) - min(values) > tols * tolerance(readings):
            return None
        return values[-1]

    return steady


def rolling_mean(n: int, seconds: float, sds: float) -> Steady:
    """A window whose standard deviation is below ``sds`` tolerances."""

    def steady(readings: list[Reading]) -> float | None:
        window = newest(readings, n, seconds)
        values = [r.value for r in window]
        if not long_enough(window, n) or window[-1].t - window[0].t < seconds:
            return None
        return mean(values) if stdev(values) < sds * tolerance(readings) else None

    return steady


def median_slope(n: int, seconds: float, mads: float, slope: float) -> Steady:
    """A window whose MAD is small and whose halves have medians close to each other."""

    def steady(readings: list[Reading]) -> float | None:
        window = newest(readings, n, seconds)
        if not long_enough(window, n) or window[-1].t - window[0].t < seconds:
            return None
        values = [r.value for r in window]
        centre, half = median(values), len(values) // 2
        spread = median([abs(v - centre) for v in values])
        moved = abs(median(values[-half:]) - median(values[:half]))
        tol = tolerance(readings)
        return centre if spread < mads * tol and moved < slope * tol else None

    return steady


def kalman(n: int, drift: float, gate: float) -> Steady:
    """A scalar Kalman filter (random walk); ``n`` innovations in a row below ``gate``."""

    def steady(readings: list[Reading]) -> float | None:
        window = newest(readings, 4 * n, 1.5)
        x, p, quiet, since = window[0].value, inf, 0, 0
        tol = tolerance(readings)
        noise, walk = (0.3 * tol) ** 2, (drift * tol) ** 2
        for i, r in enumerate(window[1:], 1):
            p = noise if p == inf else p + walk
            innovation, s = r.value - x, p + noise
            if abs(innovation) > gate * sqrt(s):
                x, p, quiet, since = r.value, noise, 0, i
                continue
            gain = p / s
            x, p, quiet = x + gain * innovation, (1 - gain) * p, quiet + 1
        if quiet < n or not long_enough(window[since:], n):
            return None
        return x

    return steady


def page_hinkley(n: int, threshold: float, delta: float) -> Steady:
    """The Page-Hinkley test of the river library; no change for ``n`` readings and the time."""
    # Only the benchmark needs the library.
    from river.drift import PageHinkley

    def steady(readings: list[Reading]) -> float | None:
        window = newest(readings, 4 * n, 1.5)
        tol = tolerance(readings)
        test = PageHinkley(min_instances=2, delta=delta, threshold=threshold, alpha=1.0)
        since = 0
        for i, r in enumerate(window):
            test.update((r.value - window[-1].value) / tol)
            if test.drift_detected:
                since = i
        quiet = window[since:]
        return mean(r.value for r in quiet) if long_enough(quiet, n) else None

    return steady


def run(steady: Steady, readings: Iterable[Reading]) -> Iterator[Held]:
    """Hold each touch of a stream once, by ``steady``."""
    touch: deque[Reading] = deque(maxlen=400)
    away, held, band = 0, inf, 0.0
    for r in readings:
        off = r.overload or not isfinite(r.value) or (held < inf and abs(r.value - held) > band)
        away = away + 1 if off else 0
        if away >= 3:
            touch.clear()
            held = inf
        if r.overload or not isfinite(r.value) or held < inf:
            continue
        touch.append(r)
        value = steady(list(touch))
        if value is None:
            continue
        held, band = value, 5 * tolerance([r])
        yield Held(
            t=r.t,
            contact_t=touch[0].t,
            value=value,
            readings=len(touch),
            noise=0.0,
            resolution=r.resolution or 0.0,
            u=0.0,
            dof=1.0,
        )


def oracle(trace: Trace, policy_only: bool) -> Iterator[Held]:
    """Hold each goal as early as may be, knowing noise, goal and the moment settling ends.

    ``policy_only`` takes the fewest readings that the policy allows; otherwise as many more as
    Wald's test expects to need to tell the goal from a value two tolerances away, both risks one
    in a thousand.
    """
    for span in trace.spans:
        for goal in span.goals:
            if goal.barred:
                continue
            n = _oracle_number(goal, policy_only)
            for i, t in enumerate(goal.clean):
                if i + 1 >= n and t - goal.clean[0] > LEAST_TIME:
                    yield Held(
                        t=t,
                        contact_t=span.start,
                        value=goal.at(t),
                        readings=i + 1,
                        noise=goal.sd,
                        resolution=goal.resolution,
                        u=0.0,
                        dof=1.0,
                    )
                    break


def _oracle_number(goal: Goal, policy_only: bool) -> int:
    if policy_only or not goal.sd:
        return 3
    plan = Plan(goal.value, goal.value + 2 * goal.tol, goal.sd, 1e-3, 1e-3)
    return max(3, round(plan.expected()[0]))


def settings() -> dict[str, list[tuple[str, Steady]]]:
    """Each rival with the settings that are tried for it, named."""
    return {
        "N equal readings": [
            (f"n={n} tols={k}", equal_readings(n, k)) for n in (3, 4, 6) for k in (0.5, 1, 2)
        ],
        "rolling mean, sd limit": [
            (f"n={n} s={s} sds={k}", rolling_mean(n, s, k))
            for n, s in ((4, 0.4), (5, 0.6), (6, 1.0))
            for k in (0.25, 0.5, 1.0)
        ],
        "median and MAD, slope limit": [
            (f"n={n} s={s} mads={m} slope={k}", median_slope(n, s, m, k))
            for n, s in ((4, 0.4), (5, 0.6), (6, 1.0))
            for m, k in ((0.3, 0.3), (0.6, 0.5), (1.0, 1.0))
        ],
        "Kalman, innovation gate": [
            (f"n={n} drift={d} gate={g}", kalman(n, d, g))
            for n in (4, 6)
            for d in (0.05, 0.2)
            for g in (2.0, 3.0)
        ],
        "Page-Hinkley (river)": [
            (f"n={n} threshold={h} delta={d}", page_hinkley(n, h, d))
            for n in (4, 6)
            for h in (1.0, 3.0)
            for d in (0.05, 0.3)
        ],
    }
