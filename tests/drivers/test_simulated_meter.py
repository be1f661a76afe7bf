"""The physics of the virtual meter, one effect at a time."""

import itertools
import threading
from collections.abc import Callable
from math import inf, isinf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from drivers.clock import VirtualClock, VirtualPace
from drivers.simulated.meter import MeterCharacter, VirtualMeter
from drivers.simulated.world import (
    Body,
    ContactModel,
    Flicker,
    MeterInput,
    TipContact,
    Wander,
    World,
)
from meterlink.circuit.engine import Engine, EngineCondition, EngineSwitch, EngineWinding, StopWire
from meterlink.quantities.units import Ohms, Seconds
from meterlink.reading import Quantity

ENGINE = Engine(
    name="portable pump set",
    primary=EngineWinding(ohms=Ohms(0.86), henries=0.003),
    secondary=EngineWinding(ohms=Ohms(5200.0), henries=9.0),
    switch=(EngineSwitch(name="stop switch", positions={"stop": "closed", "run": "open"}),),
)
APART = EngineCondition(controls={"stop wire": "off", "plug lead": "off"})
STILL = ContactModel(contact=Ohms(0.004), wander=0.0, first=Ohms(0.0), bounce=Seconds(0.0))
EXACT = MeterCharacter(
    percent=0, accuracy_counts=0, noise_counts=0, noise_share=0, hum_share=0, drift_share=0
)


class Step(World):
    """A world whose sockets follow a function of time and nothing else."""

    def __init__(self, ohms: Callable[[float], float], henries: float = 0.0) -> None:
        super().__init__(ENGINE, APART, np.random.default_rng(0))
        self._ohms = ohms
        self._henries = henries

    def quiet(self, t: float) -> bool:
        return False

    def look(self, t: float) -> MeterInput:
        return MeterInput(self._ohms(t), self._ohms(t), self._henries)


def meter_on(world: World, character: MeterCharacter = EXACT, seed: int = 1) -> VirtualMeter:
    clock = VirtualClock()
    pace = VirtualPace(clock, threading.Event())
    return VirtualMeter(world, pace, np.random.default_rng(seed), character)


def fixed(ohms: float, character: MeterCharacter = EXACT, seed: int = 1) -> VirtualMeter:
    return meter_on(Step(lambda _: ohms), character, seed)


def engine_world(touch: ContactModel = STILL, seed: int = 1, leads: float = 0.1) -> World:
    rng = np.random.default_rng(seed)
    return World(ENGINE, APART, rng, touchiness=touch, leads=leads)


@pytest.mark.parametrize("ohms", [0.0, 0.8421, 9.9, 57.3, 5321.0, 1.1999e6, 3.3e7])
def test_a_meter_without_errors_reads_what_is_there_to_the_last_digit(ohms: float) -> None:
    meter = fixed(ohms)
    settled = [meter.measure() for _ in range(30)][-1]
    assert settled.value == pytest.approx(ohms, abs=0.501 * settled.resolution)
    assert settled.resolution == settled.range / 100_000
    assert settled.value / settled.resolution == pytest.approx(
        round(settled.value / settled.resolution)
    )


@pytest.mark.parametrize(
    ("ohms", "full_scale"), [(0.5, 10), (10.7, 10), (12.1, 100), (5200, 10_000), (inf, 1e8)]
)
def test_autorange_ends_on_the_smallest_range_that_holds_it(ohms: float, full_scale: float) -> None:
    meter = fixed(ohms)
    for _ in range(20):
        sample = meter.measure()
    assert sample.range == full_scale
    assert sample.overload == isinf(ohms)


def test_autorange_takes_time_that_a_fixed_range_does_not() -> None:
    spent = []
    for fixed_range in (False, True):
        clock = VirtualClock()
        pace = VirtualPace(clock, threading.Event())
        meter = VirtualMeter(Step(lambda _: 0.9), pace, np.random.default_rng(1), EXACT)
        if fixed_range:
            assert meter.choose_range(1.0)
        meter.measure()
        assert meter.measure().value == pytest.approx(0.9, rel=0.05)
        spent.append(clock.now())
    steps_down = len(EXACT.ranges) - 1
    assert spent[0] == pytest.approx(2 * 0.022 + steps_down * (EXACT.range_change + 0.022))
    assert spent[1] == pytest.approx(2 * 0.022)


def test_a_fixed_range_goes_over_at_its_limit() -> None:
    for ohms, overload in ((11.99, False), (12.01, True)):
        meter = fixed(ohms)
        assert meter.choose_range(10.0)
        sample = [meter.measure() for _ in range(20)][-1]
        assert (sample.overload, sample.range) == (overload, 10.0)


def test_no_range_holds_more_than_the_largest() -> None:
    assert not fixed(1.0).choose_range(1.0001e8)


def test_noise_falls_with_the_square_root_of_the_integration_time() -> None:
    character = MeterCharacter(
        percent=0, accuracy_counts=0, hum_share=0, drift_share=0, noise_counts=5.0, noise_share=0
    )
    spreads = []
    for nplc in (1.0, 25.0):
        meter = fixed(5.0, character)
        meter.choose_range(10.0)
        meter.nplc = nplc
        values = [meter.measure().value for _ in range(420)][20:]
        spreads.append(float(np.std(values)))
    assert spreads[0] == pytest.approx(5 * 1e-4, rel=0.15)
    assert spreads[0] / spreads[1] == pytest.approx(5.0, rel=0.2)


@pytest.mark.parametrize(("nplc", "hum"), [(1.0, False), (2.0, False), (0.2, True), (1.5, True)])
def test_hum_is_gone_at_whole_cycles_only(nplc: float, hum: bool) -> None:
    character = MeterCharacter(
        percent=0, accuracy_counts=0, noise_counts=0, noise_share=0, drift_share=0, hum_share=1e-3
    )
    meter = fixed(5.0, character)
    meter.choose_range(10.0)
    meter.nplc = nplc
    values = [meter.measure().value for _ in range(60)][30:]
    assert (float(np.std(values)) > 1e-4) == hum


def test_short_integration_costs_a_digit() -> None:
    meter = fixed(5.0)
    meter.choose_range(10.0)
    meter.nplc = 0.1
    assert meter.measure().resolution == pytest.approx(1e-3)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), ohms=st.sampled_from([0.9, 8.0, 5200.0]))
def test_the_meter_keeps_its_published_accuracy(seed: int, ohms: float) -> None:
    """The mean of many readings lies within percent of reading plus counts, for every meter."""
    character = MeterCharacter(percent=0.05, accuracy_counts=6.0)
    meter = fixed(ohms, character, seed)
    meter.choose_range(ohms)
    values = [meter.measure().value for _ in range(60)][20:]
    allowed = ohms * character.percent / 100 + character.accuracy_counts * meter.resolution
    assert abs(float(np.mean(values)) - ohms) <= allowed


def test_two_wires_see_the_leads_and_four_do_not() -> None:
    world = engine_world(leads=0.25)
    world.land(0.0, "primary terminal", "laminations")
    meter = meter_on(world)
    meter.choose_range(10.0)
    two = [meter.measure().value for _ in range(40)][-1]
    meter.four_wire = True
    four = [meter.measure().value for _ in range(40)][-1]
    assert two == pytest.approx(0.86 + 0.25 + 2 * 0.004, abs=2e-4)
    assert four == pytest.approx(0.86, abs=2e-4)


@pytest.mark.parametrize(
    ("ohms", "henries", "farads"), [(0.86, 0.02, 0.0), (5200.0, 90.0, 0.0), (4e7, 0.0, 1e-9)]
)
def test_a_step_settles_with_the_time_constant_of_input_and_part(
    ohms: float, henries: float, farads: float
) -> None:
    """Off by exp(-t/T) of the step: T is the input's own, plus L/R, plus R*C."""
    character = MeterCharacter(
        **{f: getattr(EXACT, f) for f in ("percent", "noise_counts", "noise_share", "hum_share")},
        accuracy_counts=0,
        drift_share=0,
        picofarads=farads * 1e12,
        nplc=0.02,
        counts=10_000_000,
    )
    meter = meter_on(Step(lambda _: ohms, henries), character)
    meter.choose_range(ohms)
    samples = [meter.measure() for _ in range(4000)]
    lag = 0.004 + henries / ohms + ohms * farads
    off = [(s.t, s.value / ohms - 1) for s in samples if not s.overload and s.value / ohms > 1.05]
    (t0, first), (t1, last) = off[0], off[-1]
    assert (t1 - t0) / np.log(first / last) == pytest.approx(lag, rel=0.1)


def test_a_reading_during_a_bounce_is_neither_the_part_nor_over_range() -> None:
    meter = meter_on(Step(lambda t: 5.0 if t % 0.02 < 0.016 else inf))
    meter.choose_range(10.0)
    values = [meter.measure().value for _ in range(40)][20:]
    assert all(value > 5.5 or isinf(value) for value in values)


def test_volts_read_nothing_on_a_dead_circuit() -> None:
    meter = fixed(5.0)
    meter.quantity = Quantity.VOLTAGE
    sample = meter.measure()
    assert sample.quantity is Quantity.VOLTAGE
    assert abs(sample.value) < 1e-3


# --- contacts, hands and world ---------------------------------------------------------------


def test_a_landing_tip_bounces_beds_in_and_then_stays() -> None:
    touch = ContactModel(bounce=Seconds(0.06), first=Ohms(0.3), wander=0.0)
    contact = TipContact(np.random.default_rng(3), 1.0, touch)
    times = np.arange(0.9, 3.0, 0.001)
    ohms = [contact.ohms(float(t)) for t in times]
    before = [o for t, o in zip(times, ohms, strict=True) if t < 1.0]
    bouncing = [o for t, o in zip(times, ohms, strict=True) if 1.0 <= t < 1.09]
    later = [o for t, o in zip(times, ohms, strict=True) if t >= 2.0]
    assert all(map(isinf, before))
    assert any(map(isinf, bouncing))
    assert not all(map(isinf, bouncing))
    assert later == pytest.approx([0.004] * len(later), rel=1e-3)


def test_a_hand_that_slips_does_so_about_as_often_as_said() -> None:
    touch = ContactModel(dropouts=2.0, dropout=Seconds(0.05))
    contact = TipContact(np.random.default_rng(5), 0.0, touch)
    off = [isinf(contact.ohms(t)) for t in np.arange(1.0, 201.0, 0.002).tolist()]
    starts = sum(b and not a for a, b in itertools.pairwise(off))
    # Mean cycle 0.5 s on and 0.05 s off, 200 s: 364 expected, standard deviation below 19.
    assert 300 < starts < 430
    assert np.mean(off) == pytest.approx(0.05 / 0.55, rel=0.25)


def test_wander_has_the_spread_and_memory_that_it_says() -> None:
    """Standard deviation one, correlation exp(-1) after one time constant."""
    wander = Wander(np.random.default_rng(7), 0.0, 0.3)
    values = np.array([wander.at(t) for t in np.arange(0.0, 600.0, 0.1).tolist()])
    assert np.std(values) == pytest.approx(1.0, rel=0.1)
    assert np.corrcoef(values[:-3], values[3:])[0, 1] == pytest.approx(np.exp(-1), abs=0.08)


def test_fingers_press_now_more_now_less() -> None:
    body = Body(np.random.default_rng(1))
    assert isinf(body.ohms(0.0))
    body.grip(480e3)
    values = [body.ohms(t) for t in np.arange(0.0, 60.0, 0.5).tolist()]
    assert np.mean(values) == pytest.approx(480e3, rel=0.02)
    assert 0.005 < np.std(values) / 480e3 < 0.03


@given(st.lists(st.floats(0, 100), min_size=1, max_size=50))
def test_a_flicker_is_on_outside_of_its_time(times: list[float]) -> None:
    flicker = Flicker(np.random.default_rng(1), 20.0, 0.01, 0.01, 30.0)
    for t in sorted(times):
        if t < 20.0 or t >= 30.0:
            assert flicker.on(t)


def test_a_flicker_keeps_its_share_over_hours() -> None:
    flicker = Flicker(np.random.default_rng(2), 0.0, 0.3, 0.1, inf)
    on = [flicker.on(t) for t in np.arange(0.0, 7200.0, 0.25).tolist()]
    assert np.mean(on) == pytest.approx(0.75, abs=0.02)


def test_windings_cool_towards_the_room() -> None:
    warm = EngineCondition(winding_c=80.0)
    world = World(ENGINE, warm, np.random.default_rng(1), ambient_c=20.0, cooling_s=100.0)
    assert world.winding_c(0.0) == 80.0
    assert world.winding_c(100.0) == pytest.approx(20 + 60 / np.e)
    world.warm(100.0, 120.0, 50.0)
    assert world.winding_c(150.0) == pytest.approx(120 + (20 + 60 / np.e - 120) / np.e)


def test_a_switch_bounces_as_it_moves_and_then_stands() -> None:
    world = engine_world()
    world.land(0.0, "stop wire", "block")
    world.look(1.0)
    world.move(1.0, "stop switch", "run")
    moving = [isinf(world.look(1.0 + ms / 1000).two_wire) for ms in range(25)]
    assert True in moving
    assert False in moving
    assert isinf(world.look(1.1).two_wire)


def test_a_chafed_wire_shows_at_moments_while_it_is_moved_and_never_else() -> None:
    engine = replace(ENGINE, stop_wire=StopWire(chafe=Ohms(0.4), chafes="moved"))
    run = APART.move("stop switch", "run", ENGINE)
    world = World(engine, run, np.random.default_rng(4), touchiness=STILL, leads=0.1)
    world.land(0.0, "stop wire", "block")
    still = [world.look(t).two_wire for t in np.arange(1.0, 5.0, 0.01).tolist()]
    world.flex(5.0, 10.0)
    moved = [world.look(t).two_wire for t in np.arange(5.0, 15.0, 0.01).tolist()]
    after = [world.look(t).two_wire for t in np.arange(15.0, 20.0, 0.01).tolist()]
    assert all(map(isinf, still + after))
    share = sum(not isinf(ohms) for ohms in moved) / len(moved)
    assert 0.02 < share < 0.4
    assert min(moved) == pytest.approx(0.4 + 0.04 + 0.1 + 0.008, abs=1e-3)


def test_rust_is_unsteady_and_bare_metal_is_not() -> None:
    spreads = []
    for place in ("rusty laminations", "laminations"):
        world = engine_world(ContactModel())
        world.land(0.0, "primary terminal", place)
        values = [world.look(t).two_wire for t in np.arange(2.0, 12.0, 0.05).tolist()]
        spreads.append(float(np.std(values)))
    assert spreads[0] > 1.0
    assert spreads[1] < 0.005
