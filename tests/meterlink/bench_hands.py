"""A bench fed as a meter of ten readings a second would, on a profile and cards made for tests."""

import math
import random

from meterlink.bench.bench import Bench
from meterlink.card import BenchEvent, Card, read_card
from meterlink.commands import AnyCommand, CallOpen, Confirm, Enter
from meterlink.events import StepEnded
from meterlink.profile import Profile, read_profile
from meterlink.reading import Quantity, Reading
from meterlink.source import Setting
from meterlink.steps.worker import ON_METAL

PROFILE = read_profile(
    b"""
format = 1
id = "test"
name = "test"
[[winding]]
name = "primary"
between = ["terminal", "laminations"]
low = "0.7 ohm"
high = "1.0 ohm"
open_above = "50 ohm"
short_below = "0.2 ohm"
source = "common practice, no published source"
[[winding]]
name = "secondary"
between = ["plug lead", "laminations"]
low = "4 kohm"
high = "7 kohm"
open_above = "200 kohm"
source = "common practice, no published source"
[[winding]]
name = "suppressed"
between = ["plug lead", "laminations"]
low = "4 kohm"
high = "7 kohm"
open_above = "200 kohm"
series = "5 kohm"
series_tolerance = 5
source = "common practice, no published source"
[[winding]]
name = "module"
between = ["plug lead", "laminations"]
judged_by_resistance = false
why_not = "electronics in line with the winding"
source = "common practice, no published source"
[[switch]]
name = "stop switch"
between = ["stop wire", "block"]
positions = { stop = "closed", run = "open" }
source = "common practice, no published source"
[[insulation]]
name = "insulation"
between = ["primary terminal", "laminations"]
at_least = "10 Mohm"
source = "common practice, no published source"
[[lead]]
name = "plug lead"
between = ["one end", "other end"]
low = "0 ohm"
high = "5 ohm"
source = "common practice, no published source"
[[gap]]
name = "armature"
low = "0.25 mm"
high = "0.36 mm"
source = "for this test"
[[torque]]
name = "shroud"
low = "9 N\xc2\xb7m"
high = "10 N\xc2\xb7m"
source = "for this test"
""",
    "test.toml",
)

CAUTIONS = '[[step]]\nkind = "caution"\nid = "cautions"\ntitle = "Cautions"\n'


def card(*steps: str) -> Card:
    """Return a card of the cautions and ``steps``, each a TOML table without its heading."""
    text = 'format = 1\nid = "test"\ntitle = "Test"\n' + CAUTIONS
    text += "".join(f"[[step]]\n{step}\n" for step in steps)
    return read_card(text.encode(), "test.toml")


LEAD_ZERO = 'kind = "lead-zero"\nid = "lead-zero"\ntitle = "Lead zero"'
PRIMARY = 'kind = "measurement"\nid = "primary"\ntitle = "Primary"\nwinding = "primary"'
SECONDARY = 'kind = "measurement"\nid = "secondary"\ntitle = "Secondary"\nwinding = "secondary"'
MODULE = 'kind = "measurement"\nid = "module"\ntitle = "Module"\nwinding = "module"'
SWITCH = 'kind = "switch-check"\nid = "switch"\ntitle = "Switch"\nswitch = "stop switch"'
GAP = 'kind = "entry"\nid = "gap"\ntitle = "Air gap"\ntakes = "gap"\nof = "armature"'
TORQUE = 'kind = "entry"\nid = "torque"\ntitle = "Shroud"\ntakes = "torque"\nof = "shroud"'
AMBIENT = 'kind = "entry"\nid = "ambient"\ntitle = "Ambient"\ntakes = "temperature"'

OVER = None
"""A reading over range."""


class Hands:
    """Feeds a bench as a meter of ten readings a second would, and keeps what happens."""

    def __init__(self, card: Card, profile: Profile = PROFILE, **kwargs: object) -> None:
        self.bench = Bench(card, profile, **kwargs)  # type: ignore[arg-type]
        self.t = 0.0
        self.noise = random.Random(1)
        self.events: list[BenchEvent] = list(self.bench.begin(0.0))

    def cautions(self) -> "Hands":
        return self.tell(Confirm())

    def read(
        self,
        value: float | None,
        seconds: float = 1.6,
        step: float = 0.001,
        quantity: Quantity = Quantity.RESISTANCE,
    ) -> "Hands":
        """Let the meter show ``value`` for so long, with a little noise; None: over range."""
        for _ in range(round(seconds * 10)):
            self.t += 0.1
            if value is None:
                reading = Reading(self.t, math.inf, quantity, overload=True, resolution=step)
            else:
                shown = round((value + self.noise.gauss(0, step)) / step) * step
                reading = Reading(self.t, shown, quantity, resolution=step)
            self.events += self.bench.feed(reading)
        return self

    def touch(self, ohms: float | None, seconds: float = 1.6, step: float = 0.001) -> "Hands":
        """Touch for so long, then lift."""
        return self.read(ohms, seconds, step).read(OVER, 1.0, step)

    def twice(self, ohms: float | None, seconds: float = 1.6, step: float = 0.001) -> "Hands":
        """Touch two times, as a verdict against the part asks for."""
        return self.touch(ohms, seconds, step).touch(ohms, seconds, step)

    def set(self, setting: Setting) -> "Hands":
        self.events += self.bench.set_meter(setting, self.t)
        return self

    def tell(self, command: AnyCommand) -> "Hands":
        self.events += self.bench.tell(command, self.t)
        return self

    def call_open(self) -> "Hands":
        """Call what reads over range open, and say that both tips are on bare metal."""
        return self.tell(CallOpen()).tell(Enter(text=ON_METAL))

    def all(self, kind: type[BenchEvent]) -> list:  # type: ignore[type-arg]
        return [event for event in self.events if isinstance(event, kind)]

    def last(self, kind: type[BenchEvent]):  # type: ignore[no-untyped-def]
        return self.all(kind)[-1]

    @property
    def outcomes(self) -> dict[str, str]:
        return {e.step: e.outcome for e in self.all(StepEnded)}
