"""Is a stretch of readings steady, or still on its way?

A constant value is weighed against values that still settle exponentially,
``y = c + b exp(-t / tau) + noise``, with ``c``, ``b`` and the standard deviation of the noise
unknown, over a bank of time constants and a few more between them where the likelihood peaks.
What comes out is the posterior probability that what is left to settle, ``b exp(-now / tau)``,
is more than the tolerance allows.

The method is the Bayes factor for nested linear models with a flat prior of ``c``, a scaled
inverse chi-square prior of the variance and a log-uniform prior of the size of the settling
(A. Gelman et al., *Bayesian Data Analysis*, 3rd ed., chapters 3, 7 and 14). Such a probability
may be looked at after every reading: by Ville's inequality, and as in A. Wald's sequential
probability ratio test (*Ann. Math. Statist.* 16, 1945, 117-186), whoever stops when it falls
below ``risk`` is wrong at most in that share of the stops, however often he looked, as far as
the prior is true. Rounding enters as a floor of the variance, one twelfth of the step squared.
"""

from functools import lru_cache
from math import erfc, exp, gamma, log, log1p, pi, sqrt
from operator import mul
from typing import Final

import msgspec

from meterlink.hold.policy import HoldPolicy

Fit = tuple[float, float, float, float, float, float]
"""Size at the first reading, sum of squares of the centred exponential, its mean, its last value,
prior plus residual sum of squares, logarithm of the time constant."""

_LARGEST: Final = 200.0
"""Logarithms of odds beyond this change nothing and would overflow."""


_NEGLIGIBLE: Final = 1e-9
"""Odds below this of the rest change nothing."""


class Assessment(msgspec.Struct, frozen=True, gc=False):
    """What a stretch of readings says."""

    p_moving: float
    """Probability that the value is still further from its goal than allowed, or no contact."""
    p_course: float
    """Probability that the stretch settles at all, be it by now as good as done."""
    value: float
    """Where the value is going: the constant, averaged over all models by their weights."""
    u: float
    """Standard uncertainty of ``value``, models included, for independent noise."""
    dof: float
    """Degrees of freedom of ``u``."""
    scatter: float
    """Standard deviation of one point of the stretch about the best model."""
    noise: float
    """Standard deviation of one reading."""
    tol: float
    """Tolerance of a held value here."""
    left: float
    """What is left to settle by the likeliest time constant."""
    tau: float
    """That time constant, seconds; 0 where a constant is likelier than any."""
    n: int
    """Points in the stretch."""


def t_tail(t: float, dof: float) -> float:
    """P(T > t) for Student's t, by D. L. Wallace's approximation (*Ann. Math. Statist.* 30, 1959).

    Relative error below 15 % for dof of at least 2, which is enough for odds.
    """
    z = sqrt(dof * log1p(t * t / dof)) * (8 * dof + 1) / (8 * dof + 3)
    p = 0.5 * erfc(z * 0.7071067811865476)
    return p if t > 0 else 1.0 - p


def tolerance(policy: HoldPolicy, value: float, step: float, noise: float = 0.0) -> float:
    """How far a held value may be from the true one."""
    return max(
        policy.tol_share * abs(value),
        policy.tol_resolutions * step,
        policy.tol_sds * noise,
        policy.tol_least,
    )


def variance_floor(policy: HoldPolicy, fixed: float, step: float) -> float:
    """Prior guess of the variance: rounding, and a little noise as a share of the tolerance."""
    return step * step / 12 + (policy.noise_guess * fixed) ** 2


def assess(
    ts: list[float],
    ys: list[float],
    step: float,
    policy: HoldPolicy,
    settling_share: float,
    single: float = 0.0,
    refine: int = 0,
) -> Assessment:
    """Weigh a constant value against settling ones.

    Args:
        ts: times of at least three points, seconds, increasing.
        ys: their values.
        step: step of the last digit, 0 where none is known.
        policy: the numbers to go by.
        settling_share: prior probability that the stretch settles.
        single: standard deviation of one reading, where points are means of several.
        refine: how many time constants between those of the bank may be tried.
    """
    n, nu0 = len(ts), policy.noise_weight
    last = ys[-1]
    d = [y - last for y in ys]
    total = sum(d)
    mean = total / n
    syy = max(sum(map(mul, d, d)) - total * mean, 0.0)
    fixed = tolerance(policy, last + mean, step)
    prior_ss = nu0 * variance_floor(policy, fixed, step)
    constant_ss = prior_ss + syy
    dof = n - 2 + nu0
    fits = _fits(ts, d, total, syy, prior_ss, policy.taus, refine)
    scale = min(constant_ss / (dof + 1), min([f[4] for f in fits], default=constant_ss) / dof)
    scatter = sqrt(scale)
    noise = max(scatter, single)
    tol = max(fixed, policy.tol_sds * noise)

    course = settling_share >= policy.course_share
    limit = (policy.course_margin if course else policy.tol_margin) * tol
    smallest = policy.size_least * tol
    # Rounding without noise repeats itself: more readings do not average it, and a movement of
    # less than a step over the whole stretch may not show at all.
    hidden = 1.0 - (2 * scatter / step) ** 2 if 2 * scatter < step else 0.0
    rounding = hidden * (policy.rounding_share * step) ** 2
    steady_share = 1.0 - settling_share - policy.bounce_share
    a1 = dof / 2
    common = settling_share / (len(fits) or 1) / steady_share / (2 * policy.size_range)
    common *= _gamma_ratio(a1)
    base = (a1 + 0.5) * log(constant_ss)
    weights, moving = 1.0, 0.0
    likeliest, left, log_tau = 1.0, 0.0, None
    centre, square = mean, constant_ss / (dof + 1) / n + mean * mean
    for b, shh, hm, now, ss, x in fits:
        size = abs(b)
        goal, var = mean - b * hm, ss / dof
        se = sqrt(var / shh + rounding / (1 - now) ** 2)
        w = common / max(smallest, size) * se / sqrt(var)
        w *= exp(min(base - a1 * log(ss), _LARGEST))
        if w < _NEGLIGIBLE * weights:
            continue
        weights += w
        if w > likeliest:
            likeliest, left, log_tau = w, size * now, x
        moving += w * t_tail((limit - size * now) / (se * now + 1e-300), dof)
        centre += w * goal
        square += w * (var * (1 / n + hm * hm / shh) + goal * goal)
    width = max(policy.bounce_width * abs(last + mean), 5 * tol, policy.bounce_least)
    loose = _no_contact(policy.noise_weight, n, constant_ss, prior_ss, width)
    loose *= policy.bounce_share / steady_share
    centre /= weights
    return Assessment(
        p_moving=(moving + loose) / (weights + loose),
        p_course=1.0 - 1.0 / weights,
        value=last + centre,
        u=sqrt(max(square / weights - centre * centre, scale / n)),
        dof=dof,
        scatter=scatter,
        noise=noise,
        tol=tol,
        left=left,
        tau=0.0 if log_tau is None else exp(log_tau),
        n=n,
    )


@lru_cache(maxsize=256)
def _gamma_ratio(a: float) -> float:
    """Square root of pi times gamma(a) / gamma(a + 1/2)."""
    return sqrt(pi) * gamma(a) / gamma(a + 0.5)


def _no_contact(nu0: float, n: int, ss: float, prior_ss: float, width: float) -> float:
    """Odds of readings that scatter widely and have nothing to do with one another."""
    a0 = (n - 1 + nu0) / 2
    x = a0 * log(ss) + (n - 1) * (0.5 * log(pi) - log(width))
    x += 0.5 * log(n) - 0.5 * nu0 * log(prior_ss)
    return exp(min(x, _LARGEST)) * gamma(nu0 / 2) / gamma(a0)


def _fits(
    ts: list[float],
    d: list[float],
    total: float,
    syy: float,
    prior_ss: float,
    taus: tuple[float, ...],
    refine: int,
) -> list[Fit]:
    """Least squares of ``d`` on a constant and an exponential, for each time constant."""
    first = ts[0]
    rel = [first - t for t in ts]
    fits = [f for tau in taus if (f := _fit(rel, d, total, syy, prior_ss, tau)) is not None]
    for _ in range(refine if len(fits) > 2 else 0):
        tau = _between(fits)
        fit = _fit(rel, d, total, syy, prior_ss, tau) if tau else None
        if fit is None:
            break
        fits.append(fit)
    return fits


def _fit(
    rel: list[float], d: list[float], total: float, syy: float, prior_ss: float, tau: float
) -> Fit | None:
    pace = 1.0 / tau
    h = [exp(r * pace) for r in rel]
    hs = sum(h)
    hm = hs / len(h)
    shh = sum(map(mul, h, h)) - hs * hm
    if shh <= 1e-12:
        return None
    b = (sum(map(mul, h, d)) - hm * total) / shh
    rest = syy - b * b * shh
    return b, shh, hm, h[-1], prior_ss + (rest if rest > 0.0 else 0.0), log(tau)  # noqa: FURB136


def _log_tau(fit: Fit) -> float:
    return fit[5]


def _between(fits: list[Fit]) -> float:
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
