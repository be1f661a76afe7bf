"""The level, slope and noise of a touch whose noise may wander, drift or jump.

The values are weighed under several models at once, each with the chance that it had from the
first and the chance that it gives to what was seen (Bayesian model averaging; A. Gelman et al.,
*Bayesian Data Analysis*, 3rd ed., chapters 7 and 14). The level is constant, a line or a parabola
in time; its noise is of first order, with one of several memories (generalised least squares); or
the contact jumps between two levels. What comes out is the level at the newest value, with an
interval in which memory, slope and the doubt between the models are contained. A probability of
that kind may be looked at as often as one likes (see ``settling``).
"""

from functools import lru_cache
from math import erf, exp, expm1, fsum, inf, lgamma, log, pi, sqrt
from operator import mul
from typing import Final

import msgspec
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SURE: Final = 0.95
"""What the interval of a level is to contain."""
_Z: Final = 1.959963984540054
_MEMORIES: Final = np.array([0.0, 0.35, 0.6, 0.78, 0.9, 0.96])
"""Correlations of neighbours that are thought of."""
_WHITE_ODDS: Final = 0.55
"""Chance beforehand that noise has no memory; else its memory is ..."""
_MEMORY: Final = 0.7
"""... about so many seconds long ..."""
_MEMORY_RANGE: Final = 1.2
"""... with this standard deviation of its logarithm: contacts wander so."""
_DEGREE_ODDS: Final = (0.8, 0.15, 0.05)
"""Chance beforehand that the level is a constant, a line, a parabola."""
_JUMP_ODDS: Final = 0.1
"""Chance beforehand that there are two levels."""
_SIZE_RANGE: Final = 8.0
"""Logarithm of the range of sizes that a movement or a jump may have, all equally likely."""
_FEW: Final = 2
"""A level is seen in no fewer values."""
_HARDLY: Final = 1e-3
"""A model with less than this chance makes no interval wider."""
FEWEST: Final = 4
"""Values without which nothing is weighed."""


class Found(msgspec.Struct, frozen=True, gc=False):
    """What a run of values says."""

    value: float
    """The level at the newest of them."""
    half: float
    """Half of the 95 % interval."""
    dof: float
    """Degrees of freedom to say it with."""
    scatter: float
    """Standard deviation of one value about the level, if it had all the time in the world ..."""
    spread: float
    """... and what it was in the time that there was."""
    slope: float
    """Of the level at the newest value, per place."""
    slope_u: float
    p_moves: float
    """Probability that the level moves."""
    p_bends: float
    """Probability that no line describes it."""
    p_wanders: float
    """Probability that the noise has a memory."""
    p_jumps: float
    """Probability that there are two levels ..."""
    low: float
    """... which would be this one ..."""
    high: float
    """... and this one ..."""
    within: float
    """... with this scatter about each ..."""
    newest: float
    """... this between the lowest and the highest since the last change of level ..."""
    since: int
    """... which was so many values ago."""
    p_floor: float
    """Probability that the values lie above a floor, as they do where a contact adds to them ..."""
    floor: float
    """... which would be here, less a part of the scatter."""
    n: int


def factor(dof: float) -> float:
    """Student's factor for 95 %, by D. L. Wallace's approximation; within 5 % from two dof on."""
    z = _Z * (8 * dof + 3) / (8 * dof + 1)
    return sqrt(dof * expm1(min(z * z / dof, 50.0)))


class _Design(msgspec.Struct, frozen=True):
    """What of the fits depends on the number of values alone; by memory, then by degree."""

    weights: Floats
    """Turn values into coefficients of orthonormal polynomials, memories times degrees in a row."""
    top: Floats
    """Of each polynomial: its leading coefficient for time running from -1 to 1."""
    level: Floats
    """Its value at the newest place, and the running sum of the squares of that ..."""
    level_var: Floats
    slope: Floats
    """... and the same of its slope there, per place."""
    slope_var: Floats
    logs: Floats
    """Logarithms of what does not depend on the values."""


@lru_cache(maxsize=128)
def _design(n: int) -> _Design:
    x = np.linspace(-1.0, 1.0, n)
    step = 2.0 / (n - 1)
    k = _MEMORIES.size
    basis = np.vander(x, 3, increasing=True)
    weights, top = np.zeros((k, 3, n)), np.zeros((k, 3))
    level, slope, logs = np.zeros((k, 3)), np.zeros((k, 3)), np.zeros((k, 3))
    for i, r in enumerate(_MEMORIES):
        whiten = np.eye(n) * (1 + r * r) - r * (np.eye(n, k=1) + np.eye(n, k=-1))
        whiten[0, 0] = whiten[-1, -1] = 1.0
        whiten /= 1 - r * r
        inner = basis.T @ whiten @ basis
        done: list[Floats] = []
        for d in range(3):
            coef = np.eye(3)[d]
            for other in done:
                coef = coef - (other @ inner @ coef) * other
            coef = coef / sqrt(float(coef @ inner @ coef))
            done.append(coef)
            weights[i, d] = whiten @ basis @ coef
            top[i, d] = coef[d]
            level[i, d] = coef.sum()
            slope[i, d] = step * (coef[1] + 2 * coef[2])
            log_det = sum(log(abs(c[j])) for j, c in enumerate(done))
            gammas = 0.5 * d * log(pi) + lgamma((n - d) / 2)
            logs[i, d] = log_det - 0.5 * (n - 1) * log(1 - r * r) + gammas
            logs[i, d] += log(_DEGREE_ODDS[d])
    return _Design(
        weights.reshape(3 * k, n),
        top,
        level,
        (level**2).cumsum(1),
        slope,
        (slope**2).cumsum(1),
        logs,
    )


@lru_cache(maxsize=64)
def _memory_odds(every: float) -> Floats:
    """Logarithms of the chance of each memory where values come ``every`` seconds."""
    tau = -every / np.log(_MEMORIES[1:])
    odds = np.exp(-0.5 * (np.log(tau / _MEMORY) / _MEMORY_RANGE) ** 2) + 1e-3
    both = np.concatenate([[_WHITE_ODDS], (1 - _WHITE_ODDS) * odds / odds.sum()])
    return np.asarray(np.log(both))[:, None]


def weigh(values: list[float], every: float, least: float, floor: float) -> Found:
    """Weigh a run of at least four values, evenly spaced.

    Args:
        values: oldest first.
        every: seconds between them.
        least: the smallest movement that is thought of.
        floor: variance of a value that is there whatever is seen, as by rounding.
    """
    y = np.asarray(values, float)
    n = y.size
    base = float(y.mean())
    y = y - base
    made = _design(n)
    c = (made.weights @ y).reshape(-1, 3)
    r = _MEMORIES
    squares, lagged, ends = float(y @ y), float(y[1:] @ y[:-1]), float(y[0] ** 2 + y[-1] ** 2)
    whole = ((1 + r * r) * squares - 2 * r * lagged - r * r * ends) / (1 - r * r)
    rest = np.maximum(whole[:, None] - (c * c).cumsum(1), 0.0) + floor
    dof = n - np.arange(3.0)
    var = rest / dof
    top = c * made.top
    logs = made.logs + _memory_odds(float(f"{every:.2g}")) - 0.5 * dof * np.log(rest)
    sizes = np.log(2 * _SIZE_RANGE * np.maximum(np.abs(top), 0.5 * least))
    logs[:, 1] -= sizes[:, 1]
    logs[:, 2] -= sizes[:, 1] + sizes[:, 2]
    most = float(logs.max())
    w = np.exp(logs - most)
    total = float(w.sum())
    w /= total
    levels, slopes = (c * made.level).cumsum(1), (c * made.slope).cumsum(1)
    value, slope = float((w * levels).sum()), float((w * slopes).sum())
    slope_var = float((w * (made.slope_var * var + (slopes - slope) ** 2)).sum())
    mean_dof = float((w * (dof - 1)).sum()) + 1.0
    half = _half_width(w, levels - value, np.sqrt(made.level_var * var), n)
    jump, low, high, within, newest, since = _two_levels(y, least, floor)
    against = log(total) + most
    return Found(
        value=base + value,
        half=half,
        dof=mean_dof,
        scatter=sqrt(float((w * var).sum())),
        spread=sqrt(squares / (n - 1)),
        slope=slope,
        slope_u=sqrt(slope_var),
        p_moves=float(w[:, 1:].sum()),
        p_bends=float(w[:, 2].sum()),
        p_wanders=float(w[1:].sum()),
        p_jumps=1 / (1 + exp(min(against - jump, 300.0))),
        low=base + low,
        high=base + high,
        within=within,
        newest=newest,
        since=since,
        p_floor=_floor_odds(y, float((w.sum(1) * r).sum())),
        floor=base + float(y.min()),
        n=n,
    )


def memory_likelihood(values: list[float]) -> float:
    """Largest log likelihood of a constant level whose noise has a memory."""
    n = len(values)
    mean = fsum(values) / n
    y = [v - mean for v in values]
    squares, lagged = sum(map(mul, y, y)), sum(map(mul, y, y[1:]))
    ends = y[0] * y[0] + y[-1] * y[-1]
    most = -inf
    for r in _MEMORIES[1:].tolist():
        rest = ((1 + r * r) * squares - 2 * r * lagged - r * r * ends) / (1 - r * r)
        # The level lies where its generalised mean is, not at the plain one; y sums to zero.
        rest -= (r * (y[0] + y[-1])) ** 2 / ((1 + r) * (n - (n - 2) * r))
        most = max(most, -0.5 * n * log(max(rest, 1e-300) / n) - 0.5 * (n - 1) * log(1 - r * r))
    return most


def _floor_odds(y: Floats, r: float) -> float:
    """Probability that values lie above a floor, half a normal distribution high.

    Against a whole one, by their likelihoods at the best of each and the room that its place has;
    ``r``: correlation of neighbours, by which there are fewer independent values.
    """
    square = float(y @ y) / y.size
    n = max(y.size * (1 - r) / (1 + r), 1.0)
    if not square:
        return 0.0
    gain = n * (log(2) - 0.5 * log(1 + float(y.min()) ** 2 / square)) - log(2.5 * sqrt(n))
    return 1 / (1 + exp(min(-gain, 300.0)))


def _half_width(w: Floats, away: Floats, sd: Floats, n: int) -> float:
    """Half width, about the mean, of what contains 95 % of a mixture, within a hundredth."""
    parts: list[tuple[float, float, float]] = []
    for k, (p, a, s) in enumerate(zip(*map(_listed, (w, away, sd)), strict=True)):
        if p > _HARDLY:
            wide = s * factor(max(n - 1.0 - k % 3, 1.0)) / _Z * 1.4142135623730951 + 1e-300
            parts.append((p, abs(a), wide))
    within = sum(p for p, _, _ in parts) * SURE
    half = 1.4 * max(a + s for _, a, s in parts)
    low, high = 0.0, 2.2 * half
    for _ in range(8):
        inside = density = 0.0
        for p, a, s in parts:
            near, far = (half - a) / s, (half + a) / s
            inside += p * 0.5 * (erf(near) + erf(far))
            density += p * 0.5641895835477563 * (exp(-near * near) + exp(-far * far)) / s
        if inside < within:
            low = half
        else:
            high = half
        step = half + (within - inside) / (density + 1e-300)
        step = step if low < step < high else 0.5 * (low + high)
        if abs(step - half) < 0.005 * half:
            return step
        half = step
    return half


def _listed(table: Floats) -> list[float]:
    return [float(x) for x in table.ravel()]


def _two_levels(
    y: Floats, least: float, floor: float
) -> tuple[float, float, float, float, float, int]:
    """Logarithm of the weight of two levels on the scale of the others, both, their scatter.

    Last come the spread and the number of the values since the newest change between the two.

    The values, whose sum is zero, are parted where that leaves the least scatter within both
    parts (N. Otsu, *IEEE Trans. Syst. Man Cybern.* 9, 1979, 62-66); the switches in time between
    them cost what the places of so many are worth.
    """
    n = y.size
    ranked = np.sort(y)
    sums = ranked.cumsum()
    few = min(_FEW, n // 2)
    count = np.arange(float(few), n - few + 1.0)
    low = sums[few - 1 : n - few]
    between = low * low * (1 / count + 1 / (n - count))
    k = int(between.argmax())
    below = k + few
    rest = max(float(y @ y - between[k]), 0.0) + floor
    first, second = float(low[k]) / below, -float(low[k]) / (n - below)
    edge = 0.5 * (ranked[below - 1] + ranked[below])
    up = y > edge
    changes = np.flatnonzero(up[1:] != up[:-1])
    switches = changes.size
    newest = y[changes[-1] + 1 :] if switches else y
    places = lgamma(n) - lgamma(switches + 1) - lgamma(n - switches)
    logs = log(_JUMP_ODDS) - log(n) - places - log(2 * _SIZE_RANGE * max(second - first, least))
    logs += -0.5 * log(below * (n - below)) + 0.5 * log(pi) + lgamma((n - 1) / 2)
    return (
        logs - 0.5 * (n - 1.0) * log(rest),
        first,
        second,
        sqrt(rest / (n - 1.0)),
        float(np.ptp(newest)),
        newest.size,
    )
