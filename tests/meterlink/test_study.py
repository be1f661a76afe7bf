"""Repeatability and reproducibility, the meter's passport, and the moving average of its checks."""

import numpy as np
import pytest

from meterlink.errors import NotationError
from meterlink.events import Held
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.assess import Assessor
from meterlink.judging.control_chart import (
    Signal,
    average_limit,
    control_chart,
    moving_average,
)
from meterlink.judging.correction import LeadZero, Temperature
from meterlink.judging.criterion import Criterion
from meterlink.judging.passport import Certificate, Passport, widened
from meterlink.judging.study import crossed_study, pool_pairs
from meterlink.quantities.window import Window

# Ten parts, three people, three trials: the worked example that the trade's handbooks on
# measurement systems print, from memory. Its printed results, too: repeatability 0.199933,
# reproducibility 0.226838, both 0.302373, between parts 1.042327 (interaction pooled).
STUDY = {
    "A": (
        "0.29 -0.56 1.34 0.47 -0.80 0.02 0.59 -0.31 2.26 -1.36",
        "0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25",
        "0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31",
    ),
    "B": (
        "0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68",
        "0.25 -1.22 0.94 1.03 -1.20 0.22 0.55 0.08 2.12 -1.62",
        "0.07 -0.68 1.34 0.20 -1.28 0.06 0.83 -0.34 2.19 -1.50",
    ),
    "C": (
        "0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49",
        "-0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77",
        "-0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16",
    ),
}


def crossed() -> dict[tuple[str, str], list[float]]:
    values: dict[tuple[str, str], list[float]] = {}
    for person, trials in STUDY.items():
        for trial in trials:
            for part, value in enumerate(trial.split()):
                values.setdefault((str(part), person), []).append(float(value))
    return values


def test_a_crossed_study_as_handbooks_print_it():
    study = crossed_study(crossed())
    squares = {line.name: (round(line.squares, 4), line.dof) for line in study.lines}
    assert squares == {
        "parts": (88.3619, 9),
        "people": (3.1673, 2),
        "parts and people": (0.3590, 18),
        "repeats": (2.7589, 60),
    }
    assert study.pooled
    assert study.repeatability == pytest.approx(0.199933, abs=5e-7)
    assert study.reproducibility == pytest.approx(0.226838, abs=5e-7)
    assert study.measurement == pytest.approx(0.302373, abs=2e-6)
    assert study.between_parts == pytest.approx(1.042327, abs=1e-6)


def test_a_study_finds_the_standard_deviations_that_were_put_in():
    rng = np.random.default_rng(4)
    parts, people = rng.normal(0, 5, 60), rng.normal(0, 2, 30)
    crossing = rng.normal(0, 1.5, (60, 30))
    values = {
        (str(p), str(o)): list(parts[p] + people[o] + crossing[p, o] + rng.normal(0, 1, 3))
        for p in range(60)
        for o in range(30)
    }
    study = crossed_study(values)
    assert not study.pooled
    assert study.repeatability == pytest.approx(1.0, rel=0.05)
    assert study.reproducibility == pytest.approx((2**2 + 1.5**2) ** 0.5, rel=0.3)
    assert study.between_parts == pytest.approx(5.0, rel=0.25)


def test_a_study_with_a_hole_in_it_is_refused():
    values = crossed()
    values["3", "B"].pop()
    with pytest.raises(NotationError, match="B has 2 values of 3"):
        crossed_study(values)
    with pytest.raises(NotationError, match="two people"):
        crossed_study({("a", "x"): [1.0, 2.0], ("b", "x"): [1.0, 2.0]})


def test_pairs_are_pooled_with_a_degree_of_freedom_each():
    pooled = pool_pairs([0.003, -0.004])
    assert pooled.dof == 2
    assert pooled.sd == pytest.approx((25e-6 / 4) ** 0.5)
    assert pool_pairs([]) is None


# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: target 50, s 2.0539, weight 0.3.
EWMA_DATA = (
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
)
EWMA_PRINTED = (
    *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
    *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
)


def test_the_moving_average_of_the_handbook():
    averages = moving_average(EWMA_DATA, 50.0, weight=0.3)
    assert averages == pytest.approx(EWMA_PRINTED, abs=0.0051)
    assert 50 + average_limit(2.0539, weight=0.3, width=3.0) == pytest.approx(52.5884, abs=5e-5)


def test_checks_that_all_show_the_same_digits_do_not_alarm_at_one_digit():
    chart = control_chart([0.01] * 24 + [0.02], 20, step=0.01)
    assert chart.signals == ()
    assert chart.sd == pytest.approx(0.01 / 12**0.5)
    assert (24, Signal.BEYOND) in control_chart([0.01] * 24 + [0.04], 20, step=0.01).signals


def test_a_shift_of_one_standard_deviation_is_seen_in_under_ten_checks():
    """14.5 checks by single values and runs, 8.9 with the moving average, on average."""
    rng = np.random.default_rng(6)
    seen = {True: [], False: []}
    for _ in range(300):
        base = rng.normal(0, 1, 400).tolist()
        shifted = rng.normal(1, 1, 120).tolist()
        chart = control_chart([*base, *shifted], 400)
        for with_average in seen:
            hits = [
                i - 399
                for i, signal in chart.signals
                if i >= 400 and (with_average or signal is not Signal.DRIFT)
            ]
            seen[with_average].append(min(hits, default=120))
    assert np.mean(seen[True]) < 10.5
    assert np.mean(seen[True]) < 0.8 * np.mean(seen[False])


PASSPORT = Passport(
    meter="bench meter",
    certificate=(
        Certificate(number="C-104", calibrated="2025-03-01", expires="2026-03-01", error=0.10),
        Certificate(number="C-77", calibrated="2024-03-01", expires="2025-03-01", error=0.05),
    ),
    lowest=18.0,
    highest=28.0,
)
SPEC = (Accuracy(percent=0.5, counts=2),)


def held(value: float) -> Held:
    return Held(
        t=1.0,
        contact_t=0.5,
        value=value,
        readings=5,
        noise=0.0,
        resolution=0.001,
        u=0.0,
        dof=float("inf"),
    )


def notes(celsius: float, today: str) -> tuple[str, ...]:
    criterion = Criterion.winding(Window(0.7, 1.0))
    zero = LeadZero(value=0.1, resolution=0.001)
    lines = PASSPORT.on(SPEC, today)
    return Assessor(criterion, lines, zero, Temperature(celsius=celsius)).assess(held(0.95)).notes


def test_a_certificate_that_has_ended_is_warned_of_beside_the_verdict():
    assert notes(20.0, "2026-01-31") == ()
    assert any("C-104 ended on 2026-03-01" in note for note in notes(20.0, "2026-03-02"))
    assert "no certificate" in Passport(meter="x").warning("2026-01-01")


def test_a_cold_bench_widens_the_accuracy_and_is_said():
    assert any("holds from 18 to 28 °C" in note for note in notes(8.0, "2026-01-31"))
    (line,) = PASSPORT.on(SPEC, "2026-01-31")
    assert widened(line, 8.0).percent == pytest.approx(1.0)  # ten kelvins, a tenth each
    assert widened(line, 20.0).percent == 0.5


def test_the_drift_between_certificates_is_told_in_percent_a_year():
    assert PASSPORT.drift == pytest.approx(0.05, rel=0.01)
    with pytest.raises(NotationError, match="no day"):
        Certificate(number="x", calibrated="March")
    with pytest.raises(NotationError, match="ends before"):
        Certificate(number="x", calibrated="2026-03-01", expires="2025-03-01")


def test_a_spread_between_touches_that_was_measured_stands_in_the_budget():
    from meterlink.judging.assumed import Assumed

    own = Assumed(between_touches=0.004, touch_pairs=12, source="pairs of touches in our jobs")
    criterion = Criterion.winding(Window(0.7, 1.0))
    zero = LeadZero(value=0.1, resolution=0.001)
    assessor = Assessor(criterion, SPEC, zero, Temperature(celsius=20.0), assumed=own)
    lines = {line.name: line for line in assessor.assess(held(0.95)).budget.components}
    assert (lines["touches"].u, lines["touches"].dof) == (0.004, 12.0)
    assert not {"contact", "emf"} & set(lines)
