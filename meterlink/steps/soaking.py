"""The soak: resistance of a winding over time while it warms or cools."""

import math
from collections.abc import Iterable
from typing import Final

from meterlink.card import SoakStep
from meterlink.commands import AnyCommand, Confirm
from meterlink.correction import LeadZero, winding_temperature, without_leads
from meterlink.events import BenchEvent, Held, SoakPoint, TouchEvent
from meterlink.ohms import AsRead, LeadCorrected
from meterlink.reading import Quantity, Reading
from meterlink.source import Setup
from meterlink.steps.assessors import criterion_for
from meterlink.steps.base import Surroundings, Worker
from meterlink.steps.measuring import expected, over_range_now, wrong_unit
from meterlink.steps.parts import find_part

ROOM_C: Final = 20.0
"""Temperature taken for the start of a soak where none was entered."""


class SoakWorker(Worker):
    """Writes a point at every interval: mean resistance, and the winding temperature it means."""

    def __init__(self, step: SoakStep, around: Surroundings) -> None:
        super().__init__(step, around)
        self._step = step
        self._part = find_part(step, around.profile)
        criterion = criterion_for(self._part)
        self._assessor = around.bearings.assessor(criterion)
        zero = around.progress.lead_zero
        self._zero = None if zero is None else LeadZero(value=zero.value)
        self.setup = Setup(quantity=Quantity.RESISTANCE, expected=expected(criterion))
        self._cold: LeadCorrected | None = None
        """Lead-corrected ohms at the start."""
        known = around.progress.temperature
        self._cold_c: float = ROOM_C if known is None else known
        if step.from_temperature is not None:
            self._cold_c = step.from_temperature
        self._start_t = self._point_t = 0.0
        self._sum, self._count, self._over = 0.0, 0, 0

    @property
    def attentive(self) -> bool:
        return True

    def begin(self, t: float) -> Iterable[BenchEvent]:
        a, b = self._part.between
        yield self.ask(t, self._step.say or f"Clip one probe to {a}, the other to {b}.")

    def touch(self, event: TouchEvent) -> Iterable[BenchEvent]:
        if not isinstance(event, Held) or self._cold is not None:
            return
        if wrong := wrong_unit(event):
            yield self.ask(event.t, wrong)
            return
        self._cold = without_leads(AsRead(event.value), self._zero)
        self._start_t = self._point_t = event.t
        yield self.ask(event.t, f"Logging for {self._step.lasts:g} s; warm the part with care.")

    def read(self, reading: Reading) -> Iterable[BenchEvent]:
        if self._cold is None:
            return
        if reading.overload:
            self._over += 1
        elif math.isfinite(reading.value):
            self._sum += reading.value
            self._count += 1
        if reading.t - self._point_t >= self._step.every:
            yield self._point(reading.t, self._cold)
        if reading.t - self._start_t >= self._step.lasts:
            yield self.end(reading.t, "steady")

    def tell(self, command: AnyCommand, t: float) -> Iterable[BenchEvent]:
        if not isinstance(command, Confirm):
            return
        if self._cold is None:
            yield self.ask(t, "Nothing is held yet; keep the probes on.")
        elif over_range_now(self.around):
            # The technician says that the probes still touch: the winding opened warm.
            yield self.end(t, "opens-hot", command)
        else:
            yield self.end(t, "steady", command)

    def corrected(self, value: float) -> float:
        return self._assessor.correct(value)

    def _point(self, t: float, cold: LeadCorrected) -> SoakPoint:
        value = self._sum / self._count if self._count else None
        warm = None
        if value is not None:
            now = without_leads(AsRead(value), self._zero)
            if now > 0 and cold > 0:
                warm = winding_temperature(now, cold, self._cold_c)
        point = SoakPoint(
            t=t, step=self.step_id, value=value, temperature=warm, over_range=self._over
        )
        self._point_t, self._sum, self._count, self._over = t, 0.0, 0, 0
        return point
