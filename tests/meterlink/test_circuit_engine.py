"""What a meter would read on a virtual engine, good and in real life's traps."""

from math import inf, isinf

import pytest
from msgspec.structs import replace

from meterlink.circuit.engine import (
    Engine,
    EngineCondition,
    EngineSwitch,
    EngineWinding,
    Module,
    StopWire,
)
from meterlink.circuit.wiring import at_sockets, places, resistance_between, seen_between
from meterlink.quantities.units import Celsius, Ohms

ENGINE = Engine(
    name="portable pump set",
    primary=EngineWinding(ohms=Ohms(0.862), henries=0.003),
    secondary=EngineWinding(ohms=Ohms(5320.0), henries=9.0),
    lead=Ohms(0.4),
    cap=Ohms(5000.0),
    switch=(
        EngineSwitch(name="stop switch", positions={"stop": "closed", "run": "open"}),
        EngineSwitch(name="oil switch", positions={"full": "open", "low": "closed"}),
    ),
)
APART = EngineCondition(controls={"stop wire": "off", "plug lead": "off"})


def with_(**changes: object) -> Engine:
    return replace(ENGINE, **changes)


def moved(**positions: str) -> EngineCondition:
    condition = APART
    for control, position in positions.items():
        condition = condition.move(control.replace("_", " "), position, ENGINE)
    return condition


@pytest.mark.parametrize(
    ("red", "black", "ohms"),
    [
        ("primary terminal", "laminations", 0.862),
        ("primary terminal", "block", 0.862 + 0.004),
        ("plug lead", "laminations", 5320 + 0.4 + 5000),
        ("plug lead without cap", "laminations", 5320 + 0.4),
        ("plug lead", "plug lead without cap", 5000),
        ("plug lead", "primary terminal", 5320 + 0.4 + 5000 + 0.862),
        ("stop wire", "block", 0.08 + 0.06 + 0.03),
        ("stop switch terminal", "stop switch earth terminal", 0.06),
        ("primary terminal", "rusty laminations", 0.862 + 40),
        ("primary terminal", "painted laminations", inf),
        ("plug terminal", "block", inf),
        ("primary terminal", "air", inf),
        ("other tip", "other tip", 0.0),
    ],
)
def test_a_good_engine_taken_apart(red: str, black: str, ohms: float) -> None:
    assert resistance_between(ENGINE, APART, red, black) == pytest.approx(ohms, rel=1e-9)
    assert resistance_between(ENGINE, APART, black, red) == pytest.approx(ohms, rel=1e-9)


def test_the_stop_wire_left_on_makes_a_good_primary_read_short() -> None:
    left_on = moved(stop_wire="on")
    through_switch = 0.08 + 0.06 + 0.03 + 0.004
    expected = 0.862 * through_switch / (0.862 + through_switch)
    assert resistance_between(ENGINE, left_on, "primary terminal", "laminations") == pytest.approx(
        expected, rel=1e-9
    )


def test_the_stop_wire_left_on_makes_an_open_switch_read_as_the_primary() -> None:
    left_on = moved(stop_wire="on", stop_switch="run")
    assert resistance_between(ENGINE, left_on, "stop wire", "block") == pytest.approx(0.866)
    assert isinf(resistance_between(ENGINE, moved(stop_switch="run"), "stop wire", "block"))


def test_the_other_switch_hides_an_open_one() -> None:
    low = moved(stop_switch="run", oil_switch="low")
    assert resistance_between(ENGINE, low, "stop wire", "block") == pytest.approx(0.17)


def test_warm_copper_reads_as_the_standard_says() -> None:
    """IEC 60034-1: (235 + 75) / (235 + 20) of the value at 20 celsius."""
    warm = replace(APART, winding_c=75.0)
    read = resistance_between(ENGINE, warm, "primary terminal", "laminations")
    assert read / 0.862 == pytest.approx(310 / 255, rel=1e-9)


def test_a_winding_that_opens_hot_reads_well_cold() -> None:
    engine = with_(secondary=EngineWinding(ohms=Ohms(5320.0), opens_above=Celsius(70.0)))
    ends = ("plug lead without cap", "laminations")
    assert resistance_between(engine, APART, *ends) == pytest.approx(5320.4)
    assert isinf(resistance_between(engine, replace(APART, winding_c=71.0), *ends))


def test_electronics_read_one_thing_one_way_and_another_the_other() -> None:
    engine = with_(module=Module(forward=Ohms(2.2e6), reverse=None))
    ends = ("primary terminal", "laminations")
    assert resistance_between(engine, APART, *ends) == pytest.approx(2.2e6 + 0.862)
    assert isinf(resistance_between(engine, APART, *reversed(ends)))


def test_electronics_hide_an_open_primary() -> None:
    """The leak of the module's own is all that is seen, whatever the winding behind it is."""
    module = Module(forward=Ohms(2.2e6), reverse=Ohms(3.1e6))
    good = with_(module=module)
    shorted = with_(module=module, primary=EngineWinding(ohms=Ohms(0.862), shorted=0.9))
    reads = [
        resistance_between(e, APART, "primary terminal", "laminations") for e in (good, shorted)
    ]
    assert reads[0] == pytest.approx(reads[1], rel=1e-6)


def test_a_wire_that_chafes_when_moved_only_does_so_then() -> None:
    engine = with_(stop_wire=StopWire(chafe=Ohms(0.5), chafes="moved"))
    run = moved(stop_switch="run")
    assert isinf(resistance_between(engine, run, "stop wire", "block"))
    chafing = replace(run, chafing=True)
    assert resistance_between(engine, chafing, "stop wire", "block") == pytest.approx(0.54)


def test_a_broken_wire_may_still_chafe() -> None:
    broken = with_(stop_wire=StopWire(chafe=Ohms(0.5), broken="yes"))
    run = moved(stop_switch="run")
    assert resistance_between(broken, run, "stop wire", "block") == pytest.approx(0.54)
    assert isinf(resistance_between(broken, run, "stop wire", "stop switch terminal"))


def test_a_winding_lends_its_inductance_where_the_current_goes_through_it() -> None:
    known = places(ENGINE)
    seen = seen_between(ENGINE, APART, known["primary terminal"], known["laminations"])
    assert seen.henries == pytest.approx(0.003)
    beside = seen_between(ENGINE, APART, known["stop wire"], known["block"])
    assert beside.henries == 0.0


@pytest.mark.parametrize(
    ("control", "position", "said"),
    [("stop swich", "run", "there is no “stop swich”"), ("stop switch", "up", "it has stop, run")],
)
def test_what_cannot_be_moved_is_said(control: str, position: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        APART.move(control, position, ENGINE)


def test_fingers_turn_an_open_winding_into_a_high_reading() -> None:
    assert at_sockets(inf, 0.01, fingers=620e3, leads=0.13) == pytest.approx(620e3, rel=1e-6)


def test_fingers_pull_a_secondary_down_by_as_much_as_they_carry() -> None:
    assert at_sockets(5320.0, fingers=620e3) == pytest.approx(5320 * 620e3 / 625320)


def test_a_tip_that_is_off_leaves_only_the_fingers() -> None:
    assert isinf(at_sockets(0.862, inf, leads=0.13))
