"""The simulated bench over real lines: a plain socket, then the program's own driver."""

import os
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice, pairwise
from math import isinf

import numpy as np
import pytest

from drivers.clock import MonotonicClock
from drivers.opening import open_source
from drivers.simulated.bench import LineFault, LineFaults, SimulatedBench
from drivers.simulated.scenario import load_scenario, scenario_names
from meterlink.circuit.faults import afflict
from meterlink.circuit.wiring import resistance_between
from meterlink.errors import MeterError
from meterlink.events import CardEnded, StepBegan, Zeroed
from meterlink.source import MeterSetup

GOOD = load_scenario("spring-service")


class Client:
    """A plain socket that asks a line and reads a line."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), 5.0)
        self._file = self._socket.makefile("rb")

    def send(self, data: bytes) -> None:
        self._socket.sendall(data)

    def tell(self, line: str) -> None:
        self.send(line.encode() + b"\n")

    def ask(self, line: str) -> str:
        self.tell(line)
        return self._file.readline().decode().strip()

    def close(self) -> None:
        self._file.close()
        self._socket.close()


@contextmanager
def plugged_in(seed: int = 1) -> Iterator[tuple[SimulatedBench, Client]]:
    with SimulatedBench(GOOD, seed=seed) as bench:
        client = Client(bench.tcp_port)
        try:
            yield bench, client
        finally:
            client.close()


def test_it_says_who_it_is() -> None:
    with plugged_in() as (_, client):
        maker, model, serial, firmware = client.ask("*IDN?").split(",")
    assert (maker, model, serial) == ("meterlink", "simulated bench meter", "0")
    assert firmware


def test_probes_in_the_air_read_over_range() -> None:
    with plugged_in() as (_, client):
        assert float(client.ask("MEAS:RES?")) == 9.9e37


def test_hands_put_the_tips_where_a_person_says() -> None:
    with plugged_in() as (bench, client):
        client.tell("CONF:RES 10")
        bench.hands.place("primary terminal", "laminations")
        reads = [float(client.ask("READ?")) for _ in range(60)]
        bench.hands.lift()
        lifted = float(client.ask("READ?;READ?").split(";")[-1])
    copper = (235 + 14) / (235 + 20)
    assert reads[-1] == pytest.approx(0.862 * copper + 0.128, abs=0.03)
    assert lifted == 9.9e37


def test_the_same_seed_reads_the_same_and_another_does_not() -> None:
    def run(seed: int) -> list[str]:
        with plugged_in(seed) as (bench, client):
            bench.hands.notice(StepBegan(t=0.0, step="primary"))
            return [client.ask("READ?") for _ in range(120)]

    assert run(5) == run(5)
    assert run(5) != run(6)


def test_a_burst_is_one_answer_and_takes_its_time() -> None:
    with plugged_in() as (bench, client):
        client.ask("CONF:RES 10;:SAMP:COUN 8;*OPC?")
        before = bench.clock.now()
        assert len(client.ask("READ?").split(",")) == 8
        assert bench.clock.now() - before == pytest.approx(8 * (0.02 + 0.002))


def test_one_client_after_another_is_served() -> None:
    with SimulatedBench(GOOD) as bench:
        for _ in range(3):
            client = Client(bench.tcp_port)
            client.send(b"*ID")  # half a message that nobody ends
            client.close()
        client = Client(bench.tcp_port)
        assert client.ask("SYST:ERR?").startswith("+0,")
        client.close()


def test_closing_frees_the_port_and_ends_the_thread() -> None:
    before = threading.active_count()
    with SimulatedBench(GOOD) as bench:
        port = bench.tcp_port
    bench.close()
    assert threading.active_count() == before
    with SimulatedBench(GOOD, tcp_port=port) as again:
        assert again.tcp_port == port
        with pytest.raises(MeterError, match=f"port {port} of this computer is taken"):
            SimulatedBench(GOOD, tcp_port=port).__enter__()


def test_the_line_goes_wrong_when_told_to() -> None:
    with plugged_in() as (bench, client):
        bench.trouble(LineFault(what=LineFaults.NOT_A_NUMBER, after=1))
        assert [float(client.ask("READ?")) for _ in range(3)] == [9.9e37, 9.91e37, 9.9e37]
        bench.trouble(LineFault(what=LineFaults.DROP))
        assert client.ask("READ?") == ""


def test_the_program_s_driver_reads_it() -> None:
    with SimulatedBench(GOOD, seed=2) as bench:
        source = open_source(bench.port, clock=bench.clock)
        try:
            assert source.identity.model == "simulated bench meter"
            setting = source.prepare(MeterSetup(expected=1.0))
            assert (setting.range, setting.lost) == (10.0, ())
            bench.hands.place("other tip", "other tip")
            readings = list(islice(source.readings(threading.Event()), 60))
        finally:
            source.close()
    assert readings[-1].value == pytest.approx(0.128 + 0.004, abs=0.005)
    assert readings[-1].resolution == pytest.approx(1e-4)
    steps = [b.t - a.t for a, b in pairwise(readings)]
    assert steps == pytest.approx([0.022] * len(steps))


def test_the_program_s_driver_reads_it_over_a_pseudo_terminal() -> None:
    pytest.importorskip("pty", reason="this system has no pseudo-terminals")
    with SimulatedBench(GOOD, seed=2) as bench:
        source = open_source(bench.serial_device(), clock=bench.clock)
        try:
            source.prepare(MeterSetup(expected=7000.0))
            bench.hands.place("plug lead", "laminations")
            readings = list(islice(source.readings(threading.Event()), 60))
        finally:
            source.close()
    cold = (235 + 14) / (235 + 20)
    assert readings[-1].value == pytest.approx(5320 * cold, rel=2e-3)


def test_a_run_with_the_real_clock_takes_real_time_and_ends_at_once() -> None:
    clock = MonotonicClock()
    with SimulatedBench(GOOD, clock=clock) as bench:
        client = Client(bench.tcp_port)
        client.ask("CONF:RES 10;*OPC?")
        before = clock.now()
        client.ask("READ?;READ?")
        assert clock.now() - before >= 2 * 0.02
        client.ask("RES:NPLC 100;*OPC?")
        client.tell("READ?")  # two seconds long
        ended = clock.now()
        bench.close()
        client.close()
    assert clock.now() - ended < 1.5


@pytest.mark.parametrize("name", scenario_names())
def test_every_scenario_that_ships_is_valid(name: str) -> None:
    scenario = load_scenario(name)
    assert scenario.id == name
    assert scenario.hands.steps


def test_scripted_hands_do_a_step_and_lift_after_the_lead_zero() -> None:
    with SimulatedBench(GOOD, seed=4) as bench:
        client = Client(bench.tcp_port)
        client.ask("CONF:RES 10;*OPC?")
        bench.hands.notice(StepBegan(t=0.0, step="lead-zero"))
        touched = 0
        while touched < 20:
            touched += float(client.ask("READ?")) < 9e37
            assert bench.clock.now() < 5.0
        assert bench.world.touching == ("other tip", "other tip")
        bench.hands.notice(
            Zeroed(t=0.0, step="lead-zero", value=0.13, u=0.0, dof=8.0, resolution=0.0)
        )
        while bench.world.touching != ("air", "air"):
            client.ask("READ?")
            assert bench.clock.now() < 8.0
        bench.hands.notice(CardEnded(t=0.0, card="x"))
        assert bench.hands.take_said() == []
        client.close()


def test_closing_does_not_wait_for_a_client_that_does_not_read() -> None:
    pytest.importorskip("pty", reason="this system has no pseudo-terminals")
    with SimulatedBench(GOOD) as bench:
        line = os.open(bench.serial_device(), os.O_RDWR | os.O_NOCTTY)
        os.write(line, b"SAMP:COUN 6000;:READ?\n")
        assert os.read(line, 1) == b"+"  # far more than the line holds is on its way
        bench.close()
        os.close(line)


@pytest.mark.parametrize("what", [LineFaults.RUBBISH, LineFaults.DROP])
def test_the_program_s_driver_says_what_is_wrong_with_the_line(
    what: LineFaults, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("drivers.scpi.conversation.ANSWER_S", 0.3)
    with SimulatedBench(GOOD) as bench:
        source = open_source(bench.port, clock=bench.clock)
        try:
            readings = source.readings(threading.Event())
            next(readings)
            bench.trouble(LineFault(what=what, times=10))
            with pytest.raises(MeterError, match=r"127\.0\.0\.1"):
                list(islice(readings, 5))
        finally:
            bench.trouble(None)
            source.close()


def test_the_program_s_driver_passes_a_not_a_number_on() -> None:
    with SimulatedBench(GOOD) as bench:
        source = open_source(bench.port, clock=bench.clock)
        try:
            readings = source.readings(threading.Event())
            next(readings)
            bench.trouble(LineFault(what=LineFaults.NOT_A_NUMBER))
            first, second = islice(readings, 2)
        finally:
            source.close()
    assert first.value != first.value
    assert second.overload


@pytest.mark.parametrize(
    "fault", ["shorted-primary", "shorted-turns", "open-secondary", "poor-earth", "plug-bad"]
)
def test_an_engine_with_a_fault_reads_through_the_driver_as_its_circuit_says(fault: str) -> None:
    rng = np.random.default_rng(11)
    engine = afflict(GOOD.engine, fault, "no-spark", rng).cold
    scenario = GOOD.with_engine(engine)
    apart = scenario.condition()
    pairs = [
        ("primary terminal", "laminations"),
        ("plug lead", "laminations"),
        ("laminations", "block"),
        ("plug terminal", "block"),
    ]
    with SimulatedBench(scenario, seed=3) as bench:
        source = open_source(bench.port, clock=bench.clock)
        try:
            for pair in pairs:
                there = resistance_between(engine, apart, *pair)
                source.prepare(MeterSetup(expected=min(there, 9e7)))
                bench.hands.place(*pair)
                *_, last = islice(source.readings(threading.Event()), 80)
                bench.hands.lift()
                if isinf(there):
                    assert last.overload, pair
                else:
                    assert last.value == pytest.approx(there + 0.128, rel=1e-3, abs=0.03), pair
        finally:
            source.close()
