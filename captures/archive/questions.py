"""Questions that a workshop has across its jobs, ready to be asked.

They count jobs whose records are whole, open or cut; what an altered record says is left out, and
whoever shows the answer says how many jobs that were, and how many had no whole record
(``not_whole``).
"""

from collections.abc import Callable, Sequence
from math import inf
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from captures.archive.answers import AnswerPicture, Asker

CONTENT: Final = 0.95
"""Share of all windings that the interval holds."""
CONFIDENCE: Final = 0.95
"""Probability that it holds at least so much."""

LEAST: Final = 8
"""Fewer values than this say nothing of their distribution."""

_A2_AT_5_PERCENT: Final = 0.752
_NODES: Final = 60


class Tolerance(NamedTuple):
    """An interval, and by which way it was found."""

    low: float | None
    """None where there are too few values for an interval."""
    high: float | None
    way: str
    """``normal``, ``order statistics``, or why there is none."""
    anderson_darling: float | None
    """The statistic, adjusted for the number of values; more than 0.752 is not normal."""


def tolerance_interval(
    values: Sequence[float], content: float = CONTENT, confidence: float = CONFIDENCE
) -> Tolerance:
    """Return between which values ``content`` of the population lies, with ``confidence``."""
    sample = np.sort(np.asarray(values, dtype=float))
    n = len(sample)
    if n < LEAST:
        return Tolerance(None, None, f"fewer than {LEAST} values", None)
    a2 = anderson_darling(sample)
    if a2 <= _A2_AT_5_PERCENT:
        k = normal_factor(n, content, confidence)
        mean, deviation = float(sample.mean()), float(sample.std(ddof=1))
        return Tolerance(mean - k * deviation, mean + k * deviation, "normal", a2)
    left_out = order_statistics(n, content, confidence)
    if left_out is None:
        few = f"not normal, and order statistics need {fewest(content, confidence)} values"
        return Tolerance(None, None, few, a2)
    low, high = left_out
    return Tolerance(float(sample[low]), float(sample[n - 1 - high]), "order statistics", a2)


def normal_factor(n: int, content: float, confidence: float) -> float:
    """Return the exact two-sided factor ``k`` for ``n`` normal values.

    The interval holds enough if the deviation of the sample is at least what its mean, at its
    distance from the true one, makes necessary; that is averaged over the mean by Gauss-Hermite
    quadrature.
    """
    from scipy.optimize import brentq
    from scipy.special import chdtrc

    nodes, weights = np.polynomial.hermite.hermgauss(_NODES)
    reach = np.array([_reach(abs(x) * np.sqrt(2 / n), content) for x in nodes])
    dof = n - 1

    def missing(k: float) -> float:
        sure = chdtrc(dof, dof * (reach / k) ** 2)
        return float(np.dot(weights, sure) / np.sqrt(np.pi)) - confidence

    return float(brentq(missing, 0.1, 1e4, xtol=1e-9))


def order_statistics(n: int, content: float, confidence: float) -> tuple[int, int] | None:
    """Return how many of ``n`` sorted values may be left out below and above; None for too few.

    What lies between the values so chosen holds ``content`` with at least ``confidence``.
    """
    from scipy.special import bdtr

    left_out = -1
    # With r left out in all and the two ends of the interval themselves, r + 2 gaps lie outside.
    while left_out + 1 <= n - 2 and bdtr(n - 2 - (left_out + 1), n, content) >= confidence:
        left_out += 1
    return None if left_out < 0 else (left_out // 2, left_out - left_out // 2)


def fewest(content: float, confidence: float) -> int:
    """Return how many values it takes for an interval from the smallest to the largest."""
    n = 2
    while order_statistics(n, content, confidence) is None:
        n += 1
    return n


def anderson_darling(sample: Sequence[float] | np.ndarray) -> float:
    """Return the statistic A², adjusted for a sample whose mean and deviation are estimated."""
    from scipy.special import log_ndtr

    values = np.sort(np.asarray(sample, dtype=float))
    n, deviation = len(values), values.std(ddof=1)
    if not deviation > 0:
        return inf
    z = (values - values.mean()) / deviation
    i = np.arange(1, n + 1)
    a2 = -n - float(np.sum((2 * i - 1) * (log_ndtr(z) + log_ndtr(-z[::-1])))) / n
    return a2 * (1 + 0.75 / n + 2.25 / n**2)


def _reach(offset: float, content: float) -> float:
    """Return how far either way of ``offset`` holds ``content`` of the normal distribution."""
    from scipy.optimize import brentq
    from scipy.special import ndtr

    def missing(r: float) -> float:
        return float(ndtr(offset + r) - ndtr(offset - r)) - content

    return float(brentq(missing, 0.0, offset + 40.0, xtol=1e-12))


if TYPE_CHECKING:
    import pyarrow

COMEBACK_DAYS: Final = 90
"""An engine that is back within so many days came back."""

_BAND: Final = 5
"""Degrees Celsius in one row of the spread."""

_TRUSTED: Final = "record IN ('whole', 'open', 'cut')"


class ArchiveQuestion(NamedTuple):
    """A question with a name."""

    name: str
    about: str
    sql: str
    drawing: AnswerPicture
    then: "Callable[[pyarrow.Table], pyarrow.Table] | None" = None
    """What is worked out from the rows that the SQL gives."""

    def ask(self, asker: Asker) -> "pyarrow.Table":
        """Return the answer.

        Raises:
            UnreadableError: the data cannot be read.
        """
        rows = asker.ask(self.sql)
        return rows if self.then is None else self.then(rows)


class NotWhole(NamedTuple):
    """Jobs whose records are not whole."""

    record: str
    """The state of their record."""
    jobs: int
    counted: bool
    """The ready questions count them all the same."""


def not_whole(asker: Asker) -> list[NotWhole]:
    """Return how many jobs have no whole record, by its state."""
    rows = asker.ask(
        f"SELECT record, count(*) AS jobs, {_TRUSTED} AS counted "  # noqa: S608
        "FROM jobs WHERE record <> 'whole' GROUP BY record ORDER BY record"
    )
    return [NotWhole(**row) for row in rows.to_pylist()]


_STANDING_WINDINGS: Final = f"""
    SELECT * FROM verdicts
    WHERE stands AND {_TRUSTED} AND winding IS NOT NULL AND corrected IS NOT NULL
      AND verdict NOT IN ('open', 'short')
"""  # noqa: S608  # put together from our own words

_SPREAD: Final = f"""
    SELECT profile, winding, unit,
           {_BAND} * CAST(floor(temperature / {_BAND}) AS BIGINT) AS from_celsius,
           count(*) AS windings, avg(corrected) AS mean, stddev_samp(corrected) AS sd,
           min(corrected) AS lowest, quantile_cont(corrected, 0.25) AS quartile_1,
           median(corrected) AS median, quantile_cont(corrected, 0.75) AS quartile_3,
           max(corrected) AS highest,
           min(window_low) AS window_low, max(window_high) AS window_high
    FROM ({_STANDING_WINDINGS})
    GROUP BY ALL ORDER BY profile, winding, from_celsius
"""  # noqa: S608

_DRIFT: Final = f"""
    SELECT meter, marking, count(*) AS checks, min(at_utc) AS first_utc, max(at_utc) AS last_utc,
           100 * avg(relative_error) AS mean_percent,
           100 * min(relative_error) AS lowest_percent,
           100 * quantile_cont(relative_error, 0.25) AS quartile_1_percent,
           100 * median(relative_error) AS median_percent,
           100 * quantile_cont(relative_error, 0.75) AS quartile_3_percent,
           100 * max(relative_error) AS highest_percent,
           100 * regr_slope(relative_error, epoch_ms(at_utc) / 31557600000.0) AS percent_a_year,
           count(*) FILTER (WHERE NOT passed) AS failed
    FROM meter_checks WHERE stands AND {_TRUSTED}
    GROUP BY meter, marking ORDER BY meter, marking
"""  # noqa: S608

_VERDICTS: Final = f"""
    SELECT site, year, month, who, verdict, count(*) AS verdicts,
           count(*) FILTER (WHERE NOT clear) AS close
    FROM verdicts WHERE stands AND {_TRUSTED}
    GROUP BY ALL ORDER BY site, year, month, who, verdict
"""  # noqa: S608

_COMEBACKS: Final = f"""
    WITH visits AS (
        SELECT site, engine, job, at_utc, complaint,
               lead(job) OVER visit AS back_as, lead(at_utc) OVER visit AS back_utc,
               lead(complaint) OVER visit AS back_with
        FROM jobs WHERE done AND {_TRUSTED} AND engine <> '' AND at_utc IS NOT NULL
        WINDOW visit AS (PARTITION BY site, engine ORDER BY at_utc, job)
    )
    SELECT site, engine, job, at_utc, complaint, back_as, back_utc, back_with,
           epoch_ms(back_utc) / 86400000.0 - epoch_ms(at_utc) / 86400000.0 AS days
    FROM visits
    WHERE back_utc <= at_utc + INTERVAL {COMEBACK_DAYS} DAY
    ORDER BY back_utc DESC
"""  # noqa: S608

_TIMES: Final = f"""
    SELECT card, step, count(*) AS times,
           min(took_s) AS shortest_s, quantile_cont(took_s, 0.25) AS quartile_1_s,
           median(took_s) AS median_s, quantile_cont(took_s, 0.75) AS quartile_3_s,
           quantile_cont(took_s, 0.9) AS nine_in_ten_s, max(took_s) AS longest_s
    FROM outcomes WHERE took_s >= 0 AND outcome <> 'skipped' AND how <> 'profile' AND {_TRUSTED}
    GROUP BY card, step ORDER BY median_s DESC
"""  # noqa: S608

_REDONE: Final = f"""
    SELECT card, step, count(DISTINCT record_id) AS jobs,
           count(DISTINCT record_id) FILTER (WHERE time > 1) AS redone_in,
           100.0 * redone_in / jobs AS percent, max(time) AS most_times,
           mode(again_because) FILTER (WHERE again_because <> '') AS mostly_because
    FROM outcomes WHERE {_TRUSTED}
    GROUP BY card, step HAVING count(*) FILTER (WHERE time > 1) > 0
    ORDER BY percent DESC, card, step
"""  # noqa: S608

_LEARNT: Final = f"""
    SELECT profile, winding, unit, list(corrected ORDER BY record_id) AS corrected,
           min(window_low) AS window_low, max(window_high) AS window_high
    FROM (
        SELECT * FROM ({_STANDING_WINDINGS})
        WHERE isfinite(corrected)
        QUALIFY row_number() OVER (PARTITION BY record_id, winding ORDER BY at_utc DESC) = 1
    )
    GROUP BY ALL ORDER BY profile, winding
"""  # noqa: S608


def _learn(rows: "pyarrow.Table") -> "pyarrow.Table":
    import pyarrow

    found = []
    for row in rows.to_pylist():
        values = row.pop("corrected")
        interval = tolerance_interval(values)
        found.append(
            {
                "profile": row["profile"],
                "winding": row["winding"],
                "windings": len(values),
                "low": interval.low,
                "high": interval.high,
                "unit": row["unit"],
                "way": interval.way,
                "content_percent": 100 * CONTENT,
                "confidence_percent": 100 * CONFIDENCE,
                "lowest": min(values),
                "median": sorted(values)[len(values) // 2],
                "highest": max(values),
                "window_low": row["window_low"],
                "window_high": row["window_high"],
            }
        )
    kinds = dict.fromkeys(("profile", "winding", "unit", "way"), pyarrow.string())
    kinds["windings"] = pyarrow.int64()
    schema = pyarrow.schema([(name, kinds.get(name, pyarrow.float64())) for name in _LEARNT_NAMES])
    return pyarrow.Table.from_pylist(found, schema=schema)


_LEARNT_NAMES: Final = (
    "profile",
    "winding",
    "windings",
    "low",
    "high",
    "unit",
    "way",
    "content_percent",
    "confidence_percent",
    "lowest",
    "median",
    "highest",
    "window_low",
    "window_high",
)

_QUARTILES: Final = ("lowest", "quartile_1", "median", "quartile_3", "highest")

QUESTIONS: Final = {
    question.name: question
    for question in (
        ArchiveQuestion(
            "spread",
            "spread of each winding, by profile and temperature",
            _SPREAD,
            AnswerPicture(
                "spread",
                ("profile", "winding", "from_celsius"),
                _QUARTILES,
                ("profile", "winding"),
                ("window_low", "window_high"),
            ),
        ),
        ArchiveQuestion(
            "drift",
            "each meter against its known resistors: error, and how it drifts",
            _DRIFT,
            AnswerPicture(
                "spread", ("meter", "marking"), tuple(f"{n}_percent" for n in _QUARTILES)
            ),
        ),
        ArchiveQuestion(
            "verdicts",
            "verdicts by site, month and technician",
            _VERDICTS,
            AnswerPicture("bar", ("site", "year", "month", "who", "verdict"), ("verdicts",)),
        ),
        ArchiveQuestion(
            "comebacks",
            f"engines that were back within {COMEBACK_DAYS} days of a finished job; an engine goes "
            "by the title of its jobs up to the first comma",
            _COMEBACKS,
            AnswerPicture("bar", ("engine", "back_as"), ("days",)),
        ),
        ArchiveQuestion(
            "times",
            "how long each step takes",
            _TIMES,
            AnswerPicture(
                "spread",
                ("card", "step"),
                ("shortest_s", "quartile_1_s", "median_s", "quartile_3_s", "nine_in_ten_s"),
            ),
        ),
        ArchiveQuestion(
            "redone",
            "steps that were done again, how often and why",
            _REDONE,
            AnswerPicture("bar", ("card", "step"), ("percent",)),
        ),
        ArchiveQuestion(
            "learnt",
            f"tolerance interval of each winding: {CONTENT:.0%} of all lie in it, with "
            f"{CONFIDENCE:.0%} confidence; to lay beside the profile's limits, never used by "
            "itself. One value a job; open and short windings are left out",
            _LEARNT,
            AnswerPicture(
                "spread",
                ("profile", "winding"),
                ("lowest", "low", "median", "high", "highest"),
                ("profile", "winding"),
                ("window_low", "window_high"),
            ),
            _learn,
        ),
    )
}
"""The ready questions by name."""
