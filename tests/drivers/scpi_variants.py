"""Instruments that use the freedoms of IEEE 488.2 and SCPI-99, and some that stretch them.

Each is served over a real socket. What is common to all lies in ``Instrument``; a variant only says
in what it differs. The value under the probes is always 842.0 ohm, then an open.
"""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

OHMS = 842.0
OPEN = float("inf")
READ_QUERIES = ("READ?", "FETC?", "MEAS:RES?")


@dataclass
class Variant:
    """In what one instrument differs."""

    name: str
    identity: bytes | None = b"Invented,Bench,1234,1.0"
    number: Callable[[float], str] = field(default=lambda ohms: f"{ohms:+.8E}")
    over: str = "+9.90000000E+37"
    end: bytes = b"\n"
    takes: bytes = b"\n"
    """What ends a command that it takes."""
    prompt: bytes = b""
    """Sent after each line that came."""
    prompt_first: bool = False
    """The prompt comes before the answer."""
    echo: bool = False
    ok: bytes = b""
    """Sent after each command without an answer."""
    queue: bool = True
    entry: str = '{code},"{text}"'
    status: bool = True
    refusal: bytes = b""
    """Sent in answer to what it does not know."""
    knows: tuple[str, ...] = ("FUNC", "CONF", "RANG", "NPLC", "READ", "INIT", "MEAS", "TRIG")
    slow_s: float = 0.0
    """How long a reading takes."""
    slow_identity_s: float = 0.0
    deaf_s: float = 0.0
    """How long it takes nothing in after a command without an answer."""
    remote_first: bool = False
    binary: bool = False
    greeting: bytes = b""
    wire: str | None = None
    headers: bool = False
    """Every answer begins with its header (IEEE 488.2, 8.2), but for common queries."""
    stray: bytes = b""
    """Comes before every answer."""
    functions: Callable[[str], str] = field(default=lambda name: f'"{name}"')
    split_s: float = 0.0
    """A pause in the middle of each answer."""


class Instrument:
    """Takes bytes, gives the bytes to send back, each with a pause before it."""

    def __init__(self, variant: Variant) -> None:
        self.variant = variant
        self.errors: list[tuple[int, str]] = []
        self.rest = b""
        self.function, self.range, self.auto, self.nplc = "VOLT", 1000.0, True, 10.0
        self.remote = False
        self.binary = variant.binary
        self.event_status = 0
        self.open = False
        self.rest = b""
        self.deaf_until = 0.0
        self.heard: list[str] = []

    def feed(self, data: bytes) -> Iterator[tuple[float, bytes]]:
        """Yield what goes out, with the pause before it, seconds."""
        v = self.variant
        self.rest += data
        while v.takes in self.rest:
            line, _, self.rest = self.rest.partition(v.takes)
            if time.monotonic() < self.deaf_until:
                continue
            text = line.decode("ascii", "replace").strip()
            self.heard.append(text)
            if v.echo:
                yield 0, line.strip() + b"\r\n"
            answer, pause = self.obey(text)
            if v.prompt and v.prompt_first:
                yield 0, v.prompt
            if answer is not None:
                on = v.headers and not text.startswith("*")
                header = f":{text.rstrip('?').partition(' ')[0]} " if on else ""
                whole = v.stray + header.encode() + answer + v.end
                if v.split_s:
                    half = len(whole) // 2
                    yield pause, whole[:half]
                    yield v.split_s, whole[half:]
                else:
                    yield pause, whole
            elif v.ok:
                yield 0, v.ok
            if answer is None and text and not text.endswith("?"):
                self.deaf_until = time.monotonic() + v.deaf_s
            if v.prompt and not v.prompt_first:
                yield 0, v.prompt

    def obey(self, text: str) -> tuple[bytes | None, float]:
        v = self.variant
        header, _, value = text.partition(" ")
        if header == "*IDN?" and v.identity is not None:
            return v.identity, v.slow_identity_s
        if header == "*CLS":
            self.errors.clear()
            self.event_status = 0
            return None, 0
        if header == "SYST:ERR?" and v.queue:
            code, said = self.errors.pop(0) if self.errors else (0, "No error")
            return v.entry.format(code=code, text=said).encode(), 0
        if header == "*ESR?" and v.status:
            status, self.event_status = self.event_status, 0
            return str(status).encode(), 0
        if header in ("SYST:REM", "SYST:LOC"):
            self.remote = header == "SYST:REM"
            return None, 0
        if not text:
            return None, 0
        return self.measure_or_set(header, value)

    def measure_or_set(self, header: str, value: str) -> tuple[bytes | None, float]:
        v = self.variant
        query = header.endswith("?")
        if header in READ_QUERIES and self.knows_reading(header):
            if header.startswith("MEAS"):
                self.function = "RES"
            return self.reading(), v.slow_s
        if header == "INIT" and "INIT" in v.knows:
            return None, 0
        if not query and v.remote_first and not self.remote:
            return self.refuse(-203, "Command protected")
        if header[:4] in ("FUNC", "CONF") and header[:4] in v.knows:
            return self.choose(header, value), 0
        if header.rstrip("?") in ("TRIG:SOUR", "SAMP:COUN") and "TRIG" in v.knows:
            return (None if not query else b"IMM" if "SOUR" in header else b"1"), 0
        if header.rstrip("?") == "FORM:DATA":
            if query:
                return (b"REAL,64" if self.binary else b"ASC"), 0
            self.binary = not value.startswith("ASC")
            return None, 0
        return self.setting(header.rstrip("?"), value, query=query)

    def knows_reading(self, header: str) -> bool:
        knows = self.variant.knows
        return "INIT" in knows if header == "FETC?" else header[:4] in knows

    def choose(self, header: str, value: str) -> bytes | None:
        if header == "FUNC?":
            return self.variant.functions(self.function).encode()
        if header == "CONF?":
            return f'"{self.function} +1.0E+03,+1.0E-03"'.encode()
        self.function = value.strip("\"'") if header == "FUNC" else header.partition(":")[2]
        return None

    def setting(self, header: str, value: str, *, query: bool) -> tuple[bytes | None, float]:
        function, _, rest = header.partition(":")
        knows = self.variant.knows
        if function in ("RES", "FRES", "VOLT") and rest.removeprefix("DC:") in (
            "RANG",
            "RANG:AUTO",
            "NPLC",
        ):
            name = rest.removeprefix("DC:")
            if name[:4] in knows:
                if name == "RANG":
                    if query:
                        return f"{self.range:+.6E}".encode(), 0
                    try:
                        self.range, self.auto = float(value), False
                    except ValueError:
                        return self.refuse(-104, "Data type error")
                elif name == "NPLC":
                    if query:
                        return f"{self.nplc:+.6E}".encode(), 0
                    try:
                        self.nplc = float(value)
                    except ValueError:
                        return self.refuse(-104, "Data type error")
                else:
                    if query:
                        return str(int(self.auto)).encode(), 0
                    self.auto = value in ("ON", "1")
                return None, 0
        return self.refuse(-113, "Undefined header")

    def refuse(self, code: int, text: str) -> tuple[bytes | None, float]:
        self.errors.append((code, text))
        self.event_status |= 32
        return (self.variant.refusal or None), 0

    def reading(self) -> bytes:
        if self.binary:
            return b"#18\x40\x8a\x50\x00\x00\x00\x00\x00"
        if self.function not in ("RES", "FRES"):
            return b"+0.95000000E+00"
        return (self.variant.over if self.open else self.variant.number(OHMS)).encode("latin-1")


VARIANTS = [
    Variant("plain, all that is asked for"),
    Variant("answers end with CR LF", end=b"\r\n"),
    Variant("answers end with CR", end=b"\r"),
    Variant("takes only CR as an end", takes=b"\r", end=b"\r"),
    Variant("answers have no end at all", end=b""),
    Variant("answers in two pieces", split_s=0.1),
    Variant("identity of one field", identity=b"Bench multimeter"),
    Variant("identity of one word", identity=b"BM34"),
    Variant("identity in quotes", identity=b'"Invented,Bench,1234,1.0"'),
    Variant("identity in Latin-1", identity="Prüfgerätebau,Meßgerät,7,1.0 µ".encode("latin-1")),
    Variant("identity begins with a digit", identity=b"4 1/2 digit meter,rev B"),
    Variant("no identity, but an error queue", identity=None),
    Variant(
        "no identity, no queue, no status; asked for by name",
        identity=None,
        queue=False,
        status=False,
        wire="scpi",
    ),
    Variant("prompt before each answer", prompt=b"SCPI> ", prompt_first=True),
    Variant("prompt after each answer", prompt=b"> ", end=b"\r\n"),
    Variant("echo of each command", echo=True),
    Variant("echo and prompt", echo=True, prompt=b"=>", end=b"\r\n"),
    Variant("OK after each command", ok=b"OK\r\n", end=b"\r\n"),
    Variant("unit behind the number", number=lambda r: f"{r:+.6E} OHM", over="+9.9E37 OHM"),
    Variant("unit with its prefix", number=lambda r: f"{r / 1e3:.4f} kOhm", over="OL kOhm"),
    Variant("unit close behind", number=lambda r: f"{r:+.6E}OHM", over="+9.9E37OHM"),
    Variant("label before the number", number=lambda r: f"RES {r:+.6E}", over="RES +9.9E37"),
    Variant("label with a colon", number=lambda r: f"R: {r:.2f}", over="R: OL"),
    Variant("headers on", headers=True),
    Variant(
        "value, time, count",
        number=lambda r: f"{r:+.6E},+12.345,+00017",
        over="+9.9E37,+12.345,+00017",
    ),
    Variant(
        "value, time, count with units",
        number=lambda r: f"{r:+.6E}OHM,+12.345SECS,+00017RDNG#",
        over="+9.9E37OHM,+12.345SECS,+00017RDNG#",
    ),
    Variant("OL for over range", over="OL"),
    Variant("overload in words", over="OVERFLOW"),
    Variant("INF for over range", over="+INF"),
    Variant("INFINITY for over range", over="INFINITY"),
    Variant("whole numbers", number=lambda r: f"{r:.0f}", over="99" + "0" * 36),
    Variant("small e, no plus", number=lambda r: f"{r:.5e}", over="9.9e37"),
    Variant(
        "blanks around and leading zeros", number=lambda r: f"  +000{r:.3f} \t", over=" +9.9E+37 "
    ),
    Variant(
        "a block around the number", number=lambda r: "#210" + f"{r:+010.3f}", over="#207+9.9E37"
    ),
    Variant("a reading takes 2.6 s", slow_s=2.6),
    Variant("the identity takes 1.8 s", slow_identity_s=1.8),
    Variant("deaf for 60 ms after each command", deaf_s=0.06),
    Variant("deaf for 250 ms after each command", deaf_s=0.25),
    Variant("says ERROR to what it does not know", refusal=b"ERROR"),
    Variant("says ? to what it does not know, no queue", refusal=b"?", queue=False, status=False),
    Variant("silent to what it does not know, no queue", queue=False, status=False),
    Variant("event status alone", queue=False),
    Variant("error numbers alone", entry="{code}"),
    Variant("error text without quotes", entry="{code:+d},{text}"),
    Variant("only CONFigure", knows=("CONF", "READ", "INIT", "MEAS", "TRIG")),
    Variant("only MEASure", knows=("MEAS",)),
    Variant("only INITiate and FETCh", knows=("FUNC", "RANG", "NPLC", "INIT")),
    Variant("remote control first", remote_first=True),
    Variant("binary as another program left it", binary=True),
    Variant("a banner on connecting", greeting=b"Welcome to the bench\r\nready\r\n"),
    Variant("XON and XOFF among the bytes", stray=b"\x11"),
    Variant("NULs among the bytes", stray=b"\0\0"),
    Variant(
        "long names without quotes", functions=lambda f: {"RES": "RESISTANCE"}.get(f, "VOLTAGE:DC")
    ),
]
