"""Least squares of a stretch of points on a constant and one exponential, point by point.

For each time constant of a bank the sums of the exponential, of its square and of its product
with the values are kept, so that one more point costs the same however many there are.
"""

from math import exp, log
from operator import mul

Fit = tuple[float, float, float, float, float, float]
"""Size at the first reading, sum of squares of the centred exponential, its mean, its last value,
prior plus residual sum of squares, logarithm of the time constant."""

Pair = tuple[float, float, float, float, float, float]
"""Size of the slower one, sum of squares of what the faster one leaves of it, its last value, what
is left of both together, variance of that over that of a point, prior plus residual sum of squares.
"""

Row = tuple[float, float, float, float, float]
"""One over a time constant, sums of the exponential, of its square and of its product with the
values, its last value."""

_STEPS = (1.35, 1.16, 1.08)
"""Ratios by which the faster of two time constants is sought, one after the other."""
_FEW = 10
"""Up to this many points they are added one by one; more of them are quicker by whole lists."""


class Sums:
    """The sums of one stretch."""

    __slots__ = ("_bank", "_base", "_d", "_square", "_start", "_total", "_ts", "mean", "n", "syy")

    def __init__(self, ts: list[float], ys: list[float], taus: tuple[float, ...]) -> None:
        """Take a stretch: times in seconds, increasing, and values."""
        self._ts: list[float] = []
        self._d: list[float] = []
        self._start, self._base = ts[0], ys[0]
        self._total = self._square = 0.0
        self.n = 0
        """Points."""
        self.mean = 0.0
        """Of the values."""
        self.syy = 0.0
        """Sum of squares of the values about their mean."""
        self._bank = [[1.0 / tau, log(tau), 0.0, 0.0, 0.0, 0.0] for tau in taus]
        self._add(ts, ys)

    def go_on(self, ts: list[float], ys: list[float]) -> bool:
        """Add the points of a longer stretch; False where it does not begin as this one does."""
        n = self.n
        if len(ts) < n or ts[0] != self._start or ts[n - 1] != self._ts[-1] or ts[:n] != self._ts:
            return False
        self._add(ts[n:], ys[n:])
        return True

    def _add(self, ts: list[float], ys: list[float]) -> None:
        start, base = self._start, self._base
        rel, d = [start - t for t in ts], [y - base for y in ys]
        self._ts += ts
        self._d += d
        self.n = n = len(self._ts)
        self._total += sum(d)
        self._square += sum(map(mul, d, d))
        mean = self._total / n
        self.mean = base + mean
        syy = self._square - self._total * mean
        self.syy = max(0.0, syy)
        if len(d) > _FEW:
            for row in self._bank:
                pace = row[0]
                h = [exp(r * pace) for r in rel]
                row[2] += sum(h)
                row[3] += sum(map(mul, h, h))
                row[4] += sum(map(mul, h, d))
                row[5] = h[-1]
            return
        for row in self._bank:
            pace, _, hs, hh, hy, now = row
            for r, y in zip(rel, d, strict=True):
                now = exp(r * pace)
                hs += now
                hh += now * now
                hy += now * y
            row[2], row[3], row[4], row[5] = hs, hh, hy, now

    def fits(self, prior_ss: float) -> list[Fit]:
        """Fit each time constant of the bank; ``prior_ss`` is added to each sum of squares."""
        n, total, syy = self.n, self._total, self.syy
        found: list[Fit] = []
        for _, log_tau, hs, hh, hy, now in self._bank:
            hm = hs / n
            shh = hh - hs * hm
            if shh > 1e-12:
                b = (hy - hm * total) / shh
                rest = syy - b * b * shh
                found.append(
                    (b, shh, hm, now, prior_ss + rest if rest > 0.0 else prior_ss, log_tau)
                )
        return found

    def fit(self, tau: float, prior_ss: float) -> Fit | None:
        """Fit one more time constant; None where it cannot be told from a constant."""
        start, pace, n, d = self._start, 1.0 / tau, self.n, self._d
        h = [exp((start - t) * pace) for t in self._ts]
        hs = sum(h)
        hm = hs / n
        shh = sum(map(mul, h, h)) - hs * hm
        if shh <= 1e-12:
            return None
        b = (sum(map(mul, h, d)) - hm * self._total) / shh
        rest = self.syy - b * b * shh
        return b, shh, hm, h[-1], prior_ss + rest if rest > 0.0 else prior_ss, log(tau)

    def best_pairs(
        self, fits: list[Fit], slow_taus: tuple[float, ...], apart: float, prior_ss: float
    ) -> list[Pair]:
        """For each slow time constant, longest first, the best fit together with a faster one.

        The faster is at most ``apart`` times the slower. It is sought among ``fits``, then in
        ever smaller steps; for the next slow one it is sought from there.
        """
        found: list[Pair] = []
        paces = [exp(-fit[5]) for fit in fits]
        for tau in slow_taus:
            slow, least = self._row(1.0 / tau), 1.0 / tau / apart
            best: Pair | None = None
            at = least
            for pace in paces:
                if pace > least:
                    best, at = self._better(pace, slow, prior_ss, best, at)
            for step in _STEPS[len(found) > 0 :]:
                for pace in (at * step, at / step):
                    if pace > least:
                        best, at = self._better(pace, slow, prior_ss, best, at)
            if best is not None:
                found.append(best)
                paces = [at]
        return found

    def _better(
        self, pace: float, slow: Row, prior_ss: float, best: Pair | None, at: float
    ) -> tuple[Pair | None, float]:
        """The better of the best pair so far and the one with a fast part of this pace."""
        pair = self._pair(self._row(pace), slow, prior_ss)
        if pair is not None and (best is None or pair[5] < best[5]):
            return pair, pace
        return best, at

    def _row(self, pace: float) -> Row:
        """The sums of one more exponential."""
        start, d = self._start, self._d
        h = [exp((start - t) * pace) for t in self._ts]
        return pace, sum(h), sum(map(mul, h, h)), sum(map(mul, h, d)), h[-1]

    def _pair(self, fast: Row, slow: Row, prior_ss: float) -> Pair | None:
        """Fit two time constants at once; None where they cannot be told apart."""
        start, n, total = self._start, self.n, self._total
        pace1, hs1, hh1, hy1, now1 = fast
        pace2, hs2, hh2, hy2, now2 = slow
        pace = pace1 + pace2
        s11, s22 = hh1 - hs1 * hs1 / n, hh2 - hs2 * hs2 / n
        s12 = sum([exp((start - t) * pace) for t in self._ts]) - hs1 * hs2 / n
        det = s11 * s22 - s12 * s12
        if det <= 1e-9 * s11 * s22 or s11 <= 1e-12:
            return None
        y1, y2 = hy1 - hs1 * total / n, hy2 - hs2 * total / n
        b1, b2 = (s22 * y1 - s12 * y2) / det, (s11 * y2 - s12 * y1) / det
        rest = self.syy - b1 * y1 - b2 * y2
        spread = (s22 * now1 * now1 - 2 * s12 * now1 * now2 + s11 * now2 * now2) / det
        ss = prior_ss + rest if rest > 0.0 else prior_ss
        return b2, det / s11, now2, b1 * now1 + b2 * now2, spread, ss


def _log_tau(fit: Fit) -> float:
    return fit[5]


def between(fits: list[Fit]) -> float:
    """Time constant at the bottom of a parabola through the best fit and its two neighbours.

    Half way to its one neighbour where the best is at either end; 0 where the next is near.
    """
    fits.sort(key=_log_tau)
    ss = [f[4] for f in fits]
    k = ss.index(min(ss))
    if k in (0, len(fits) - 1):
        beside = fits[1 if k == 0 else k - 1][5]
        return exp((fits[k][5] + beside) / 2) if abs(fits[k][5] - beside) > 0.2 else 0.0
    x0, x1, x2 = fits[k - 1][5], fits[k][5], fits[k + 1][5]
    y0, y1, y2 = log(ss[k - 1]), log(ss[k]), log(ss[k + 1])
    left, right = (x1 - x0) * (y1 - y2), (x1 - x2) * (y1 - y0)
    if left == right or x2 - x0 < 0.05:
        return 0.0
    x = x1 - 0.5 * ((x1 - x0) * left - (x1 - x2) * right) / (left - right)
    if abs(x - x1) < 0.02:
        # At the best one already: look into the wider gap beside it.
        x = x1 + 0.25 * (x2 - x1 if x2 - x1 > x1 - x0 else x0 - x1)
    return exp(x)
