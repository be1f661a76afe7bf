"""The repeat touch as a step: two holds with the leads swapped, their difference and their mean."""

import numpy as np
import pytest
from scipy import stats

from meterlink.bench.progress import Progress
from meterlink.commands import Confirm, Enter
from meterlink.events import Asked, Held, StepEnded
from meterlink.steps.repeat import Repeated, RepeatStep
from tests.meterlink.bench_hands import LEAD_ZERO, Hands, card
from tui.announcing.announcer import Announcer, Tune
from tui.announcing.teller import Teller, table

REPEAT = (
    'kind = "repeat-touch"\nid = "again"\ntitle = "Earth path twice"\n'
    'between = ["laminations", "block"]'
)


def repeating(*steps: str) -> Hands:
    return Hands(card(*(steps or (REPEAT,)))).cautions()


def test_two_touches_alike_agree_and_give_difference_and_mean():
    hands = repeating().touch(0.842).touch(0.843)
    repeated = hands.last(Repeated)
    assert hands.outcomes["again"] == "agrees"
    assert repeated.agrees
    assert repeated.difference == pytest.approx(repeated.second - repeated.first)
    assert repeated.mean == pytest.approx((repeated.first + repeated.second) / 2)
    assert repeated.mean == pytest.approx(0.8425, abs=0.001)


def test_a_pair_rests_on_the_readings_of_both_and_passes_where_they_agree():
    hands = repeating().touch(0.842).touch(0.843)
    assert hands.last(Repeated).readings == sum(held.readings for held in hands.all(Held))
    step = hands.bench.card.find("again")
    assert step.is_expected("agrees", None)
    assert step.is_expected("differs", None) is False
    assert step.is_expected("skipped", None) is None


def test_two_touches_farther_apart_than_their_uncertainty_differ_and_can_be_done_again():
    hands = repeating().touch(0.842).touch(0.9)
    assert "again" not in hands.outcomes
    assert not hands.last(Repeated).agrees
    assert "Clean both points" in hands.last(Asked).say
    hands.touch(0.842)
    assert "swap the probes" in hands.last(Asked).say
    hands.touch(0.842)
    assert hands.outcomes["again"] == "agrees"


def test_a_difference_stands_by_confirming_it():
    hands = repeating().touch(0.842).touch(0.9).tell(Confirm())
    assert hands.outcomes["again"] == "differs"
    assert hands.last(StepEnded).how == "key"


def test_the_leads_fall_out_of_the_difference_and_are_taken_off_the_mean():
    hands = repeating(LEAD_ZERO, REPEAT).touch(0.132).touch(0.842).touch(0.842)
    assert hands.last(Repeated).mean == pytest.approx(0.842 - 0.132, abs=0.002)
    assert abs(hands.last(Repeated).difference) < 0.002


def test_nothing_but_a_second_touch_ends_it():
    hands = repeating().touch(0.842).tell(Confirm())
    assert "second touch is still to come" in hands.last(Asked).say
    hands.tell(Enter(text="0.842 ohm"))
    assert "is no answer here" in hands.last(Asked).say
    assert "again" not in hands.outcomes


def test_a_value_below_nothing_is_refused():
    hands = repeating().touch(-3.0)
    assert "below zero" in hands.last(Asked).say
    assert not hands.bench.sound


def test_the_uncertainty_of_the_difference_is_that_of_two_means_by_welch():
    # scipy.stats.ttest_ind(equal_var=False) gives the 95 % interval of a difference of two means.
    rng = np.random.default_rng(5)
    samples = rng.normal(0.842, 0.003, 9), rng.normal(0.842, 0.001, 14)
    bench = repeating().bench
    worker = RepeatStep(id="again", title="Again", between=("a", "b")).worker(bench)
    out = [
        event
        for t, sample in enumerate(samples)
        for event in worker.touch(
            Held(
                t=float(t),
                contact_t=float(t),
                value=float(sample.mean()),
                readings=len(sample),
                noise=float(sample.std(ddof=1)),
                resolution=0.0,
                u=float(stats.sem(sample)),
                dof=len(sample) - 1.0,
            )
        )
    ]
    repeated = next(event for event in out if isinstance(event, Repeated))
    interval = stats.ttest_ind(samples[1], samples[0], equal_var=False).confidence_interval(0.95)
    assert repeated.u == pytest.approx((interval.high - interval.low) / 2, rel=1e-6)
    assert repeated.difference == pytest.approx((interval.high + interval.low) / 2, rel=1e-6)


def test_it_is_told_and_tabled_and_spoken():
    hands = repeating().touch(0.842).touch(0.9).tell(Confirm())
    teller = Teller(hands.bench.card, ohm_sign=False)
    told = teller.tell(hands.last(Repeated))
    assert told.startswith("The two touches differ by more than they may: mean 0.87")
    assert "apart" in "\n".join(table(hands.bench.progress, teller))
    announcer = Announcer(hands.bench.card, hands.bench.profile)
    assert announcer.words(hands.last(Repeated)) == "The two touches differ."
    assert announcer.tune(hands.last(Repeated)) is Tune.OUT


def test_the_log_brings_back_the_pair_after_a_break():
    hands = repeating().touch(0.842).touch(0.9)
    again = Hands(hands.bench.card)
    again.bench.progress = Progress(hands.bench.card)
    again.bench.progress.apply_all(hands.events)
    again.events = list(again.bench.begin(0.0))
    assert "Confirm, or touch both times again" in again.last(Asked).say
    again.tell(Confirm())
    assert again.outcomes["again"] == "differs"
