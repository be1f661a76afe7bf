"""A virtual meter that speaks SCPI: bytes in, bytes out.

Only standard commands, as far as ``Knowledge`` lets it know them. Refusals go into an error queue
as the standard has it; a query that is not understood gets no answer at all.
"""

from collections import deque
from collections.abc import Callable
from functools import partial
from typing import Final

from drivers.simulated.meter import VirtualMeter, VirtualSample
from drivers.simulated.scenario import Knowledge
from drivers.simulated.scpi_parser import HeaderError, ProgramMessageUnit, number, spellings, units
from meterlink import __version__
from meterlink.reading import Quantity

MAKER: Final = "meterlink"


MODEL: Final = "simulated bench meter"


def identity_of(port: int | None) -> str:
    """Return what the simulated bench answers to ``*IDN?``; ``port``: where its hands are lent."""
    return f"{MAKER},{MODEL},0,{__version__}" + ("" if port is None else f"+hands.{port}")


OWN_IDENTITY: Final = identity_of(None)
OVERLOAD: Final = 9.9e37
NOT_A_NUMBER: Final = 9.91e37
LONGEST_MESSAGE: Final = 4096
_QUEUE: Final = 20
_MOST_SAMPLES: Final = 10_000

ERRORS: Final = {
    0: "No error",
    -102: "Syntax error",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -230: "Data corrupt or stale",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
}
"""Numbers and texts of SCPI-1999 volume 2, chapter 21."""

_EVENT_BITS: Final = {1: 32, 2: 16, 3: 8, 4: 4}
"""Bit of the event status register by the hundreds of an error's number (IEEE 488.2, 11.5.1)."""

Handler = Callable[[ProgramMessageUnit], str | None]


class RefusedError(Exception):
    """A unit that goes into the error queue instead of being done."""

    def __init__(self, code: int, about: str = "") -> None:
        super().__init__(code, about)
        self.code = code
        self.about = about


class ScpiPersonality:
    """One connection's worth of SCPI in front of a meter."""

    def __init__(
        self, meter: VirtualMeter, knowledge: Knowledge, identity: str = OWN_IDENTITY
    ) -> None:
        """``identity``: what it is where ``knowledge`` does not say."""
        self._meter = meter
        self._knows = knowledge
        self._identity = knowledge.identity or identity
        self._rest = b""
        self._queue: deque[tuple[int, str]] = deque()
        self._event_status = 128
        self._enable = 0
        self._samples = 1
        self._last: list[VirtualSample] = []
        self._commands: dict[str, Handler] = {}
        self._queries: dict[str, Handler] = {}
        self._learn()

    def feed(self, data: bytes) -> bytes:
        """Take what came in; return what goes out, measurements and all."""
        *lines, self._rest = (self._rest + data).split(b"\n")
        if len(self._rest) > LONGEST_MESSAGE:
            self._rest = b""
            self._refuse(-363)
        return b"".join(self._obey(line) for line in lines)

    def forget_input(self) -> None:
        """A connection ended: half a message that it left is nobody's."""
        self._rest = b""

    def _obey(self, line: bytes) -> bytes:
        answers: list[str] = []
        try:
            for unit in units(line.decode("ascii").strip()):
                try:
                    answer = self._do(unit)
                except RefusedError as refusal:
                    self._refuse(refusal.code, refusal.about)
                else:
                    if answer is not None:
                        answers.append(answer)
        except HeaderError as fault:
            self._refuse(-102, str(fault))
        except UnicodeDecodeError:
            self._refuse(-102)
        return (";".join(answers) + "\n").encode("ascii") if answers else b""

    def _do(self, unit: ProgramMessageUnit) -> str | None:
        known = self._queries if unit.query else self._commands
        handler = known.get(unit.header)
        if handler is None:
            raise RefusedError(-113, unit.header)
        return handler(unit)

    def _refuse(self, code: int, about: str = "") -> None:
        self._event_status |= _EVENT_BITS.get(-code // 100, 0)
        if len(self._queue) >= _QUEUE:
            self._queue[-1] = (-350, "")
        else:
            self._queue.append((code, about))

    # --- what it knows -----------------------------------------------------------------------

    def _learn(self) -> None:
        self._learn_common()
        knows = self._knows
        functions = ["RESistance", "VOLTage[:DC]"]
        if knows.four_wire:
            functions.append("FRESistance")
        for function in functions:
            self._on(f"MEASure[:SCALar]:{function}", query=partial(self._measure, function))
        if knows.errors:
            self._on("SYSTem:ERRor[:NEXT]", query=self._next_error)
            self._on("SYSTem:ERRor:COUNt", query=lambda _: str(len(self._queue)))
        if knows.only_measure:
            return
        self._learn_trigger()
        if knows.configure:
            for function in functions:
                self._on(
                    f"CONFigure[:SCALar]:{function}",
                    partial(self._configure, function),
                )
            self._on("CONFigure", query=lambda _: self._configured())
        if knows.settings:
            self._on("CALCulate:STATe", query=lambda _: "0")
            self._on("[SENSe]:FUNCtion[:ON]", self._choose, lambda _: f'"{self._function()}"')
            for function in functions:
                self._learn_function(function)

    def _learn_common(self) -> None:
        self._on("*IDN", query=lambda _: self._identity)
        self._on("*RST", lambda _: self._reset())
        self._on("*CLS", lambda _: self._clear())
        self._on("*ESR", query=lambda _: self._read_event_status())
        self._on("*ESE", self._set_enable, lambda _: str(self._enable))
        self._on("*STB", query=lambda _: str(self._status()))
        self._on("*OPC", lambda _: self._complete(), lambda _: "1")
        self._on("*WAI", lambda _: None)
        self._on("*TST", query=lambda _: "0")
        self._on("SYSTem:VERSion", query=lambda _: "1999.0")
        self._on("SYSTem:LFRequency", query=lambda _: str(self._meter.character.mains_hz))
        for way in ("LOCal", "REMote", "RWLock"):
            self._on(f"SYSTem:{way}", lambda _: None)

    def _learn_trigger(self) -> None:
        self._on("INITiate[:IMMediate]", lambda _: self._initiate())
        self._on("FETCh", query=lambda _: self._fetch())
        self._on("READ", query=lambda _: self._read())
        self._on("ABORt", lambda _: None)
        self._on("TRIGger[:SEQuence]:SOURce", self._only("IMM", "IMMEDIATE"), lambda _: "IMM")
        self._on("TRIGger[:SEQuence]:COUNt", self._only("1"), lambda _: "+1")
        self._on("FORMat[:DATA]", self._only("ASC", "ASCII"), lambda _: "ASC")
        if self._knows.bursts:
            self._on("SAMPle:COUNt", self._set_samples, lambda _: f"{self._samples:+d}")
        else:
            self._on("SAMPle:COUNt", self._only("1"), lambda _: "+1")

    def _learn_function(self, function: str) -> None:
        quantity, _ = _MEANS[function]
        base = f"[SENSe]:{function}"
        if quantity is Quantity.RESISTANCE:
            meter = self._meter
            self._on(f"{base}:RANGe[:UPPer]", self._set_range, lambda _: nr3(meter.range))
            self._on(f"{base}:RANGe:AUTO", self._set_auto, lambda _: str(int(meter.autorange)))
            self._on(f"{base}:RESolution", query=lambda _: nr3(meter.resolution))
            self._on(f"{base}:REFerence:STATe", query=lambda _: "0")
        if self._knows.integration:
            self._on(f"{base}:NPLCycles", self._set_nplc, lambda _: nr3(self._meter.nplc))

    def _on(
        self, pattern: str, command: Handler | None = None, query: Handler | None = None
    ) -> None:
        for header in spellings(pattern):
            if command is not None:
                self._commands[header] = command
            if query is not None:
                self._queries[header] = query

    # --- common commands ---------------------------------------------------------------------

    def _reset(self) -> None:
        self._meter.reset()
        self._samples, self._last = 1, []

    def _clear(self) -> None:
        self._queue.clear()
        self._event_status = 0

    def _complete(self) -> None:
        self._event_status |= 1

    def _read_event_status(self) -> str:
        status, self._event_status = self._event_status, 0
        return str(status)

    def _set_enable(self, unit: ProgramMessageUnit) -> None:
        self._enable = int(_in_range(unit, 0, 255))

    def _status(self) -> int:
        return 4 * bool(self._queue) | 32 * bool(self._event_status & self._enable)

    def _next_error(self, _unit: ProgramMessageUnit) -> str:
        code, about = self._queue.popleft() if self._queue else (0, "")
        text = f"{ERRORS[code]};{about}" if about else ERRORS[code]
        return f'{code},"{text[:255]}"' if code < 0 else f'+{code},"{text}"'

    # --- settings ----------------------------------------------------------------------------

    def _function(self) -> str:
        if self._meter.quantity is Quantity.VOLTAGE:
            return "VOLT"
        return "FRES" if self._meter.four_wire else "RES"

    def _select(self, function: str) -> None:
        self._meter.quantity, self._meter.four_wire = _MEANS[function]
        self._last = []

    def _choose(self, unit: ProgramMessageUnit) -> None:
        name = _one(unit).strip("\"'").upper()
        for function in _MEANS:
            if name in spellings(function):
                if function == "FRESistance" and not self._knows.four_wire:
                    break
                self._select(function)
                return
        raise RefusedError(-224, name)

    def _configure(self, function: str, unit: ProgramMessageUnit) -> None:
        self._meter.reset()
        self._samples = 1
        self._select(function)
        if unit.parameters and unit.parameters[0].upper() not in ("AUTO", "DEF", "DEFAULT"):
            self._set_range(ProgramMessageUnit(unit.header, False, unit.parameters[:1]))

    def _configured(self) -> str:
        return f'"{self._function()} {nr3(self._meter.range)},{nr3(self._meter.resolution)}"'

    def _set_range(self, unit: ProgramMessageUnit) -> None:
        ranges = self._meter.character.ranges
        named = {"MIN": ranges[0], "MAX": ranges[-1], "DEF": ranges[-1]}
        text = _one(unit).upper()
        wanted = named.get(text[:3]) if text.isalpha() else number(text)
        if wanted is None:
            raise RefusedError(-104, text)
        if wanted < 0 or not self._meter.choose_range(float(wanted)):
            raise RefusedError(-222, text)

    def _set_auto(self, unit: ProgramMessageUnit) -> None:
        text = _one(unit).upper()
        if text not in ("ON", "OFF", "1", "0"):
            raise RefusedError(-224, text)
        self._meter.autorange = text in ("ON", "1")

    def _set_nplc(self, unit: ProgramMessageUnit) -> None:
        character = self._meter.character
        self._meter.nplc = _in_range(unit, character.finest_nplc, character.longest_nplc)

    def _set_samples(self, unit: ProgramMessageUnit) -> None:
        self._samples = int(_in_range(unit, 1, _MOST_SAMPLES))

    def _only(self, *allowed: str) -> Handler:
        def take(unit: ProgramMessageUnit) -> None:
            if _one(unit).upper() not in allowed:
                raise RefusedError(-224, _one(unit))

        return take

    # --- measuring ---------------------------------------------------------------------------

    def _initiate(self) -> None:
        self._last = [self._meter.measure() for _ in range(self._samples)]

    def _fetch(self) -> str:
        if not self._last:
            raise RefusedError(-230)
        return ",".join(_written(sample) for sample in self._last)

    def _read(self) -> str:
        self._initiate()
        return self._fetch()

    def _measure(self, function: str, unit: ProgramMessageUnit) -> str:
        self._configure(function, unit)
        return self._read()


_MEANS: Final = {
    "RESistance": (Quantity.RESISTANCE, False),
    "FRESistance": (Quantity.RESISTANCE, True),
    "VOLTage[:DC]": (Quantity.VOLTAGE, False),
}


def nr3(value: float) -> str:
    """Return a number as SCPI meters write it: ``+8.42000000E-01``."""
    return f"{value:+.8E}"


def _written(sample: VirtualSample) -> str:
    return nr3(OVERLOAD if sample.overload else sample.value)


def _one(unit: ProgramMessageUnit) -> str:
    if not unit.parameters:
        raise RefusedError(-109, unit.header)
    if len(unit.parameters) > 1:
        raise RefusedError(-108, unit.header)
    return unit.parameters[0]


def _in_range(unit: ProgramMessageUnit, low: float, high: float) -> float:
    text = _one(unit).upper()
    if text.isalpha():
        named = {"MIN": low, "MAX": high}.get(text[:3])
        if named is None:
            raise RefusedError(-224, text)
        return named
    value = number(text)
    if value is None:
        raise RefusedError(-104, text)
    if not low <= value <= high:
        raise RefusedError(-222, text)
    return value
