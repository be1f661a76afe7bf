"""The SCPI driver against instruments that know much, little, or nothing of the standard."""

import itertools
import math
import os
import threading
import time

import pytest

from drivers.clock import MonotonicClock
from drivers.links.transports import open_link
from drivers.opening import open_source
from drivers.scpi.dialect import ScpiOptions
from drivers.scpi.meter import ScpiMeter
from meterlink.errors import MeterError, MeterSilentError, PortLostError
from meterlink.reading import Quantity
from meterlink.source import MeterSetup
from tests.drivers.scripted import KnownCommands, PtyPeer, bench_meter, tcp_peer

HAS_PTY = hasattr(os, "openpty")
NEVER = threading.Event()


@pytest.fixture(autouse=True)
def peers_answer_at_once(monkeypatch):
    monkeypatch.setattr("drivers.scpi.conversation.OPTIONAL_S", 0.05)


def take(source, count):
    return list(itertools.islice(source.readings(NEVER), count))


@pytest.mark.parametrize("visa", [None, "py"])
def test_a_bench_meter_is_identified_set_and_read(visa):
    meter = bench_meter()
    with tcp_peer(meter) as peer:
        source = open_source(peer.resource, visa=visa)
        setting = source.prepare(MeterSetup(expected=800.0))
        readings = take(source, 3)
        source.close()
    assert (source.identity.maker, source.identity.model) == ("Invented", "Bench")
    assert source.identity.port == peer.resource
    assert setting.range == 800.0
    assert setting.integration_s == pytest.approx(1 / 60)  # this meter says 60 Hz
    assert setting.lost == ()
    assert [reading.value for reading in readings] == [1000.0] * 3
    assert all(reading.resolution == 0.001 for reading in readings)
    times = [reading.t for reading in readings]
    assert times == sorted(times)
    assert len(set(times)) == 3


@pytest.mark.parametrize("resistance", ["RES", "FRES"])
def test_everything_is_put_back_as_it_was_found(resistance):
    meter = bench_meter()
    before = dict(meter.settings)
    with tcp_peer(meter) as peer:
        source = open_source(peer.resource)
        source.prepare(MeterSetup(expected=5.0, four_wire=resistance == "FRES"))
        assert meter.settings["FUNC"] == f'"{resistance}"'
        take(source, 1)
        source.prepare(MeterSetup(expected=20_000.0))
        source.close()
        source.close()
    after = dict(meter.settings)
    # Automatic ranging was on for two-wire and is again; what range it then takes is its own.
    assert after.pop("RES:RANG:AUTO") == "ON"
    assert before.pop("RES:RANG:AUTO") == "1"
    after.pop("RES:RANG")
    before.pop("RES:RANG")
    assert after == before
    assert meter.heard[-1] == "SYST:LOC"


def test_a_function_and_its_range_are_restored_where_range_was_fixed():
    meter = bench_meter()
    meter.settings["RES:RANG:AUTO"] = "0"
    with tcp_peer(meter) as peer:
        source = open_source(peer.resource)
        source.prepare(MeterSetup(expected=5.0))
        source.close()
    assert meter.settings["RES:RANG"] == "1.000000E+06"
    assert meter.settings["RES:RANG:AUTO"] == "0"


def test_a_burst_is_spread_over_the_time_it_took():
    meter = bench_meter()
    meter.answers["READ?"] = "+1.0E+3"

    def answer(line):
        if line == b"READ?" and meter.settings["SAMP:COUN"] == "4":
            time.sleep(0.02)
            return b"+1.0E+3,+1.1E+3,9.9E37,9.91E37\n"
        return meter(line)

    with tcp_peer(answer) as peer:
        source = open_source(peer.resource, options=ScpiOptions(burst=4))
        source.prepare(MeterSetup())
        readings = take(source, 8)
        source.close()
    values = [reading.value for reading in readings[:4]]
    assert values[:3] == [1000.0, 1100.0, math.inf]
    assert math.isnan(values[3])
    assert [reading.overload for reading in readings[:4]] == [False, False, True, False]
    times = [reading.t for reading in readings]
    steps = [later - earlier for earlier, later in itertools.pairwise(times)]
    assert all(step > 0 for step in steps)
    assert steps[0] == pytest.approx(steps[1]) == pytest.approx(steps[2])
    assert steps[0] >= 0.005  # a quarter of the burst
    assert meter.settings["SAMP:COUN"] == "7"


def test_a_meter_that_knows_only_measure_is_read_and_the_loss_is_said():
    meter = KnownCommands(answers={"MEAS:RES?": "0.842"})
    with tcp_peer(meter) as peer:
        source = open_source(peer.resource)
        setting = source.prepare(MeterSetup(expected=1.0))
        readings = take(source, 2)
        source.close()
    assert [reading.value for reading in readings] == [0.842, 0.842]
    assert any("MEASure" in sentence for sentence in setting.lost)


def test_configure_serves_where_function_does_not():
    meter = KnownCommands(
        answers={"READ?": "4.9E3", "CONF?": '"VOLT +1.0E+01,+1.0E-05"'}, selects=("CONF:RES",)
    )
    with tcp_peer(meter) as peer:
        source = open_source(peer.resource)
        source.prepare(MeterSetup())
        assert take(source, 1)[0].value == 4900.0
        source.close()
    assert "CONF:RES" in meter.heard
    assert "CONF:VOLT +1.0E+01,+1.0E-05" in meter.heard  # as found


def test_fetch_serves_where_read_does_not():
    meter = bench_meter()
    del meter.answers["READ?"]
    meter.answers["FETC?"] = "1.5"
    meter.selects += ("INIT",)
    with tcp_peer(meter) as peer:
        source = open_source(peer.resource)
        assert [reading.value for reading in take(source, 2)] == [1.5, 1.5]
        source.close()
    inits = [command for command in meter.heard if command == "INIT"]
    assert len(inits) == sum(command == "FETC?" for command in meter.heard)  # never read twice


def test_refused_four_wire_integration_time_and_range_are_named():
    meter = bench_meter()
    for header in ("FRES:RANG", "FRES:RANG:AUTO", "FRES:NPLC", "FRES:RES"):
        del meter.settings[header]
    meter.refuses = {
        "FUNC": '-224,"Illegal parameter value"',
        "RES:NPLC": '-113,"Undefined header"',
        "RES:RANG": '-222,"Data out of range"',
    }
    meter.selects += ("CONF:RES",)
    with tcp_peer(meter) as peer:
        source = open_source(peer.resource)
        setting = source.prepare(MeterSetup(expected=1e12, four_wire=True))
        source.close()
    four_wire, reach, integration = setting.lost
    assert "four-wire" in four_wire
    assert "error -224, Illegal parameter value" in four_wire
    assert "range" in reach
    assert "error -113, Undefined header" in integration
    assert not setting.four_wire
    assert setting.range is None


def test_a_quantity_that_is_refused_is_an_error_with_the_standards_number():
    meter = bench_meter()
    meter.refuses = {"FUNC": '-224,"Illegal parameter value"'}
    with tcp_peer(meter) as peer:
        source = open_source(peer.resource)
        with pytest.raises(MeterError, match=r"cannot measure capacitance.*-224"):
            source.prepare(MeterSetup(quantity=Quantity.CAPACITANCE))
        source.close()


def test_remote_control_is_asked_for_where_settings_are_refused_without():
    meter = bench_meter()

    def local_first(line):
        if line.startswith(b"FUNC ") and "SYST:REM" not in meter.heard:
            meter.queue.append('-203,"Command protected"')
            meter.heard.append("refused")
            return None
        return meter(line)

    with tcp_peer(local_first) as peer:
        source = open_source(peer.resource)
        source.prepare(MeterSetup())
        source.close()
    assert meter.heard.index("refused") < meter.heard.index("SYST:REM")
    assert meter.heard[-1] == "SYST:LOC"


def test_event_status_serves_where_there_is_no_error_queue():
    meter = KnownCommands(answers={"MEAS:RES?": "12.5"}, has_queue=False)

    def with_status(line):
        if line == b"*ESR?":
            refused, meter.queue[:] = bool(meter.queue), []
            return b"32\n" if refused else b"0\n"
        return meter(line)

    with tcp_peer(with_status) as peer:
        source = open_source(peer.resource)
        assert take(source, 1)[0].value == 12.5
        source.close()


@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_a_meter_that_knows_two_queries_is_read_without_waiting_for_the_others(monkeypatch, end):
    monkeypatch.setattr("drivers.scpi.conversation.ANSWER_S", 0.3)
    known = {b"*IDN?": b"Invented,Bench,0,1", b"MEAS:RES?": b"+8.42E-1"}
    heard = []

    def answer(line):
        heard.append(line)
        return known[line] + end if line in known else None  # and no word of what it refuses

    with tcp_peer(answer) as peer:
        source = open_source(peer.resource)
        for _ in range(2):  # each step sets the meter again
            source.prepare(MeterSetup(expected=5.0))
            assert [reading.value for reading in take(source, 2)] == [0.842, 0.842]
        source.close()
    assert b"READ?" not in heard  # each query that it lets go by would cost the whole wait
    assert heard.count(b"FUNC?") == 1


def test_binary_left_by_another_program_is_set_to_text_and_put_back():
    meter = bench_meter()
    meter.settings["FORM:DATA"] = "REAL,64"

    def answer(line):
        if line == b"READ?" and meter.settings["FORM:DATA"].startswith("REAL"):
            return b"#18\x3f\xf0\x00\x00\x00\x00\x00\x0a\n"
        return meter(line)

    with tcp_peer(answer) as peer:
        source = open_source(peer.resource)
        assert take(source, 1)[0].value == 1000.0
        source.close()
    assert meter.settings["FORM:DATA"] == "REAL,64"


def test_a_meter_that_answers_what_it_refuses_is_set_all_the_same():
    meter = bench_meter()

    def answer(line):
        said = meter(line)
        return b"ERROR\n" if said is None and line.endswith(b"?") else said

    del meter.settings["RES:RES"]
    with tcp_peer(answer) as peer:
        source = open_source(peer.resource)
        setting = source.prepare(MeterSetup(expected=100.0))
        source.close()
    assert setting.range == 100.0
    assert setting.resolution is None
    assert setting.lost == ()


def test_an_echo_is_not_taken_for_the_answer():
    meter = bench_meter()

    def echoing(line):
        answer = meter(line)
        return line + b"\r\n" + (answer or b"")

    with tcp_peer(echoing) as peer:
        source = open_source(peer.resource)
        assert take(source, 2)[1].value == 1000.0
        source.close()


def test_stale_answers_do_not_stand_for_new_ones():
    meter = bench_meter()
    with tcp_peer(meter, greet=b"99.9\n88.8\nwelcome\n") as peer:
        source = open_source(peer.resource)
        assert all(reading.value == 1000.0 for reading in take(source, 5))
        source.close()


@pytest.mark.parametrize(
    "rubbish", [b"\x1b[2J\x07\n", b"\xff\xfe\xfd\n", b"x\n", b"1.0E3;junk\n", b",,\n", b"1,2\n"]
)
def test_rubbish_ends_in_one_plain_sentence_and_no_reading(rubbish):
    meter = bench_meter()
    taken = 0

    def answer(line):
        nonlocal taken
        if line == b"READ?":
            taken += 1
            if taken > 1:
                return rubbish
        return meter(line)

    got = []
    with tcp_peer(answer) as peer:
        source = open_source(peer.resource)
        with pytest.raises(MeterError) as caught:
            got.extend(source.readings(NEVER))
        source.close()
    assert peer.resource in str(caught.value)
    assert str(caught.value).isprintable()
    assert got == []


def test_one_spoilt_answer_is_passed_over():
    meter = bench_meter()
    taken = itertools.count()

    def answer(line):
        if line == b"READ?" and next(taken) == 3:
            return b"1.0\x00E3\n"
        return meter(line)

    with tcp_peer(answer) as peer:
        source = open_source(peer.resource)
        assert all(reading.value == 1000.0 for reading in take(source, 6))
        source.close()


def test_an_endless_line_is_refused_within_its_bound():
    with pytest.raises(MeterError, match="no end within 65536 bytes"):
        greeting_of(b"7" * 200_000)


def greeting_of(answer):
    """Open an instrument that gives this to whatever it is asked."""
    with tcp_peer(lambda line: answer) as peer:
        link = open_link(peer.resource)
        try:
            return ScpiMeter.open(link, MonotonicClock(), timeout_s=0.1)
        finally:
            link.close()


def test_a_mute_peer_is_said_to_be_silent():
    with pytest.raises(MeterSilentError, match="nothing answers"):
        greeting_of(None)


@pytest.mark.parametrize("answer", [b"OK\n", b"a,b\x1b]0;x\x07,c,d\n", b"1.5,2.5\n", b"\xff\n"])
def test_what_is_no_identity_is_refused(answer):
    with pytest.raises(MeterError, match="does not speak as a SCPI meter does") as caught:
        greeting_of(answer)
    assert str(caught.value).isprintable()


def test_a_dropped_connection_names_the_port_and_the_mend():
    with tcp_peer(bench_meter()) as peer:
        source = open_source(peer.resource)
        readings = source.readings(NEVER)
        next(readings)
        peer.drop()
        with pytest.raises(PortLostError, match="plug the meter in again"):
            list(readings)
        source.close()


def test_stop_is_obeyed_while_the_meter_takes_its_time_and_the_next_answer_is_the_right_one():
    meter = bench_meter()
    slow = threading.Event()
    answered = itertools.count()

    def answer(line):
        if line == b"READ?" and not slow.is_set() and next(answered) == 2:
            slow.set()
            time.sleep(0.5)
            return b"666\n"
        return meter(line)

    with tcp_peer(answer) as peer:
        source = open_source(peer.resource)
        stop = threading.Event()
        readings = source.readings(stop)
        next(readings)
        threading.Timer(0.05, stop.set).start()
        began = time.monotonic()
        assert list(readings) == []
        assert time.monotonic() - began < 0.4
        assert [reading.value for reading in take(source, 3)] == [1000.0] * 3
        source.close()


def test_prepare_from_another_thread_takes_effect_between_two_readings():
    meter = bench_meter()
    with tcp_peer(meter) as peer:
        source = open_source(peer.resource)
        readings = source.readings(NEVER)
        assert next(readings).quantity is Quantity.RESISTANCE
        meter.settings.update({"VOLT:DC:RANG": "10", "VOLT:DC:RANG:AUTO": "1", "VOLT:DC:NPLC": "1"})
        done = threading.Event()

        def set_voltage():
            source.prepare(MeterSetup(quantity=Quantity.VOLTAGE))
            done.set()

        thread = threading.Thread(target=set_voltage)
        thread.start()
        before = 0
        for reading in readings:
            if reading.quantity is Quantity.VOLTAGE:
                break
            before += 1
        thread.join()
        assert done.is_set()
        assert before < 2000  # the reader does not keep the line for itself
        source.close()


def test_readings_carry_the_clock_that_was_given():
    class Frozen:
        def __init__(self):
            self.t = 100.0

        def now(self):
            self.t += 0.25
            return self.t

    with tcp_peer(bench_meter()) as peer:
        source = open_source(peer.resource, clock=Frozen())
        first, second = take(source, 2)
        source.close()
    assert first.t > 100.0
    assert second.t - first.t == 0.5


def test_a_clock_begins_at_zero_and_only_goes_forward():
    clock = MonotonicClock()
    times = [clock.now() for _ in range(100)]
    assert 0 <= times[0] < 1
    assert times == sorted(times)


@pytest.mark.skipif(not HAS_PTY, reason="no pseudo-terminals here")
@pytest.mark.parametrize("form", ["{}", "ASRL{}::INSTR"])
def test_a_serial_meter_is_read_by_device_name_and_by_resource_string(form):
    peer = PtyPeer(bench_meter())
    source = open_source(form.format(peer.device))
    assert [reading.value for reading in take(source, 3)] == [1000.0] * 3
    source.close()
    peer.unplug()


@pytest.mark.skipif(not HAS_PTY, reason="no pseudo-terminals here")
def test_a_serial_meter_that_is_unplugged_is_said_to_be_lost():
    peer = PtyPeer(bench_meter())
    source = open_source(peer.device)
    readings = source.readings(NEVER)
    next(readings)
    peer.unplug()
    with pytest.raises(PortLostError, match="plug the meter in again"):
        list(readings)
    source.close()


@pytest.mark.parametrize("spoilt", [b"#1.00000000E+03\n", b"#9\n", b"\xff\n", b"1,0\n", b"\n"])
def test_single_damage_anywhere_costs_one_reading_and_no_more(spoilt, monkeypatch):
    monkeypatch.setattr("drivers.scpi.meter.MEASURE_S", 0.5)
    meter = bench_meter()
    taken = itertools.count()

    def answer(line):
        if line == b"READ?" and next(taken) % 10 == 5:
            return spoilt
        return meter(line)

    with tcp_peer(answer) as peer:
        source = open_source(peer.resource)
        source.prepare(MeterSetup())
        assert [reading.value for reading in take(source, 12)] == [1000.0] * 12
        source.close()


def test_one_late_reading_ends_nothing_and_the_next_have_longer(monkeypatch):
    monkeypatch.setattr("drivers.scpi.meter.MEASURE_S", 0.2)
    meter = bench_meter()
    meter.settings["RES:NPLC"] = "0.1"
    taken = itertools.count()

    def answer(line):
        if line == b"READ?" and next(taken) == 5:
            time.sleep(0.7)
            return b"+6.66000000E+02\n"
        return meter(line)

    with tcp_peer(answer) as peer:
        source = open_source(peer.resource)
        source.prepare(MeterSetup())
        assert [reading.value for reading in take(source, 12)] == [1000.0] * 12
        assert source._readout.timeout_s > 0.4
        source.close()


def test_a_number_of_another_shape_is_refused_until_it_comes_twice():
    meter = bench_meter()
    answers = itertools.chain(
        [b"+1.00000000E+03\n"] * 20, [b"+1.0000000E+03\n", b"+1.00000000+03\n"],
        [b"+1.00000000E+03\n"] * 5, [b"+2.5000E+03\n"] * 10,
    )  # fmt: skip

    def answer(line):
        return next(answers, b"+2.5000E+03\n") if line == b"READ?" else meter(line)

    with tcp_peer(answer) as peer:
        source = open_source(peer.resource)
        source.prepare(MeterSetup())
        raw = [reading.raw for reading in take(source, 30)]
        source.close()
    assert "+1.0000000E+03" not in raw
    assert raw[-1] == "+2.5000E+03"
