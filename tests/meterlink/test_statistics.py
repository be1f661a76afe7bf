"""Streaming statistics, against the certified values of NIST's univariate data sets.

NIST Statistical Reference Datasets, univariate summary statistics: certified mean, standard
deviation with n - 1, and lag-1 autocorrelation. NumAcc3 and NumAcc4 lose digits before any
arithmetic, when 1000000.1 becomes a double; the digits asked for are those that remain.
"""

from math import isnan, log10

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.quantities.statistics import Statistics

LOTTERY = """
162 671 933 414 788 730 817 33 536 875 670 236 473 167 877 980 316 950 456 92 517 557 956
954 104 178 794 278 147 773 437 435 502 610 582 780 689 562 964 791 28 97 848 281 858 538
660 972 671 613 867 448 738 966 139 636 847 659 754 243 122 455 195 968 793 59 730 361 574
522 97 762 431 158 429 414 22 629 788 999 187 215 810 782 47 34 108 986 25 644 829 630 315
567 919 331 207 412 242 607 668 944 749 168 864 442 533 805 372 63 458 777 416 340 436 140
919 350 510 572 905 900 85 389 473 758 444 169 625 692 140 897 672 288 312 860 724 226 884
508 976 741 476 417 831 15 318 432 241 114 799 955 833 358 935 146 630 830 440 642 356 373
271 715 367 393 190 669 8 861 108 795 269 590 326 866 64 523 862 840 219 382 998 4 628 305
747 247 34 747 729 645 856 974 24 568 24 694 608 480 410 729 947 293 53 930 223 203 677 227
62 455 387 318 562 242 428 968
"""
MAVRO_LAST_DIGITS = """
180 170 180 190 180 170 150 140 150 150 170 180 180 190 190 210 200 160 140 130 130 150 150
160 150 140 130 140 150 140 150 160 150 160 190 200 200 210 220 230 240 250 270 260 260 260
270 260 250 240
"""
MICHELSO = """
299.85 299.74 299.90 300.07 299.93 299.85 299.95 299.98 299.98 299.88 300.00 299.98 299.93
299.65 299.76 299.81 300.00 300.00 299.96 299.96 299.96 299.94 299.96 299.94 299.88 299.80
299.85 299.88 299.90 299.84 299.83 299.79 299.81 299.88 299.88 299.83 299.80 299.79 299.76
299.80 299.88 299.88 299.88 299.86 299.72 299.72 299.62 299.86 299.97 299.95 299.88 299.91
299.85 299.87 299.84 299.84 299.85 299.84 299.84 299.84 299.89 299.81 299.81 299.82 299.80
299.77 299.76 299.74 299.75 299.76 299.91 299.92 299.89 299.86 299.88 299.72 299.84 299.85
299.85 299.78 299.89 299.84 299.78 299.81 299.76 299.81 299.79 299.81 299.82 299.85 299.87
299.87 299.81 299.74 299.81 299.94 299.95 299.80 299.81 299.87
"""


def num_acc(base: int) -> list[float]:
    return [float(f"{base}.2")] + [float(f"{base}.1"), float(f"{base}.3")] * 500


def correct_digits(found: float, certified: float) -> float:
    """NIST's log relative error."""
    return 17.0 if found == certified else -log10(abs(found - certified) / abs(certified))


SETS = {
    "Lottery": (
        [float(x) for x in LOTTERY.split()],
        (518.958715596330, 291.699727470969, -0.120948622967393),
        (13, 13, 13),
    ),
    "Mavro": (
        [float(f"2.00{x}") for x in MAVRO_LAST_DIGITS.split()],
        (2.00185600000000, 0.000429123454003053, 0.937989183438248),
        (14, 13, 13),
    ),
    "Michelso": (
        [float(x) for x in MICHELSO.split()],
        (299.852400000000, 0.0790105478190518, 0.535199668621283),
        (14, 13, 13),
    ),
    "NumAcc1": ([10000001.0, 10000003.0, 10000002.0], (10000002.0, 1.0, -0.5), (15, 15, 15)),
    "NumAcc2": (num_acc(1), (1.2, 0.1, -0.999), (15, 13, 13)),
    "NumAcc3": (num_acc(1_000_000), (1000000.2, 0.1, -0.999), (15, 9, 11)),
    "NumAcc4": (num_acc(10_000_000), (10000000.2, 0.1, -0.999), (15, 8, 10)),
}


def over(values) -> Statistics:
    seen = Statistics()
    for value in values:
        seen.add(value)
    return seen


@pytest.mark.parametrize("name", SETS)
def test_certified_values_of_nist(name):
    values, certified, digits = SETS[name]
    seen = over(values)
    found = (seen.mean, seen.sd, seen.lag1)
    for ours, theirs, least in zip(found, certified, digits, strict=True):
        assert correct_digits(ours, theirs) >= least


NUMBERS = st.lists(st.floats(-1e6, 1e6), min_size=3, max_size=60)


@given(NUMBERS)
def test_it_agrees_with_numpy_over_the_whole_list(values):
    seen, array = over(values), np.array(values)
    spread = float(array.std(ddof=1))
    assert seen.mean == pytest.approx(float(array.mean()), rel=1e-9, abs=1e-6)
    assert seen.sd == pytest.approx(spread, rel=1e-6, abs=1e-6)
    away = array - array.mean()
    if spread > 1e-3:
        lag1 = float((away[:-1] * away[1:]).sum() / (away * away).sum())
        assert seen.lag1 == pytest.approx(lag1, abs=1e-6)


@given(values=NUMBERS, shift=st.floats(-1e6, 1e6))
def test_a_shift_moves_the_mean_and_nothing_else(values, shift):
    one, moved = over(values), over([v + shift for v in values])
    assert moved.mean == pytest.approx(one.mean + shift, abs=1e-6)
    assert moved.sd == pytest.approx(one.sd, rel=1e-6, abs=1e-6)


def test_too_few_values_give_no_number():
    seen = Statistics()
    assert isnan(seen.mean)
    seen.add(0.842)
    assert (seen.mean, seen.count) == (0.842, 1)
    assert isnan(seen.sd)
    assert isnan(seen.lag1)


def test_equal_values_have_no_spread():
    seen = over([0.842] * 1000)
    assert (seen.mean, seen.sd) == (0.842, 0.0)
    assert isnan(seen.lag1)
