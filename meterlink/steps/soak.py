"""The soak: resistance of a winding over time while it warms or cools."""

import math
from collections.abc import Iterable
from typing import Final

from meterlink.commands import AnyCommand, Confirm
from meterlink.events import CommonEvent, Evidence, Held, StepEvent, TouchEvent
from meterlink.judging.correction import LeadZero, winding_temperature, without_leads
from meterlink.judging.criterion import Criterion
from meterlink.profile import Profile, Winding, named
from meterlink.quantities.notation import format_value
from meterlink.quantities.units import AsRead, Celsius, LeadCorrected, Seconds
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup
from meterlink.steps.held import expected, judged_over_range, wrong_unit
from meterlink.steps.step import CANNOT_TELL, SKIPPED, StepBase, StepState
from meterlink.steps.worker import StepContext, Worker, over_range_now

ROOM_C: Final = 20.0
"""Temperature taken for the start of a soak where none was entered."""
OFF_S: Final = 5.0
"""An over range that lasts longer is asked about: an open winding, or a clip that came off?"""

OPEN_WARM: Final = (
    "Over range: a clip came off, or the winding opened warm. Check both clips. If both are on "
    "bare metal, call it “open”."
)

WORDS: Final = {"opens-hot": "opens when hot"}


class SoakPoint(StepEvent, frozen=True, kw_only=True, tag="soak-point"):
    """While soaking: the mean since the last point. The first is the hold that it begins with."""

    value: float | None
    """Ohms as read; None where every reading was over range."""
    temperature: float | None
    """Degrees Celsius of the winding, from its resistance; at the first point as it was known."""
    over_range: int = 0
    """How many readings of the interval were over range."""
    lasted_s: float = 0.0
    """Seconds of the interval without those that were over range."""

    def tell(self, *, ohm_sign: bool) -> str:
        value = "over range" if self.value is None else format_value(self.value, ohm_sign=ohm_sign)
        warm = "" if self.temperature is None else f", {self.temperature:.0f} °C"
        return f"{value}{warm}"


class SoakState(StepState, kw_only=True):
    """From where a soak began to where it is."""

    start: SoakPoint | None = None
    newest: SoakPoint | None = None
    soaked_s: float = 0.0
    """Seconds that its points cover."""

    def apply(self, event: StepEvent) -> None:
        """Take the next point."""
        if isinstance(event, SoakPoint):
            self.start = self.start or event
            self.newest = event
            self.soaked_s += event.lasted_s


class SoakStep(StepBase, frozen=True, kw_only=True, forbid_unknown_fields=True, tag="soak"):
    """Resistance of a winding logged over time while it warms or cools."""

    winding: str
    lasts: Seconds = Seconds(600.0)
    every: Seconds = Seconds(10.0)
    from_temperature: Celsius | None = None

    @property
    def outcomes(self) -> frozenset[str]:
        return frozenset({"steady", "opens-hot", CANNOT_TELL, SKIPPED})

    @property
    def fault(self) -> str:
        if not 0 < self.every <= self.lasts:
            return ".every: expected more than nothing and at most “lasts”"
        return ""

    @property
    def wants(self) -> tuple[str, str]:
        return "winding", self.winding

    def part(self, profile: Profile) -> Winding:
        """Return its entry of ``profile``.

        Raises:
            KeyError: there is none.
        """
        return named(profile.winding, self.winding)

    def points(self, profile: Profile) -> tuple[str, ...]:
        return self.part(profile).between

    def outcome_words(self, outcome: str) -> str:
        return WORDS.get(outcome) or super().outcome_words(outcome)

    def is_good(self, outcome: str, profile: Profile | None) -> bool:
        """Return whether the winding stayed whole."""
        return outcome == "steady"

    def state(self) -> SoakState:
        return SoakState()

    def worker(self, around: StepContext) -> "SoakWorker":
        return SoakWorker(self, around)


class SoakWorker(Worker[SoakPoint]):
    """Writes a point at every interval: mean resistance, and the winding temperature it means.

    Its clock counts only while there are readings: over range says nothing of a winding, unless
    the technician says that the clips are on.
    """

    def __init__(self, step: SoakStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        self._part = step.part(around.profile)
        self._judges = self._part.judged_by_resistance
        if self._judges:
            self._look_by(self._part.criterion)
        zero = around.progress.lead_zero
        self._zero = None if zero is None else LeadZero(value=zero.value)
        known = around.progress.temperature
        self._cold_c: float = ROOM_C if known is None else known
        if step.from_temperature is not None:
            self._cold_c = step.from_temperature
        self._cold: LeadCorrected | None = None
        """Ohms of the copper at the start."""
        self._soaked_s = 0.0
        """Seconds of readings so far."""
        self._resume()
        self._last_t: float | None = None
        self._over_t: float | None = None
        self._asked_on = False
        self._point_t: float | None = None
        self._sum, self._count, self._over, self._lasted = 0.0, 0, 0, 0.0

    @property
    def attentive(self) -> bool:
        return self._judges

    @property
    def remaining_s(self) -> float | None:
        if self._cold is None:
            return None
        return max(0.0, self._step.lasts - self._soaked_s - self._lasted)

    def begin(self, t: float) -> Iterable[CommonEvent | SoakPoint]:
        if not self._judges:
            yield self.ask(t, f"Resistance does not judge this one: {self._part.why_not}")
            yield self.end(t, "cannot-tell")
            return
        a, b = self._part.between
        say = self._step.say or f"Clip one probe to {a}, the other to {b}."
        if self._cold is not None:
            say += f" {self._soaked_s:.0f} s are logged; it goes on with the next reading."
        yield self.ask(t, say)

    def touch(self, event: TouchEvent) -> Iterable[CommonEvent | SoakPoint]:
        if not isinstance(event, Held) or self._cold is not None:
            return
        if wrong := wrong_unit(event):
            yield self.again(event.t, wrong)
            return
        self._cold = self._copper(event.value)
        self._point_t = event.t
        yield SoakPoint(t=event.t, step=self.step_id, value=event.value, temperature=self._cold_c)
        yield self.ask(event.t, f"Logging for {self._step.lasts:g} s; warm the part with care.")

    def read(self, reading: Reading) -> Iterable[CommonEvent | SoakPoint]:
        if self._cold is None or reading.quantity is not Quantity.RESISTANCE:
            return
        self._point_t = reading.t if self._point_t is None else self._point_t
        since = 0.0 if self._last_t is None else reading.t - self._last_t
        self._last_t = reading.t
        if reading.overload:
            self._over += 1
            yield from self._out(reading.t)
        elif math.isfinite(reading.value):
            self._over_t, self._asked_on = None, False
            self._sum += reading.value
            self._count += 1
            self._lasted += since
        if reading.t - self._point_t >= self._step.every:
            yield self._point(reading.t, self._cold)
        if self._soaked_s + self._lasted >= self._step.lasts:
            if self._count:
                yield self._point(reading.t, self._cold)
            yield self.end(reading.t, "steady")

    def tell(self, command: AnyCommand, t: float) -> Iterable[CommonEvent | SoakPoint]:
        if not isinstance(command, Confirm) or not self._judges:
            return
        if self._cold is None:
            yield self.again(t, "Nothing is held yet; keep the probes on.")
        elif over_range_now(self.around):
            yield self.again(t, OPEN_WARM)
        else:
            yield self.end(t, "steady", command)

    @property
    def concludes_open(self) -> bool:
        return self._judges and self._cold is not None

    def said_open(self, command: AnyCommand, t: float) -> Iterable[CommonEvent | SoakPoint]:
        yield judged_over_range(self.step_id, t, t, Evidence.SAID, self._assessor)
        yield self.end(t, "opens-hot", command, Evidence.SAID)

    def corrected(self, value: float) -> float:
        return self._assessor.correct(value) if self._judges else value

    def _look_by(self, criterion: Criterion) -> None:
        self._assessor = self.around.context.assessor(criterion)
        self.setup = MeterSetup(quantity=Quantity.RESISTANCE, expected=expected(criterion))

    def _copper(self, value: float) -> LeadCorrected:
        """Return what of a value as read is copper: less the leads and what lies in series."""
        return LeadCorrected(without_leads(AsRead(value), self._zero) - self._part.series)

    def _resume(self) -> None:
        """Go on with a soak that a break cut short, from the same cold winding."""
        before = self.around.progress.results[self.step_id].own.of(SoakState)
        if before.start is None or before.start.value is None:
            return
        self._cold = self._copper(before.start.value)
        if before.start.temperature is not None:
            self._cold_c = before.start.temperature
        self._soaked_s = before.soaked_s

    def _out(self, t: float) -> Iterable[CommonEvent | SoakPoint]:
        self._over_t = t if self._over_t is None else self._over_t
        if t - self._over_t > OFF_S and not self._asked_on:
            self._asked_on = True
            yield self.again(t, OPEN_WARM)

    def _point(self, t: float, cold: LeadCorrected) -> SoakPoint:
        value = self._sum / self._count if self._count else None
        warm = None
        if value is not None:
            now = self._copper(value)
            if now > 0 and cold > 0:
                warm = winding_temperature(now, cold, self._cold_c)
        point = SoakPoint(
            t=t,
            step=self.step_id,
            value=value,
            temperature=warm,
            over_range=self._over,
            lasted_s=self._lasted,
        )
        self._soaked_s += self._lasted
        self._point_t = t
        self._sum, self._count, self._over, self._lasted = 0.0, 0, 0, 0.0
        return point
