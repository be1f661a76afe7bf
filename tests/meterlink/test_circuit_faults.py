"""Faults made in the circuit, and what every check of the fault table shows of them."""

from collections import Counter

import numpy as np
import pytest

from meterlink.circuit.engine import EngineCondition
from meterlink.circuit.faults import HOT_C, afflict, fault_names
from meterlink.circuit.spark import TEST_GAP_KV, spark_kv, sparks, stop_path
from meterlink.circuit.wiring import resistance_between
from meterlink.circuit.workshop import Workshop
from meterlink.errors import UsageError
from meterlink.finding.model import Model
from meterlink.finding.search import follow, once
from meterlink.finding.table import shipped_table
from tests.meterlink.circuit_patients import Intake, demo_profile, sound_engine

TABLE = shipped_table()
PROFILE = demo_profile()
MODELS = {complaint: Model(TABLE, complaint) for complaint in TABLE.complaints}
PAIRS = [(c, suspect.name) for c, model in MODELS.items() for suspect in model.suspects]
CRACKED_AND_HOT = ("dies-hot", "weak-or-cracked-magnet")
SPARK_AND_YET = {"key-sheared-or-missing", "plug-bad", "none"}
"""With these a spark jumps the test gap, and the engine doesn't run."""


def workshop(fault: str, complaint: str, seed: int) -> Workshop:
    rng = np.random.default_rng(seed)
    return Workshop(afflict(sound_engine(rng), fault, complaint, rng), PROFILE)


def outcomes(fault: str, complaint: str, check: str, draws: int = 60) -> Counter[str]:
    return Counter(workshop(fault, complaint, seed).answer(check) for seed in range(draws))


@pytest.mark.parametrize(("complaint", "fault"), PAIRS)
def test_every_fault_can_be_made_and_every_check_done(complaint: str, fault: str) -> None:
    for seed in range(12):
        shop = workshop(fault, complaint, seed)
        for name, node in MODELS[complaint].nodes.items():
            understood = TABLE.understands(name)
            assert understood is not None
            assert shop.answer(name) in understood, (name, node.say)


@pytest.mark.parametrize(("complaint", "fault"), PAIRS)
def test_the_engine_has_the_complaint_that_it_came_in_with(complaint: str, fault: str) -> None:
    for seed in range(40):
        shop = workshop(fault, complaint, seed)
        if complaint == "wont-stop":
            assert shop.answer("stop-check") == "runs-on"
            assert shop.answer("spark-at-gap") == "yes"
            # The engine that runs on is the one that was started.
            assert shop.answer("start") == "yes"
            assert shop.answer("trial-run") == "fault"
        else:
            assert (shop.answer("spark-at-gap") == "yes") == (fault in SPARK_AND_YET), seed
            assert shop.answer("start") == "no"
            assert shop.answer("stop-check") == "cannot-tell"


def test_a_sound_engine_passes_every_check() -> None:
    shop = workshop("none", "no-spark", 1)
    shop = Workshop(shop.patient.put_right("outside the ignition"), PROFILE)
    found = {check: shop.answer(check) for check in shop.checks}
    assert found == {
        "spark-at-gap": "yes",
        "spark-with-stop-isolated": "yes",
        "spark-without-stop-switch": "yes",
        "spark-with-control-at-stop": "no",
        "spark-with-terminal-earthed": "no",
        "plug-condition": "good",
        "primary-resistance": "in-window",
        "secondary-resistance": "in-window",
        "lead-resistance": "in-window",
        "insulation": "passed",
        "stop-switch": "passed",
        "stop-wire-watch": "none",
        "earth-path": "good",
        "air-gap": "in-window",
        "magnet-pull": "strong",
        "flywheel-key": "whole",
        "magnet-cracks": "none",
        "soak": "steady",
        "spark-with-gap-set": "yes",
        "spark-with-earth-bridged": "no",
        "spark-with-good-lead": "no",
        "substitution-module": "yes",
        "spark-again": "yes",
        "start": "yes",
        "stop-check": "stops",
        "trial-run": "good",
    }


@pytest.mark.parametrize(
    ("fault", "check", "mostly"),
    [
        ("open-primary", "primary-resistance", "open"),
        ("shorted-primary", "primary-resistance", "short"),
        ("open-secondary", "secondary-resistance", "open"),
        ("shorted-turns", "primary-resistance", "in-window"),
        ("leaking-insulation", "secondary-resistance", "in-window"),
        ("module-faulty", "primary-resistance", "in-window"),
        ("bad-lead-or-cap", "lead-resistance", "open"),
        ("stop-switch-stuck-closed", "stop-switch", "stuck-closed"),
        ("stop-switch-stuck-closed", "spark-with-stop-isolated", "yes"),
        ("stop-wire-chafed", "stop-wire-watch", "some"),
        ("stop-wire-chafed", "spark-with-stop-isolated", "yes"),
        ("poor-earth", "earth-path", "poor"),
        ("weak-or-cracked-magnet", "magnet-pull", "weak"),
        ("key-sheared-or-missing", "flywheel-key", "sheared"),
        ("wrong-air-gap", "air-gap", "above"),
        ("plug-bad", "plug-condition", "fouled"),
        ("module-faulty", "substitution-module", "yes"),
        ("poor-earth", "substitution-module", "no"),
    ],
)
def test_what_tells_of_a_fault_shows_it(fault: str, check: str, mostly: str) -> None:
    """The commonest outcome is the one that the fault table holds likeliest, too."""
    seen = outcomes(fault, "no-spark", check)
    assert seen.most_common(1)[0][0] == mostly


@pytest.mark.parametrize(
    ("complaint", "fault", "check", "others"),
    [
        ("wont-stop", "module-faulty", "spark-with-terminal-earthed", "no"),
        ("dies-hot", "wrong-air-gap", "spark-with-gap-set", "no"),
        ("no-spark", "wrong-air-gap", "spark-with-gap-set", "no"),
        ("dies-hot", "poor-earth", "spark-with-earth-bridged", "no"),
        ("dies-hot", "bad-lead-or-cap", "spark-with-good-lead", "no"),
        ("dies-hot", "stop-switch-stuck-closed", "spark-without-stop-switch", "no"),
    ],
)
def test_a_trial_brings_the_spark_back_for_its_own_fault_alone(
    complaint: str, fault: str, check: str, others: str
) -> None:
    without_spark = {f for c, f in PAIRS if c == complaint} - SPARK_AND_YET
    assert set(outcomes(fault, complaint, check, 20)) == {"yes"}
    for other in without_spark - {fault}:
        assert set(outcomes(other, complaint, check, 5)) == {others}, other


def test_a_control_at_stop_leaves_the_spark_unless_the_stop_circuit_is_whole() -> None:
    for complaint, fault in PAIRS:
        if complaint == "wont-stop":
            expected = "no" if fault == "none" else "yes"
            assert set(outcomes(fault, complaint, "spark-with-control-at-stop", 20)) == {expected}


def test_a_clip_lead_left_on_the_terminal_makes_a_good_primary_read_short() -> None:
    engine = sound_engine(np.random.default_rng(1))
    lies = EngineCondition(controls={"stop wire": "off", "clip lead": "terminal to laminations"})
    read = resistance_between(engine, lies, "primary terminal", "laminations")
    # Worked by hand: 0.05 ohm beside the primary.
    primary = engine.primary.ohms
    assert primary is not None
    assert read == pytest.approx(primary * 0.05 / (primary + 0.05))


def test_an_engine_with_a_wrong_gap_that_dies_hot_still_sparks_cold() -> None:
    for seed in range(40):
        shop = workshop("wrong-air-gap", "dies-hot", seed)
        assert sparks(shop.patient.cold, EngineCondition(controls={"stop switch": "run"}))
        assert shop.answer("air-gap") in {"below", "above"}


def test_a_fault_that_comes_with_heat_is_gone_on_the_bench() -> None:
    cold = outcomes("open-secondary", "dies-hot", "secondary-resistance")
    assert cold["in-window"] > cold["open"]
    assert outcomes("open-secondary", "dies-hot", "soak")["opens-hot"] > 30
    assert set(outcomes("module-faulty", "dies-hot", "soak")) == {"steady"}


def test_a_wire_that_parts_when_moved_is_seen_by_the_watch_alone() -> None:
    seen = Counter(
        (shop.answer("stop-switch"), shop.answer("stop-wire-watch"))
        for shop in (workshop("stop-wire-chafed", "wont-stop", seed) for seed in range(60))
    )
    assert set(seen) == {("passed", "some"), ("never-closes", "some")}


def test_what_does_not_exist_is_said() -> None:
    rng = np.random.default_rng(1)
    engine = sound_engine(rng)
    with pytest.raises(UsageError, match="there is no fault “rust”"):
        afflict(engine, "rust", "no-spark", rng)
    with pytest.raises(UsageError, match="there is no check “smell”"):
        workshop("none", "no-spark", 1).answer("smell")
    assert "brake-switch-stuck-closed" not in fault_names(engine)
    assert "brake-switch-stuck-closed" in fault_names(sound_engine(rng, "brake switch"))


def test_the_same_seed_draws_the_same_engine() -> None:
    one, other = (workshop("bad-lead-or-cap", "no-spark", 7).patient for _ in range(2))
    assert one == other


def test_a_closed_stop_switch_takes_the_spark_and_the_wire_off_gives_it_back() -> None:
    engine = sound_engine(np.random.default_rng(1))
    stopped = EngineCondition(controls={"plug lead": "off", "stop switch": "stop"})
    running = stopped.move("stop switch", "run", engine)
    off = stopped.move("stop wire", "off", engine)
    assert not sparks(engine, stopped)
    assert sparks(engine, running)
    assert sparks(engine, off)
    assert stop_path(engine, stopped) < 1.0
    assert stop_path(engine, running) == float("inf")


def test_heat_takes_the_spark_of_a_winding_that_opens() -> None:
    rng = np.random.default_rng(1)
    patient = afflict(sound_engine(rng), "open-primary", "dies-hot", rng)
    running = EngineCondition(controls={"plug lead": "off", "stop switch": "run"})
    hot = EngineCondition(winding_c=HOT_C, controls=running.controls)
    assert spark_kv(patient.cold, running) > TEST_GAP_KV
    assert spark_kv(patient.hot, hot) == 0.0


@pytest.mark.parametrize(("complaint", "fault"), PAIRS)
def test_following_the_advice_finds_every_fault_of_the_table(complaint: str, fault: str) -> None:
    """The shares over thousands of engines are in the benchmarks; this holds each way open."""
    model = MODELS[complaint]
    place = next(s.place for s in model.suspects if s.name == fault)
    found = sum(
        follow(model, workshop(fault, complaint, seed).answer, once).place == place
        for seed in range(12)
    )
    # A magnet cracked in its seat that still pulls leaves the armature just over 95 % probable,
    # which is where the advice stops: to see that crack, the flywheel has to come off.
    assert found >= (10 if (complaint, fault) == CRACKED_AND_HOT else 12)


def test_following_the_advice_finds_faults_as_they_come_in() -> None:
    intake = Intake(seed=3)
    found = 0
    for _ in range(100):
        model, patient, place = intake.draw()
        found += follow(model, Workshop(patient, PROFILE).answer, once).place == place
    assert found >= 97
