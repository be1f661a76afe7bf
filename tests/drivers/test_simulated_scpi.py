"""The simulated meter's SCPI, bytes in and bytes out, against the forms of the standard.

Forms and codes are those of SCPI-1999 and IEEE 488.2 as the tests and the header ``error.h`` of the
scpi-parser library (github.com/j123b567/scpi-parser, commit 88661590) show them, unless a comment
says otherwise.
"""

import threading

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.clock import VirtualClock, VirtualPace
from drivers.simulated.bench import FaultInjector, LineFault, LineFaults
from drivers.simulated.meter import MeterCharacter, VirtualMeter
from drivers.simulated.personality import LONGEST_MESSAGE, ScpiPersonality
from drivers.simulated.scenario import Knowledge
from drivers.simulated.scpi_parser import HeaderError, ProgramMessageUnit, number, spellings, units
from drivers.simulated.world import World
from meterlink.circuit.engine import Engine, EngineCondition, EngineWinding
from meterlink.quantities.units import Ohms

ENGINE = Engine(
    name="portable pump set",
    primary=EngineWinding(ohms=Ohms(0.86)),
    secondary=EngineWinding(ohms=Ohms(5200.0)),
)


def scpi(**knows: object) -> ScpiPersonality:
    world = World(ENGINE, EngineCondition(), np.random.default_rng(1))
    world.land(-5.0, "plug lead", "laminations")
    pace = VirtualPace(VirtualClock(), threading.Event())
    meter = VirtualMeter(world, pace, np.random.default_rng(2), MeterCharacter())
    return ScpiPersonality(meter, Knowledge(**knows))  # type: ignore[arg-type]


def said(to: ScpiPersonality, *lines: str) -> list[str]:
    """Send each line; return the answers, one a line, those that came."""
    out = b"".join(to.feed(line.encode() + b"\n") for line in lines)
    return out.decode().splitlines()


# --- the parser ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pattern", "some", "none"),
    [
        (
            "[SENSe]:RESistance:RANGe[:UPPer]",
            ("RES:RANG", "SENSE:RESISTANCE:RANGE:UPPER", "SENS:RES:RANGE"),
            ("RESI:RANG", "RES", "SENS:RANG", "RES:UPP"),
        ),
        ("SYSTem:ERRor[:NEXT]", ("SYST:ERR", "SYSTEM:ERROR:NEXT"), ("SYST:ERRO", "SYST:NEXT")),
        ("MEASure[:SCALar]:VOLTage[:DC]", ("MEAS:VOLT", "MEAS:SCAL:VOLT:DC"), ("MEAS:DC",)),
        ("*IDN", ("*IDN",), ("IDN",)),
    ],
)
def test_short_and_long_forms_are_one_command(
    pattern: str, some: tuple[str, ...], none: tuple[str, ...]
) -> None:
    known = set(spellings(pattern))
    assert set(some) <= known
    assert not set(none) & known


@pytest.mark.parametrize(
    ("message", "headers"),
    [
        ("*IDN?", ["*IDN"]),
        (":MEAS:VOLT:DC?", ["MEAS:VOLT:DC"]),
        # A header goes on below the node that the last one ended under; a common command in
        # between changes nothing, and a colon goes back to the root (SCPI-1999 vol. 1, 6.2.4).
        ("RES:RANG 100;NPLC 1", ["RES:RANG", "RES:NPLC"]),
        ("RES:RANG 100;*CLS;NPLC 1", ["RES:RANG", "*CLS", "RES:NPLC"]),
        ("RES:RANG 100;:READ?", ["RES:RANG", "READ"]),
        ("READ?;READ?", ["READ", "READ"]),
        (' FUNC "RES;FRES" ; ', ["FUNC"]),
    ],
)
def test_headers_of_one_message_are_made_absolute(message: str, headers: list[str]) -> None:
    assert [unit.header for unit in units(message)] == headers


@pytest.mark.parametrize("message", [":MEAS::VOLT:DC?", ":*IDN?", "RES:?", "1ABC", "A B:C;;:-"])
def test_headers_that_are_not_well_formed_are_refused(message: str) -> None:
    with pytest.raises(HeaderError):
        list(units(message))


def test_parameters_are_split_outside_of_quotes() -> None:
    assert list(units("CONF:RES 1E3, 0.1")) == [
        ProgramMessageUnit("CONF:RES", False, ("1E3", "0.1"))
    ]
    assert next(units('FUNC "A,B"')).parameters == ('"A,B"',)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("-10.5", -10.5),
        ("+.5", 0.5),
        ("1.5E12", 1.5e12),
        ("-1 e 3", -1000.0),
        ("-.", None),
        # Suffixes: MOHM is the megohm (SCPI-1999 vol. 1, from memory).
        ("2 KOHM", 2000.0),
        ("1MOHM", 1e6),
        ("3 furlong", None),
        ("", None),
    ],
)
def test_numbers_of_a_program_message(text: str, value: float | None) -> None:
    assert number(text) == value


@given(st.text())
def test_no_text_breaks_the_parser(text: str) -> None:
    try:
        for unit in units(text):
            assert unit.header
    except HeaderError:
        pass


# --- the personality -------------------------------------------------------------------------


def test_an_answer_does_not_depend_on_how_its_question_arrives() -> None:
    whole = scpi().feed(b"*IDN?\nSYST:ERR?\n")
    by_bytes = scpi()
    assert b"".join(by_bytes.feed(bytes((byte,))) for byte in b"*IDN?\nSYST:ERR?\n") == whole
    assert whole.count(b"\n") == 2
    assert scpi().feed(b"*IDN?\r\n") == scpi().feed(b"*IDN?\n")


def test_what_is_asked_together_is_answered_together() -> None:
    assert said(scpi(), "*OPC?;:SYST:VERS?;:SYST:LFR?") == ["1;1999.0;50"]


@pytest.mark.parametrize(
    ("line", "entry"),
    [
        ("ABCD", '-113,"Undefined header;ABCD"'),
        ("ABCD?", '-113,"Undefined header;ABCD"'),
        ("RES:NPLC", '-109,"Missing parameter;RES:NPLC"'),
        ("RES:NPLC 1,2", '-108,"Parameter not allowed;RES:NPLC"'),
        ("RES:NPLC abc", '-224,"Illegal parameter value;ABC"'),
        ("RES:NPLC 1x", '-104,"Data type error;1X"'),
        ("RES:NPLC 1000", '-222,"Data out of range;1000"'),
        ("RES:RANG 1E12", '-222,"Data out of range;1E12"'),
        ('FUNC "HENRY"', '-224,"Illegal parameter value;HENRY"'),
        ("FETC?", '-230,"Data corrupt or stale"'),
        (":MEAS::VOLT:DC?", '-102,"Syntax error;:MEAS::VOLT:DC"'),
        ("\x80", '-102,"Syntax error"'),
    ],
)
def test_what_is_refused_is_not_answered_and_stands_in_the_queue(line: str, entry: str) -> None:
    to = scpi()
    assert to.feed(line.encode("latin-1") + b"\n") == b""
    assert said(to, "SYST:ERR?", "SYST:ERR?") == [entry, '+0,"No error"']


def test_the_queue_keeps_the_oldest_and_says_that_it_overflowed() -> None:
    to = scpi()
    for index in range(25):
        to.feed(b"BAD%d\n" % index)
    entries = said(to, *["SYST:ERR?"] * 21)
    assert entries[0].startswith('-113,"Undefined header;BAD0')
    assert entries[19] == '-350,"Queue overflow"'
    assert entries[20] == '+0,"No error"'


def test_event_status_tells_refusals_and_is_cleared_by_reading() -> None:
    """Bits of IEEE 488.2: 128 power on, 32 command error, 16 execution error, 1 complete."""
    to = scpi()
    assert said(to, "*ESR?", "BAD;*ESR?", "RES:NPLC 1000;*OPC;*ESR?", "*ESR?") == [
        "128",
        "32",
        "17",
        "0",
    ]


def test_status_byte_shows_the_queue_and_the_enabled_events() -> None:
    to = scpi()
    assert said(to, "*CLS;*STB?", "*ESE 32;BAD;*STB?", "*CLS;*STB?") == ["0", "36", "0"]


def test_a_message_without_end_is_thrown_away_and_said() -> None:
    to = scpi()
    assert to.feed(b"A" * (LONGEST_MESSAGE + 1)) == b""
    assert said(to, "SYST:ERR?") == ['-363,"Input buffer overrun"']


def test_settings_are_read_back_as_they_were_set() -> None:
    to = scpi()
    lines = said(
        to,
        'FUNC "FRES";FUNC?',
        "FRES:RANG 5200;RANG?;RANG:AUTO?",
        "FRES:NPLC 10;NPLC?;:FRES:RES?",
        "SAMP:COUN 3;COUN?",
        "FRES:RANG:AUTO ON;AUTO?",
        "*RST;:FUNC?;:SAMP:COUN?;:RES:NPLC?",
    )
    assert lines == [
        '"FRES"',
        "+1.00000000E+04;0",
        "+1.00000000E+01;+1.00000000E-01",
        "+3",
        "1",
        '"RES";+1;+1.00000000E+00',
    ]


def test_every_way_to_measure_brings_the_same_value() -> None:
    to = scpi()
    said(to, "READ?")  # the input settles
    answers = said(
        to,
        "MEAS:RES? 10000",
        "CONF:RES 10000;:READ?",
        "INIT;FETC?",
        "FETC?",
        "MEASURE:SCALAR:FRESISTANCE?",
        "SAMP:COUN 4;:READ?",
    )
    values = [float(text) for answer in answers for text in answer.split(",")]
    assert len(values) == 9
    assert values == pytest.approx([5200.6] * 9, rel=2e-3)
    assert answers[2] == answers[3]


def test_volts_are_a_function_too() -> None:
    to = scpi()
    assert abs(float(said(to, "MEAS:VOLT:DC?")[0])) < 1e-3
    assert said(to, "FUNC?", "CONF?") == ['"VOLT"', '"VOLT +1.00000000E+08,+1.00000000E+03"']


@pytest.mark.parametrize(
    ("knows", "refused", "known"),
    [
        ({"only_measure": True}, "READ?", "MEAS:RES?"),
        ({"only_measure": True}, "FUNC?", "MEAS:FRES?"),
        ({"integration": False}, "RES:NPLC 1", "RES:RANG?"),
        ({"four_wire": False}, 'FUNC "FRES"', "READ?"),
        ({"four_wire": False}, "CONF:FRES", "READ?"),
        ({"bursts": False}, "SAMP:COUN 5", "SAMP:COUN?"),
        ({"settings": False}, "FUNC?", "CONF?"),
        ({"configure": False}, "CONF:RES", "FUNC?"),
    ],
)
def test_a_meter_that_knows_less_refuses_the_rest(
    knows: dict[str, bool], refused: str, known: str
) -> None:
    to = scpi(**knows)
    assert said(to, refused) == []
    code = said(to, "SYST:ERR?")[0].split(",")[0]
    assert code in ("-113", "-224")
    assert len(said(to, known)) == 1


def test_a_meter_without_error_queue_leaves_the_question_unanswered() -> None:
    assert said(scpi(errors=False), "BAD", "SYST:ERR?", "*ESR?") == ["160"]


def test_an_identity_can_be_lent() -> None:
    assert said(scpi(identity="A,B,0,1"), "*IDN?") == ["A,B,0,1"]


@given(st.binary(max_size=200))
def test_no_bytes_break_the_personality(data: bytes) -> None:
    to = scpi()
    to.feed(data + b"\n*CLS\n")
    assert said(to, "SYST:ERR?") == ['+0,"No error"']


# --- trouble ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("what", "goes_out"),
    [
        (LineFaults.STALL, b""),
        (LineFaults.HALF, b"+1.2"),
        (LineFaults.RUBBISH, FaultInjector.RUBBISH),
        (LineFaults.NOT_A_NUMBER, b"+9.91000000E+37\n"),
        (LineFaults.DROP, None),
    ],
)
def test_trouble_spoils_as_many_answers_as_it_says(
    what: LineFaults, goes_out: bytes | None
) -> None:
    answer = b"+1.2E+00\n"
    line = FaultInjector()
    line.make(LineFault(what=what, after=1, times=2))
    assert line.spoil(b"") == b""
    assert [line.spoil(answer) for _ in range(4)] == [answer, goes_out, goes_out, answer]
