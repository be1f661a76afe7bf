"""The soak: resistance of a winding over time while it warms or cools."""

import math
from collections.abc import Iterable
from typing import Final

from meterlink.bench.steps.assessors import criterion_for
from meterlink.bench.steps.base import StepContext, Worker
from meterlink.bench.steps.judged import judged_over_range
from meterlink.bench.steps.measurement import expected, over_range_now, wrong_unit
from meterlink.card.card import SoakStep
from meterlink.card.profile_parts import find_part
from meterlink.commands import AnyCommand, Confirm
from meterlink.events import BenchEvent, Evidence, Held, SoakPoint, TouchEvent
from meterlink.judging.correction import LeadZero, winding_temperature, without_leads
from meterlink.judging.criterion import Criterion
from meterlink.quantities.ohms import AsRead, LeadCorrected
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup

ROOM_C: Final = 20.0
"""Temperature taken for the start of a soak where none was entered."""
OFF_S: Final = 5.0
"""An over range that lasts longer is asked about: an open winding, or a clip that came off?"""


class SoakWorker(Worker):
    """Writes a point at every interval: mean resistance, and the winding temperature it means.

    Its clock counts only while there are readings: over range says nothing of a winding, unless
    the technician says that the clips are on.
    """

    def __init__(self, step: SoakStep, around: StepContext) -> None:
        super().__init__(step, around)
        self._step = step
        self._part = find_part(step, around.profile)
        self._judges = self._part.judged_by_resistance
        if self._judges:
            self._look_by(criterion_for(self._part))
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

    def begin(self, t: float) -> Iterable[BenchEvent]:
        if not self._judges:
            yield self.ask(t, f"Resistance does not judge this one: {self._part.why_not}")
            yield self.end(t, "cannot-tell")
            return
        a, b = self._part.between
        say = self._step.say or f"Clip one probe to {a}, the other to {b}."
        if self._cold is not None:
            say += f" {self._soaked_s:.0f} s are logged; it goes on with the next reading."
        yield self.ask(t, say)

    def touch(self, event: TouchEvent) -> Iterable[BenchEvent]:
        if not isinstance(event, Held) or self._cold is not None:
            return
        if wrong := wrong_unit(event):
            yield self.ask(event.t, wrong)
            return
        self._cold = self._copper(event.value)
        self._point_t = event.t
        yield SoakPoint(t=event.t, step=self.step_id, value=event.value, temperature=self._cold_c)
        yield self.ask(event.t, f"Logging for {self._step.lasts:g} s; warm the part with care.")

    def read(self, reading: Reading) -> Iterable[BenchEvent]:
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

    def tell(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        if not isinstance(command, Confirm) or not self._judges:
            return
        if self._cold is None:
            yield self.ask(t, "Nothing is held yet; keep the probes on.")
        elif over_range_now(self.around):
            # The technician says that the probes still touch: the winding opened warm.
            yield judged_over_range(self.step_id, t, t, Evidence.SAID, self._assessor)
            yield self.end(t, "opens-hot", command)
        else:
            yield self.end(t, "steady", command)

    def corrected(self, value: float) -> float:
        return self._assessor.correct(value) if self._judges else value

    def _look_by(self, criterion: Criterion) -> None:
        self._assessor = self.around.bearings.assessor(criterion)
        self.setup = MeterSetup(quantity=Quantity.RESISTANCE, expected=expected(criterion))

    def _copper(self, value: float) -> LeadCorrected:
        """Return what of a value as read is copper: less the leads and what lies in series."""
        return LeadCorrected(without_leads(AsRead(value), self._zero) - self._part.series)

    def _resume(self) -> None:
        """Go on with a soak that a break cut short, from the same cold winding."""
        result = self.around.progress.results[self.step_id]
        if result.soak_start is None or result.soak_start.value is None:
            return
        self._cold = self._copper(result.soak_start.value)
        if result.soak_start.temperature is not None:
            self._cold_c = result.soak_start.temperature
        self._soaked_s = result.soaked_s

    def _out(self, t: float) -> Iterable[BenchEvent]:
        self._over_t = t if self._over_t is None else self._over_t
        if t - self._over_t > OFF_S and not self._asked_on:
            self._asked_on = True
            yield self.ask(
                t,
                "Over range: a clip came off, or the winding opened warm. See to the clips; if "
                "both are on, confirm.",
            )

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
