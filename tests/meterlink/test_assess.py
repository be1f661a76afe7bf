"""The whole way from a held value to its verdict, with its budget line by line."""

import subprocess
import sys
from math import inf, sqrt
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import structs

from meterlink.errors import NotationError
from meterlink.events import Held, Verdict
from meterlink.judging.accuracy import Accuracy, accuracy_at
from meterlink.judging.assess import Assessment, Assessor
from meterlink.judging.assumed import NOTHING_ASSUMED, Assumed
from meterlink.judging.correction import LeadZero, Temperature
from meterlink.judging.criterion import Criterion
from meterlink.quantities.window import Window

PRIMARY = Criterion.winding(Window(0.7, 1.0), reference=20.0)
"""Common practice, no published source: about 0.7 to 1 ohm."""
SPEC = (Accuracy(percent=0.8, counts=3),)
ROOM = Temperature(celsius=25.0, half_width=2.0)
LEADS = LeadZero(value=0.1, resolution=0.001)


def held(value: float, *, resolution: float = 0.001, u: float = 0.0, dof: float = inf) -> Held:
    return Held(
        t=1.0,
        contact_t=0.5,
        value=value,
        readings=5,
        noise=u,
        resolution=resolution,
        u=u,
        dof=dof,
    )


def lines(assessment: Assessment) -> dict[str, float]:
    return {line.name: line.u for line in assessment.budget.components}


def test_a_winding_is_corrected_for_leads_series_and_temperature():
    criterion = Criterion.winding(Window(4e3, 7e3), reference=20.0, series=5e3)
    assessment = Assessor(criterion, (), LEADS, ROOM).assess(held(10_500.1))
    # (10500.1 - 0.1 - 5000) * (235 + 20) / (235 + 25), IEC 60034-1.
    assert assessment.corrected == pytest.approx(5500.0 * 255 / 260)


def test_a_switch_is_corrected_for_leads_alone():
    assessment = Assessor(Criterion.closed(2.0), (), LEADS, ROOM).assess(held(0.35))
    assert assessment.corrected == pytest.approx(0.25)
    assert "temperature" not in lines(assessment)


def test_every_line_of_a_budget_by_hand():
    zero = LeadZero(value=0.1, u=0.0004, dof=4.0, resolution=0.001)
    assessment = Assessor(PRIMARY, SPEC, zero, ROOM).assess(held(0.95, u=0.002, dof=6.0))
    ratio = 255 / 260
    found = lines(assessment)
    # The zero is of the same range (the same last digit), so two of the three counts are out: the
    # share of an offset is assumed.
    assert found["meter"] == pytest.approx(ratio * (0.008 * 0.95 + 0.001) / sqrt(3))
    # A tenth of the accuracy for drift, half of 10 milliohm of contact, 5 µV over 1 mA.
    assert found["drift"] == pytest.approx(ratio * 0.1 * (0.008 * 0.95 + 0.003) / sqrt(3))
    assert found["contact"] == pytest.approx(ratio * 0.005 / sqrt(3))
    assert found["emf"] == pytest.approx(ratio * 0.005 / sqrt(3))
    assert found["resolution"] == pytest.approx(ratio * 0.001 / sqrt(12))
    assert found["leads"] == pytest.approx(ratio * sqrt(0.0004**2 + 0.001**2 / 12))
    # 1/(k + t): 0.3846 % per kelvin at 25 °C; ±2 °C rectangular is 1.155 K, 0.444 %.
    assert found["temperature"] == pytest.approx(0.00444 * assessment.corrected, rel=1e-3)
    assert found["repeatability"] == pytest.approx(ratio * 0.002)
    assert assessment.budget.u == pytest.approx(sqrt(sum(u * u for u in found.values())))


def test_the_degrees_of_freedom_of_leads_and_noise_come_through():
    zero = LeadZero(value=0.1, u=0.004, dof=4.0, resolution=0.001)
    budget = Assessor(PRIMARY, (), zero, ROOM).assess(held(0.95, u=0.002, dof=6.0)).budget
    dofs = {line.name: line.dof for line in budget.components}
    assert dofs["repeatability"] == 6.0
    assert dofs["leads"] == pytest.approx(4.0, rel=0.02)
    assert dofs["temperature"] is None
    assert budget.dof < inf


@pytest.mark.parametrize(
    ("zero", "full_scale", "same"),
    [
        (LeadZero(value=0.1, resolution=0.001), None, True),
        (LeadZero(value=0.1, resolution=0.01), None, False),
        (LeadZero(value=0.1), None, False),
        (LeadZero(value=0.1, resolution=0.001, range=10.0), 10.0, True),
        (LeadZero(value=0.1, resolution=0.001, range=10.0), 100.0, False),
        (None, 10.0, False),
    ],
)
def test_a_lead_zero_of_the_same_range_takes_the_offset_out(zero, full_scale, same):
    assessor = Assessor(PRIMARY, SPEC, zero, ROOM, full_scale=full_scale)
    meter = lines(assessor.assess(held(0.95)))["meter"]
    half_width = 0.008 * 0.95 + (0.001 if same else 3 * 0.001)
    assert meter == pytest.approx(255 / 260 * half_width / sqrt(3))


def test_a_lead_zero_of_another_range_brings_its_own_offset():
    spec = (Accuracy(percent=0.8, counts=3),)
    zero = LeadZero(value=0.1, resolution=0.01, range=100.0)
    assessment = Assessor(PRIMARY, spec, zero, ROOM, full_scale=1000.0).assess(
        held(0.95, resolution=0.1)
    )
    expected = sqrt(0.01**2 / 12 + (3 * 0.01) ** 2 / 3)
    assert lines(assessment)["leads"] == pytest.approx(255 / 260 * expected)
    assert any("same range" in note for note in assessment.notes)


def test_where_neither_range_nor_digit_is_known_the_offset_stays_in():
    line = Accuracy(of_range=0.004)
    assessor = Assessor(PRIMARY, (line,), LeadZero(value=0.1), ROOM, full_scale=100.0)
    meter = lines(assessor.assess(held(0.95, resolution=0.0)))["meter"]
    assert meter == pytest.approx(255 / 260 * 4e-3 / sqrt(3))


def test_a_lead_zero_of_unknown_digit_has_that_of_the_reading():
    assessor = Assessor(PRIMARY, (), LeadZero(value=0.1), ROOM, assumed=NOTHING_ASSUMED)
    assessment = assessor.assess(held(0.95))
    assert lines(assessment)["leads"] == lines(assessment)["resolution"]


@pytest.mark.parametrize(("digit", "same"), [(0.1, True), (0.001, True), (0.0001, False)])
def test_a_typed_lead_zero_may_have_lost_its_trailing_zeros(digit, same):
    zero = LeadZero(value=0.1, resolution=digit, typed=True)
    assessment = Assessor(PRIMARY, SPEC, zero, ROOM).assess(held(0.95))
    found = lines(assessment)
    half_width = 0.008 * 0.95 + (0.001 if same else 0.003)
    assert found["meter"] == pytest.approx(255 / 260 * half_width / sqrt(3))
    if same:
        assert found["leads"] == found["resolution"]


def test_four_wires_have_no_leads_to_take_off():
    assessment = Assessor(PRIMARY, SPEC, LEADS, ROOM, four_wire=True).assess(held(0.85))
    assert assessment.corrected == pytest.approx(0.85 * 255 / 260)
    assert "leads" not in lines(assessment)
    assert not any("lead" in note for note in assessment.notes)


def test_a_tolerance_in_series_counts():
    criterion = Criterion.winding(
        Window(4e3, 7e3), reference=20.0, series=5e3, series_tolerance=10.0
    )
    assessment = Assessor(criterion, (), None, ROOM).assess(held(10_500.0, resolution=1.0))
    assert lines(assessment)["series"] == pytest.approx(255 / 260 * 500 / sqrt(3))


def test_an_unknown_temperature_is_a_named_and_wide_assumption():
    known = Assessor(PRIMARY, SPEC, LEADS, ROOM).assess(held(0.95))
    unknown = Assessor(PRIMARY, SPEC, LEADS).assess(held(0.95))
    assert unknown.expanded > 3 * known.expanded
    assert any("0 to 40 °C is assumed" in note for note in unknown.notes)
    assert lines(unknown)["temperature"] == pytest.approx(0.85 * 20 / sqrt(3) / 255)


def test_a_window_without_reference_temperature_is_judged_as_found():
    as_it_is = Criterion.winding(Window(0.7, 1.0), reference=None)
    assessment = Assessor(as_it_is, SPEC).assess(held(0.85))
    assert assessment.corrected == 0.85
    assert "temperature" not in lines(assessment)


def test_leads_that_nobody_took_off_only_add():
    """What is assumed of them is on one side: no verdict is clear that they could change."""
    good = Assessor(PRIMARY, SPEC, None, ROOM).assess(held(1.05))  # 0.90 ohm on 0.15 of leads
    assert good.corrected == pytest.approx(1.05 * 255 / 260)
    assert good.judgement.verdict is Verdict.ABOVE
    assert not good.judgement.clear
    assert good.judgement.probabilities[Verdict.IN_WINDOW] > 0.5
    low, high = good.interval
    assert low < good.corrected - 0.45
    assert high < good.corrected + 0.01
    assert good.expanded == pytest.approx(good.corrected - low)
    line = next(line for line in good.budget.components if line.name == "leads")
    assert line.assumed
    assert "from memory" in line.source
    # Below the window it stays below, whatever the leads have.
    assert Assessor(PRIMARY, SPEC, None, ROOM).assess(held(0.6)).judgement.clear


def test_a_switch_that_closes_is_clear_whatever_the_leads_have():
    assert Assessor(Criterion.closed(2.0)).assess(held(0.36)).judgement.clear


@pytest.mark.parametrize("digit", [0.0001, 0.001, 0.01])
def test_ordinary_careful_work_stays_clear(digit):
    """Lead zero taken, room known, nobody declared the accuracy: a value in mid-window is clear."""
    zero = LeadZero(value=0.1, resolution=digit)
    value = 0.1 + 0.85 * 260 / 255
    careful = Assessor(PRIMARY, (), zero, ROOM).assess(held(value, resolution=digit, u=digit))
    assert careful.judgement.clear


def test_what_is_assumed_can_be_replaced():
    own = Assumed(leads_at_least=0.10, leads_at_most=0.12, source="our own leads, measured once")
    judgement = Assessor(PRIMARY, SPEC, None, ROOM, assumed=own).assess(held(0.98)).judgement
    assert judgement.clear
    assert own.over(Assumed(drift=0.5, accuracy="2%+1")).drift == 0.5
    with pytest.raises(NotationError, match="lowest"):
        Assumed(leads_at_least=0.7)
    with pytest.raises(NotationError, match="0 to 1"):
        Assumed(offset_share=2.0)


def test_the_kind_of_meter_and_its_range_say_what_accuracy_is_assumed():
    told = Assumed()
    assert told.accuracy_at(0.85, 0.001, None).percent == 1.0
    assert told.accuracy_at(0.85, 1e-5, 100.0).percent == 0.1  # 10 million steps: a bench meter
    assert told.accuracy_at(2e6, 1e3, None).percent == 3.0
    assert "from memory" in told.accuracy_at(0.85, 0.0, None).source


def test_a_value_that_fits_another_winding_is_questioned_and_never_clear():
    secondary = Criterion.winding(Window(4e3, 7e3), reference=20.0)
    others = (("primary", PRIMARY),)
    assessor = Assessor(secondary, SPEC, LEADS, ROOM, others=others)
    judgement = assessor.assess(held(0.95)).judgement
    assert judgement.verdict is Verdict.SHORT
    assert not judgement.clear
    assert "reads like the primary winding" in judgement.advice
    # A winding with shorted turns is none of that.
    assert assessor.assess(held(2.2e3, resolution=1.0)).judgement.clear


def test_what_is_not_known_is_said():
    notes = Assessor(PRIMARY, ()).assess(held(0.85)).notes
    assert any("accuracy is not declared: 1 % and 3 counts is assumed" in note for note in notes)
    assert any("No lead zero" in note for note in notes)
    secondary = Criterion.winding(Window(4e3, 7e3), reference=None)
    assert Assessor(secondary, SPEC).assess(held(5e3)).notes == ()
    notes = Assessor(PRIMARY, SPEC, LEADS, ROOM).assess(held(0.85, resolution=0.0)).notes
    assert any("counts of the accuracy are left out" in note for note in notes)
    assert Assessor(PRIMARY, SPEC, LEADS, ROOM).assess(held(0.85)).notes == ()


def test_advice_fits_how_the_value_was_taken():
    coarse = (Accuracy(percent=0.1, counts=10),)
    near = held(1.003 * 260 / 255)
    assert (
        "Take the lead zero" in Assessor(PRIMARY, coarse, None, ROOM).assess(near).judgement.advice
    )
    with_zero = held(1.003 * 260 / 255 + 0.1)
    better = Assessor(PRIMARY, (Accuracy(percent=2.0),), LEADS, ROOM).assess(with_zero)
    assert "better meter" in better.judgement.advice
    assert "nobody took" in Assessor(PRIMARY, coarse, LEADS).assess(with_zero).judgement.advice
    unknown = Assessor(PRIMARY, (), LEADS, ROOM).assess(with_zero)
    assert "accuracy is not declared (1 % and 3 counts" in unknown.judgement.advice


def test_a_lead_zero_larger_than_the_reading_says_so():
    judgement = (
        Assessor(PRIMARY, SPEC, LeadZero(value=0.35, resolution=0.001), ROOM)
        .assess(held(0.1))
        .judgement
    )
    assert not judgement.clear
    assert judgement.advice.startswith("Hold the tips firmly together")


def test_a_lead_zero_of_another_range_is_named_before_its_size():
    far = LeadZero(value=2.0, resolution=0.1, range=1000.0)
    judgement = Assessor(PRIMARY, SPEC, far, ROOM, full_scale=10.0).assess(held(0.2)).judgement
    assert judgement.impossible
    assert judgement.advice.startswith("Take the lead zero again on this range")


def test_over_range_is_open_where_the_range_reaches_far_enough():
    far = Assessor(PRIMARY, SPEC, LEADS, ROOM, full_scale=100e3).assess_over_range()
    assert (far.judgement.verdict, far.judgement.clear) == (Verdict.OPEN, True)
    assert far.corrected is None


def test_over_range_of_a_small_range_does_not_tell_an_open_winding():
    secondary = Criterion.winding(Window(4e3, 7e3), reference=20.0)
    near = Assessor(secondary, SPEC, LEADS, ROOM, full_scale=400.0).assess_over_range()
    assert not near.judgement.clear
    assert "Choose a range that reaches" in near.judgement.advice
    assert sum(near.judgement.probabilities.values()) == pytest.approx(1.0)


def test_the_line_of_a_specification_is_that_of_the_range():
    table = tuple(Accuracy(percent=p, range=r) for p, r in ((1.0, 100.0), (0.5, 1e3), (0.8, 1e4)))
    assert accuracy_at(table, 50.0).percent == 1.0
    assert accuracy_at(table, 500.0).percent == 0.5
    assert accuracy_at(table, 50.0, 1e4).percent == 0.8
    assert accuracy_at(table, 5e6).percent == 0.8
    assert accuracy_at((*table, Accuracy(percent=2.0)), 5e6).percent == 2.0
    assert accuracy_at((), 1.0) is None
    # On a range that the maker did not list, the next larger one; 1 k and 1.1 k are two ranges.
    assert accuracy_at(table, 50.0, 5e3).percent == 0.8
    assert accuracy_at(table, 50.0, 1.1e3).percent == 0.8
    assert accuracy_at(table, 50.0, 1.0001e3).percent == 0.5


def test_percent_of_range_takes_the_full_scale():
    line = Accuracy(percent=0.01, of_range=0.004)
    assessor = Assessor(Criterion.part(Window(0.7, 1.0)), (line,), full_scale=100.0)
    found = lines(assessor.assess(held(0.9, resolution=0.0)))["meter"]
    assert found == pytest.approx((0.9e-4 + 4e-3) / sqrt(3))


def test_the_aim_lies_where_the_verdict_changes():
    assessor = Assessor(PRIMARY, SPEC, LEADS, ROOM, resolution=0.001)
    aim = assessor.aim()
    for edge in aim.edges:
        below, above = (
            assessor.assess(held(edge * (1 + e))).judgement.verdict for e in (-1e-9, 1e-9)
        )
        assert below is not above


@given(value=st.floats(0.01, 1e4), u=st.floats(0.0, 10.0))
def test_the_aims_uncertainty_is_the_budget_without_the_noise(value, u):
    assessor = Assessor(PRIMARY, SPEC, LEADS, ROOM, resolution=0.001)
    fixed = assessor.aim().u_fixed(value)
    whole = assessor.assess(held(value, u=u)).budget.u / (255 / 260)
    assert whole == pytest.approx(sqrt(fixed**2 + u**2), rel=1e-9)


@given(
    value=st.floats(0.05, 20.0),
    zero=st.floats(0.0, 0.04),
    u=st.floats(1e-5, 0.1),
    dof=st.floats(2, 50),
)
def test_ten_times_everything_gives_ten_times_the_answer(value, zero, u, dof):
    def assess(scale: float) -> Assessment:
        criterion = Criterion.winding(
            Window(0.7 * scale, 1.0 * scale), open_above=1e6 * scale, short_below=0.07 * scale
        )
        ohmic = Assumed(contact_at_most=0.01 * scale, thermal_emf=5e-6 * scale)
        leads = LeadZero(value=zero * scale, u=0.001 * scale, dof=5.0, resolution=0.001 * scale)
        return Assessor(criterion, SPEC, leads, ROOM, assumed=ohmic).assess(
            held(value * scale, resolution=0.001 * scale, u=u * scale, dof=dof)
        )

    one, ten = assess(1.0), assess(10.0)
    assert ten.corrected == pytest.approx(10 * one.corrected)
    assert ten.expanded == pytest.approx(10 * one.expanded, rel=1e-4)
    for verdict, probability in one.judgement.probabilities.items():
        assert ten.judgement.probabilities[verdict] == pytest.approx(probability, abs=1e-6)


@given(value=st.floats(-10, 1e7), resolution=st.floats(0, 1e3), u=st.floats(0, 1e3))
def test_no_value_breaks_the_assessment(value, resolution, u):
    judgement = (
        Assessor(PRIMARY, SPEC, LEADS)
        .assess(held(value, resolution=resolution, u=u, dof=3.0))
        .judgement
    )
    assert 0.0 <= judgement.probability <= 1.0
    assert judgement.clear or judgement.advice


@pytest.mark.parametrize("same_range", [True, False])
def test_the_stated_interval_covers_the_truth_by_monte_carlo(same_range):
    """The propagation of distributions (JCGM 101) through a simulated meter, leads and winding.

    Gain, offset and temperature are drawn afresh for each of 1000 meters and windings; the lead
    zero and the readings of one meter share its gain, and its offset where they share the range.
    """
    rng = np.random.default_rng(20)
    truth, trials, covered = 0.85, 1000, 0
    zero_step = 0.001 if same_range else 0.01
    for _ in range(trials):
        gain = 1 + rng.uniform(-0.008, 0.008)
        offset = rng.uniform(-0.003, 0.003)
        zero_offset = offset if same_range else rng.uniform(-0.03, 0.03)
        winding = truth * (235 + 25 + rng.uniform(-2, 2)) / 255
        readings = gain * (winding + 0.12) + offset + rng.normal(0, 0.002, 5)
        zeros = gain * 0.12 + zero_offset + rng.normal(0, 0.002, 5)
        shown = np.round(readings / 0.001) * 0.001
        zero = np.round(zeros / zero_step) * zero_step
        leads = LeadZero(
            value=float(zero.mean()),
            u=float(zero.std(ddof=1)) / sqrt(5),
            dof=4.0,
            resolution=zero_step,
        )
        assessment = Assessor(PRIMARY, SPEC, leads, ROOM).assess(
            held(float(shown.mean()), u=float(shown.std(ddof=1)) / sqrt(5), dof=4.0)
        )
        covered += abs(assessment.corrected - truth) <= assessment.expanded
    assert covered / trials >= 0.95


def test_the_type_checker_keeps_the_three_kinds_of_ohms_apart(tmp_path):
    # The wrong line is refused and the right one passes, by mypy itself.
    snippet = tmp_path / "mixed.py"
    snippet.write_text(
        "from meterlink.judging.correction import at_reference, without_leads\n"
        "from meterlink.quantities.units import AsRead\n"
        "at_reference(without_leads(AsRead(0.9), None), 25.0)\n"
        "at_reference(AsRead(0.9), 25.0)\n"
    )
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--cache-dir", tmp_path / "cache", snippet],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
        timeout=120,
    )
    wrong = [line for line in done.stdout.splitlines() if ": error:" in line]
    assert len(wrong) == 1
    assert ":4: error:" in wrong[0]
    assert "LeadCorrected" in wrong[0]


def test_an_aim_at_zero_works_too():
    aim = Assessor(Criterion.part(Window(0.0, None, "volt")), SPEC).aim()
    assert aim.edges == (0.0,)
    assert aim.u_fixed(1.0) == pytest.approx(0.008 / sqrt(3) * sqrt(1.01))  # a tenth of drift


def test_an_aim_follows_a_specification_by_ranges():
    table = (Accuracy(percent=1.0, range=10.0), Accuracy(percent=0.1, range=100.0))
    aim = Assessor(Criterion.closed(20.0), table, assumed=NOTHING_ASSUMED).aim()
    assert aim.u_fixed(9.0) == pytest.approx(0.09 / sqrt(3))
    assert aim.u_fixed(50.0) == pytest.approx(0.05 / sqrt(3))


@pytest.mark.parametrize(
    ("value", "clear"),
    [(0.851379, True), (0.9, False), (0.0, False)],
)
def test_digits_that_may_not_have_been_seen_leave_a_verdict_open(value, clear):
    """0.9 without a word on the last digit may come from a meter that only knows tenths."""
    criterion = Criterion.winding(Window(0.87, 1.0), reference=None, short_below=0.2)
    assessor = Assessor(criterion, (), assumed=NOTHING_ASSUMED)
    assessment = assessor.assess(held(value, resolution=0.0, u=1e-6, dof=5.0))
    assert assessment.judgement.clear is clear


@pytest.mark.parametrize(("step_at_most", "clear"), [(0.0, True), (0.005, True), (0.1, False)])
def test_readings_that_repeat_without_a_known_step_leave_a_verdict_near_an_edge_open(
    step_at_most, clear
):
    criterion = Criterion.winding(Window(0.87, 1.0), reference=None, short_below=0.2)
    told = structs.replace(
        held(0.851379, resolution=0.0, u=1e-6, dof=5.0), step_at_most=step_at_most
    )
    assessor = Assessor(criterion, (), assumed=NOTHING_ASSUMED)
    assert assessor.assess(told).judgement.clear is clear
