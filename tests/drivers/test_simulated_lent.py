"""Simulated hands lent over a socket: a real one, with good, odd and hostile company."""

import socket
from collections.abc import Iterator

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.clock import VirtualClock
from drivers.scpi.status import parse_identity
from drivers.simulated.bench import (
    BorrowedHands,
    Greeting,
    Lender,
    SimulatedBench,
    is_simulated,
    port_of,
)
from drivers.simulated.hands import Hands
from drivers.simulated.personality import identity_of
from drivers.simulated.scenario import load_scenario
from meterlink.commands import Confirm, Enter
from meterlink.events import StepBegan


@pytest.fixture
def lending() -> Iterator[SimulatedBench]:
    with SimulatedBench(load_scenario("spring-service"), clock=VirtualClock(), lend=True) as bench:
        yield bench


def lent_at(bench: SimulatedBench) -> int:
    """Return the port that the meter names in its identity."""
    with socket.create_connection(("127.0.0.1", bench.tcp_port), 5) as line:
        line.sendall(b"*IDN?\n")
        port = port_of(parse_identity(line.recv(200).decode(), ""))
    assert port is not None
    return port


def look(bench: SimulatedBench, seconds: float) -> None:
    """Read the meter for a while."""
    until = bench.clock.now() + seconds
    while bench.clock.now() < until:
        bench.meter.measure()


@pytest.mark.parametrize("port", [None, 1, 54321, 65535])
def test_the_identity_names_the_port_and_nothing_else_does(port):
    identity = parse_identity(identity_of(port), "somewhere")
    assert is_simulated(identity)
    assert port_of(identity) == port
    assert port_of(msgspec.structs.replace(identity, maker="another")) is None
    assert port_of(msgspec.structs.replace(identity, firmware="1+hands.99999")) is None


def test_hands_do_what_the_bench_asks_and_say_what_there_is_to_say(lending):
    greeting = Greeting(steps=["cautions", "ambient"], cautions=["cautions"], person=False)
    with BorrowedHands(lent_at(lending), greeting) as hands:
        assert hands.there
        assert hands.hear([StepBegan(t=0.0, step="cautions")]) == []
        look(lending, 2.0)
        (said,) = hands.hear([])
        assert isinstance(said, Confirm)
        hands.hear([StepBegan(t=2.0, step="ambient")])
        look(lending, 2.0)
        (said,) = hands.hear([])
        assert isinstance(said, Enter)
        assert said.text == "14 °C"


def test_cautions_and_unknown_steps_are_left_to_a_person_who_is_there(lending):
    greeting = Greeting(steps=["cautions", "other"], cautions=["cautions"], person=True)
    with BorrowedHands(lent_at(lending), greeting) as hands:
        for step in ("cautions", "other"):
            hands.hear([StepBegan(t=lending.clock.now(), step=step)])
            look(lending, 60.0)
            assert hands.hear([]) == []


def test_a_new_bench_hears_nothing_of_what_was_said_to_the_last(lending):
    port = lent_at(lending)
    greeting = Greeting(steps=["cautions"], person=False)
    with BorrowedHands(port, greeting) as hands:
        hands.hear([StepBegan(t=0.0, step="cautions")])
        look(lending, 2.0)
    with BorrowedHands(port, greeting) as hands:
        assert hands.there
        assert hands.hear([]) == []


def test_hands_that_are_gone_are_done_without(lending):
    hands = BorrowedHands(lent_at(lending), Greeting(steps=[]))
    lending.close()
    assert hands.hear([StepBegan(t=0.0, step="cautions")]) == []
    assert not hands.there
    assert hands.hear([]) == []
    hands.close()
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        closed = taken.getsockname()[1]
    assert not BorrowedHands(closed, Greeting(steps=[])).there


def hands_of_nobody() -> Hands:
    return SimulatedBench(load_scenario("spring-service")).hands


@given(st.binary(max_size=300))
def test_what_is_no_bench_is_hung_up_on(data):
    lender = Lender(hands_of_nobody())
    answer = lender.talk(data + b"\n")
    assert answer is None or answer.count(b"\n") == (data + b"\n").count(b"\n")


def test_events_of_another_version_are_passed_over():
    lender = Lender(hands_of_nobody())
    assert lender.talk(b'{"events":[{"kind":"unheard-of"},7,null]}\n') == b"[]\n"
    assert lender.talk(b"x" * (2 << 20)) is None


def test_alone_they_begin_when_somebody_looks_and_again_for_the_next(lending):
    clock = lending.clock
    assert isinstance(clock, VirtualClock)
    for _ in range(2):
        clock.advance(100.0)
        first = [lending.meter.measure().overload for _ in range(3)]
        assert all(first)
        assert not all(lending.meter.measure().overload for _ in range(400))
