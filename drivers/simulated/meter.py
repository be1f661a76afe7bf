"""A virtual meter: from what lies at its sockets to the number it shows.

A reading takes time. While the converter integrates, over a whole number of power-line cycles or
a part of one, the input is followed through the meter's own settling; the mean over that time,
with the meter's errors and noise, rounded to its last digit, is the reading.
"""

from collections.abc import Callable
from math import exp, inf, pi, sin, sqrt
from typing import Annotated, Final, Literal

import msgspec
import numpy as np

from drivers.clock import Pace
from drivers.simulated.world import World
from meterlink.quantities.units import Ohms, Seconds
from meterlink.reading import Quantity

Positive = Annotated[float, msgspec.Meta(gt=0)]
NotNegative = Annotated[float, msgspec.Meta(ge=0)]


class MeterCharacter(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What kind of meter it is. Shares are fractions, of range or of reading as said."""

    ranges: Annotated[tuple[Ohms, ...], msgspec.Meta(min_length=1, max_length=12)] = tuple(
        Ohms(10.0**n) for n in range(1, 9)
    )
    """Full scales, ascending."""
    counts: Annotated[int, msgspec.Meta(ge=100, le=100_000_000)] = 100_000
    """Steps of the last digit in the full scale, at one power-line cycle and above."""
    over_range: Annotated[float, msgspec.Meta(ge=1, le=10)] = 1.2
    """How far above the full scale a range still reads."""
    percent: NotNegative = 0.02
    """Published accuracy, percent of reading; the meter's own error is drawn inside of it."""
    accuracy_counts: NotNegative = 4.0
    """Published accuracy, steps of the last digit."""
    noise_counts: NotNegative = 0.8
    """Standard deviation of a reading at one power-line cycle, in steps of the last digit."""
    noise_share: NotNegative = 5e-6
    """The same, as a share of the reading."""
    hum_share: NotNegative = 2e-5
    """Power-line pick-up as a share of range: gone at whole cycles."""
    drift_share: NotNegative = 5e-6
    """Slow wander of the gain."""
    mains_hz: Literal[50, 60] = 50
    nplc: Positive = 1.0
    """Power-line cycles a reading after a reset."""
    finest_nplc: Positive = 0.02
    longest_nplc: Positive = 100.0
    overhead: Seconds = Seconds(0.002)
    """Time a reading takes beyond the integration."""
    range_change: Seconds = Seconds(0.03)
    """Time to switch to another range."""
    settling: Seconds = Seconds(0.004)
    """Time constant of the input."""
    picofarads: NotNegative = 300.0
    """Capacitance of input and leads, which slows high resistances down."""


class VirtualSample(msgspec.Struct, frozen=True, gc=False):
    """One reading as the meter knows it."""

    t: float
    """When its integration ended."""
    quantity: Quantity
    value: float
    """SI units, whole steps of the last digit; infinite for an overload."""
    overload: bool
    range: float
    """Full scale it was taken on."""
    resolution: float


class VirtualMeter:
    """Measures a world. Its settings are plain attributes, changed between readings."""

    _SLICE_S: Final = 0.002
    _SLICES: Final = 12

    def __init__(
        self, world: World, pace: Pace, rng: np.random.Generator, character: MeterCharacter
    ) -> None:
        self.world = world
        self.character: Final = character
        self._pace = pace
        self._rng = rng
        self._input = inf
        self._input_t = pace.now()
        spread = character.percent / 100
        self._gain = rng.uniform(-spread, spread) * 0.6
        self._offset_counts = rng.uniform(-0.6, 0.6) * character.accuracy_counts
        self._drift = 0.0
        self._drift_t = pace.now()
        self.act: Callable[[float], float] = _nobody
        """Lets hands act until a time; returns when they act next."""
        self.reset()

    def reset(self) -> None:
        """Go back to how it is when switched on."""
        self.quantity = Quantity.RESISTANCE
        self.four_wire = False
        self.autorange = True
        self.range: float = self.character.ranges[-1]
        self.nplc = self.character.nplc

    @property
    def resolution(self) -> float:
        """Step of the last digit on the present range, SI units."""
        return self.resolution_of(self.range)

    def resolution_of(self, full_scale: float) -> float:
        """Return the step of the last digit on a range; coarser under half a power-line cycle."""
        counts = self.character.counts if self.nplc >= 0.5 else self.character.counts / 10
        return full_scale / counts

    def choose_range(self, largest: float) -> bool:
        """Fix the smallest range that reads ``largest`` ohms; False where there is none."""
        for full_scale in self.character.ranges:
            if largest <= full_scale:
                self.range, self.autorange = float(full_scale), False
                return True
        return False

    def measure(self) -> VirtualSample:
        """Let a reading's time pass and return it, range changes and all."""
        if self.quantity is not Quantity.RESISTANCE:
            return self._measure_volts()
        while True:
            value = self._converted()
            if not (self.autorange and self._changes_range(value)):
                return self._rounded(value)
            self._pass(self.character.range_change)

    def _pass(self, seconds: float) -> None:
        self._pace.pass_time(seconds)

    def _measure_volts(self) -> VirtualSample:
        aperture = self.nplc / self.character.mains_hz
        self._pass(aperture + self.character.overhead)
        t = self._pace.now()
        self.act(t)
        step = 1.0 / self.character.counts
        value = round(self._rng.normal(0.0, 2 * step) / step) * step
        return VirtualSample(t, Quantity.VOLTAGE, value, False, 1.0, step)

    def _converted(self) -> float:
        """Integrate once on the present range and return the mean, without errors or rounding."""
        aperture = self.nplc / self.character.mains_hz
        self._pass(self.character.overhead + aperture)
        end = self._pace.now()
        start = end - aperture
        quiet = self.act(start) >= end and self.world.quiet(start)
        slices = 1 if quiet else min(self._SLICES, max(2, round(aperture / self._SLICE_S)))
        total = 0.0
        for index in range(slices):
            t = start + aperture * (index + 1) / slices
            self.act(t)
            total += self._followed(t)
        return total / slices

    def _followed(self, t: float) -> float:
        """Return the input at ``t`` as it gets through leads, capacitance and filter."""
        look = self.world.look(t)
        top = 5 * self.range
        target = min(look.four_wire if self.four_wire else look.two_wire, top)
        if self._input > top:
            self._input = top
        lag = self.character.settling + target * self.character.picofarads * 1e-12
        if look.henries:
            lag += look.henries / max(target, 1e-3)
        passed = t - self._input_t
        self._input_t = t
        self._input = target + (self._input - target) * exp(-max(0.0, passed) / lag)
        return self._input

    def _changes_range(self, value: float) -> bool:
        """Switch range where ``value`` asks for it; say whether it was switched."""
        ranges = self.character.ranges
        at = ranges.index(self.range) if self.range in ranges else len(ranges) - 1
        if value > self.range * self.character.over_range and at + 1 < len(ranges):
            # What drives the input to its end is an open: no use trying each range in between.
            at = len(ranges) - 1 if value > 4 * self.range else at + 1
        elif at > 0 and value < ranges[at - 1] * self.character.over_range * 0.9:
            at -= 1
        else:
            return False
        self.range = float(ranges[at])
        return True

    def _rounded(self, value: float) -> VirtualSample:
        c = self.character
        t = self._pace.now()
        step = self.resolution_of(self.range)
        if value > self.range * c.over_range:
            return VirtualSample(t, Quantity.RESISTANCE, inf, True, self.range, step)
        fine = self.range / c.counts
        cycles = self.nplc
        noise = sqrt((c.noise_counts * fine) ** 2 + (c.noise_share * value) ** 2) / sqrt(cycles)
        hum = c.hum_share * self.range * sin(pi * cycles) / (pi * cycles)
        value = value * (1 + self._gain + self._drifted(t)) + self._offset_counts * fine
        value += noise * self._rng.normal() + hum * sin(2 * pi * self._rng.uniform())
        return VirtualSample(
            t, Quantity.RESISTANCE, round(value / step) * step, False, self.range, step
        )

    def _drifted(self, t: float) -> float:
        stays = exp(-max(0.0, t - self._drift_t) / 600.0)
        self._drift_t = t
        spread = self.character.drift_share * sqrt(1 - stays * stays)
        self._drift = self._drift * stays + spread * self._rng.normal()
        return self._drift


def _nobody(_t: float) -> float:
    """Stand in for hands: nothing is ever going to happen."""
    return inf
