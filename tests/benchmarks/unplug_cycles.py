"""Two hundred times out and in again for each kind of link: what is lost, and what is doubled.

What is sent is numbered. Between an unplug and the next the reader first comes to what was sent
after the plug was back, so that each unplug is one that it can notice: bytes that lay in a buffer
of the system would else hide some. Then every number must follow the one before; only a gap that
was told may lie between.

Run ``python tests/benchmarks/unplug_cycles.py [CYCLES]``.
"""

import contextlib
import itertools
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

sys.path.insert(0, str(Path(__file__).parents[2]))

from drivers.clock import MonotonicClock
from drivers.frames.store import SHIPPED, load
from drivers.links.transports import Visa
from drivers.opening import ReconnectingSource, open_source
from drivers.simulated.meter import VirtualSample
from drivers.simulated.personality import ScpiPersonality
from drivers.simulated.scenario import Knowledge
from drivers.simulated.serve import PtyPort, StreamPort, TcpPort
from meterlink.errors import MeterError
from meterlink.events import Gap
from meterlink.reading import Quantity
from meterlink.source import Source
from tests.drivers.test_hid import HID, PORT, Bus

CYCLES = 200
READINGS = 5
"""Between two unplugs, after those that were on their way."""
MOST = 19_000


class Plug:
    """A meter that can be unplugged: numbered readings in hundredths, one after another."""

    def __init__(self, port: StreamPort, talk: Callable[["Plug"], None], **options: object) -> None:
        self.port, self.options = port, options
        self.sent = 0
        self.lock = threading.Lock()
        self._stop = threading.Event()
        self._talk = talk
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        while not self._stop.is_set():
            with self.lock:
                if self.port.name:
                    with contextlib.suppress(OSError):
                        self._talk(self)
            time.sleep(0.001)

    def open(self, clock: MonotonicClock) -> Source:
        if not self.port.name:
            raise MeterError("unplugged")
        return open_source(self.port.name, clock=clock, **self.options)

    def out_and_in(self) -> int:
        """Unplug and plug in; return the number of the last reading that was sent before."""
        with self.lock:
            self.port.unplug()
        time.sleep(0.005)
        with self.lock:
            self.port.plug_in(elsewhere=False)
            return self.sent

    def close(self) -> None:
        self._stop.set()
        with self.lock:
            self.port.unplug()


def streaming(port: StreamPort) -> Plug:
    encoder = load("bcd-nibbles-8").encoder()

    def talk(plug: Plug) -> None:
        plug.sent += 1
        port.send(encoder.frame(plug.sent % MOST / 100))

    return Plug(port, talk, wire="bcd-nibbles-8")


def asked(visa: Visa | None) -> Plug:
    """An instrument that speaks SCPI behind a socket."""
    port = TcpPort()
    meter = SimpleNamespace(
        quantity=Quantity.RESISTANCE, four_wire=False, autorange=True, range=1e3, nplc=1.0,
        resolution=0.01, reset=lambda: None, choose_range=lambda _: True,
        character=SimpleNamespace(mains_hz=50, ranges=(1e3,), finest_nplc=0.02, longest_nplc=100.0),
    )  # fmt: skip
    personality = ScpiPersonality(meter, Knowledge())

    def talk(plug: Plug) -> None:
        data = port.receive(0.005)
        if data:
            port.send(personality.feed(data))

    plug = Plug(port, talk, wire="scpi", visa=visa)

    def measure() -> VirtualSample:
        plug.sent += 1
        value = plug.sent % MOST / 100
        return VirtualSample(0.0, Quantity.RESISTANCE, value, False, 1e3, 0.01)

    meter.measure = measure
    return plug


class HidPlug:
    """A fake device at the boundary of the library, as no hardware is here; nothing is numbered."""

    sent = 0

    def __init__(self) -> None:
        self.bus = Bus()
        sys.modules["hid"] = self.bus.module()
        text = (SHIPPED / "ascii-digits-11.toml").read_text("utf-8")
        place = text.index("[line]")
        self._file = Path(__file__).with_name("unplug-hid.toml")
        self._file.write_text(text[:place] + HID + text[place:], "utf-8")

    def open(self, clock: MonotonicClock) -> Source:
        return open_source(PORT, wire=str(self._file), clock=clock)

    def out_and_in(self) -> int:
        self.bus.plugs += 1
        return 0

    def close(self) -> None:
        self._file.unlink()


def cycles(plug: Plug | HidPlug, count: int) -> dict[str, int]:
    """Return what was right and what was not."""
    clock, stop, gaps = MonotonicClock(), threading.Event(), list[Gap]()
    counts = dict.fromkeys(("readings", "lost", "doubled", "time back"), 0)

    def opened() -> Source:
        return plug.open(clock)

    # A pseudo-terminal comes back under another name, which a real port's identity would tell.
    source = ReconnectingSource(opened(), opened, clock, gaps.append, retry_s=0.005)
    readings = source.readings(stop)
    last_t, last, told = -1.0, None, 0
    sent = 0
    for cycle in itertools.count():
        fresh = 0
        while fresh < READINGS:
            reading = next(readings)
            number = round(reading.value * 100)
            counts["readings"] += 1
            counts["time back"] += reading.t <= last_t
            if last is not None and not isinstance(plug, HidPlug):
                step = (number - last) % MOST
                counts["doubled"] += step == 0 or step > MOST // 2
                counts["lost"] += max(0, step - 1) if len(gaps) == told and step < MOST // 2 else 0
            told = len(gaps)
            last_t, last = reading.t, number
            fresh += isinstance(plug, HidPlug) or 0 < (number - sent) % MOST < MOST // 2
        if cycle == count:
            break
        sent = plug.out_and_in() % MOST
    stop.set()
    source.close()
    plug.close()
    return {**counts, "gaps": sum(gap.until is not None for gap in gaps)}


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else CYCLES
    print(f"{count} cycles")
    links = {
        "serial pseudo-terminal": lambda: streaming(PtyPort()),
        "TCP": lambda: streaming(TcpPort()),
        "HID (fake device)": HidPlug,
        "SCPI over a socket": lambda: asked(None),
        "SCPI over VISA's socket": lambda: asked("py"),
    }
    for kind, plug in links.items():
        began = time.monotonic()
        said = "  ".join(f"{name} {n}" for name, n in cycles(plug(), count).items())
        print(f"{kind:<26}{said}  {time.monotonic() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
