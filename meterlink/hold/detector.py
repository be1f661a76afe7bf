"""The hold detector: readings in, touch events out."""

from collections import deque
from collections.abc import Sequence
from math import inf, isfinite, sqrt

import msgspec

from meterlink.events import Contact, Held, Lift, Limit, PassedOver, TouchEvent
from meterlink.hold.aim import Aim
from meterlink.hold.policy import POLICY, HoldPolicy
from meterlink.reading import Quantity, Reading
from meterlink.stages import Stage


class Live(msgspec.Struct, frozen=True):
    """The best estimate so far of the value under the probes, for the eye."""

    value: float
    """As read, steadied; the unit of the readings."""
    u: float
    """Its standard uncertainty by repeatability; infinite from a single reading."""


class HoldDetector:
    """Follow the touches in a stream of readings and say when each value stands.

    Feed readings in the order of their ``t``. Memory is constant whatever the length.
    """

    _KEPT = 64

    def __init__(self, policy: HoldPolicy = POLICY, aim: Aim | None = None) -> None:
        self.policy = policy
        self._aim = aim
        self._stage = Stage.APART
        self._last_t = -inf
        self._passed: dict[str, int] = {}
        self._quantity: Quantity | None = None
        self._window: deque[Reading] = deque(maxlen=self._KEPT)
        self._contact_t = 0.0
        self._away: list[float] = []
        self._held: Held | None = None

    def aim_at(self, aim: Aim | None) -> None:
        """Say what the verdict of this step needs; None for a hold for its own sake."""
        self._aim = aim

    @property
    def stage(self) -> Stage:
        """Where the current touch stands."""
        return self._stage

    @property
    def live(self) -> Live | None:
        """The value so far, or None while there is nothing under the probes."""
        if self._held is not None:
            return Live(self._held.value, self._held.u)
        if not self._window:
            return None
        values = [r.value for r in self._window]
        mean = sum(values) / len(values)
        if len(values) == 1:
            return Live(mean, inf)
        spread = sum((v - mean) ** 2 for v in values) / (len(values) - 1)
        return Live(mean, sqrt(spread / len(values)))

    def feed(self, reading: Reading) -> Sequence[TouchEvent]:
        """Take one reading; return what it brings about, nearly always nothing."""
        t = reading.t
        if not t > self._last_t:
            return self._pass_over("time went back" if t < self._last_t else "time repeated")
        self._last_t = t
        if reading.overload or reading.value in (inf, -inf):
            return self._apart(t)
        if not isfinite(reading.value):
            return self._pass_over("not-a-number")
        return self._touching(reading)

    def close(self) -> Sequence[TouchEvent]:
        """End of the stream: say what was passed over and not yet said."""
        return self._flush(self._last_t)

    def gap(self, t: float) -> Sequence[TouchEvent]:
        """The meter was lost at ``t``: forget the touch; no lift was seen, so none is told."""
        said = self._flush(t)
        self._forget()
        return said

    def _pass_over(self, why: str) -> Sequence[TouchEvent]:
        self._passed[why] = self._passed.get(why, 0) + 1
        return ()

    def _flush(self, t: float) -> list[TouchEvent]:
        said: list[TouchEvent] = [
            PassedOver(t=t, why=why, count=count) for why, count in self._passed.items()
        ]
        self._passed.clear()
        return said

    def _forget(self) -> None:
        self._stage = Stage.APART
        self._window.clear()
        self._away.clear()
        self._held = None

    def _apart(self, t: float) -> Sequence[TouchEvent]:
        if self._stage is Stage.APART:
            return ()
        if len(self._away) < self.policy.lift_readings:
            self._away.append(t)
        else:
            self._away[-1] = t
        first = self._away[0]
        if len(self._away) < self.policy.lift_readings or t - first <= self.policy.dropout_time:
            return ()
        lift = Lift(t=first, contact_t=self._contact_t, held=self._held is not None)
        said = self._flush(t)
        self._forget()
        return [*said, lift]

    def _touching(self, reading: Reading) -> Sequence[TouchEvent]:
        said: list[TouchEvent] = []
        if self._quantity is not reading.quantity:
            self._forget()
            self._quantity = reading.quantity
        self._away.clear()
        if self._stage is Stage.APART:
            self._stage = Stage.CONTACT
            self._contact_t = reading.t
            said.append(Contact(t=reading.t))
        elif self._stage is Stage.CONTACT:
            self._stage = Stage.SETTLING
        held = self._held
        if held is not None:
            if abs(reading.value - held.value) <= 5 * self._tol(reading, held.noise):
                return said
            self._held = None
            self._stage = Stage.SETTLING
            self._contact_t = reading.t
        self._window.append(reading)
        hold = self._steady()
        if hold is not None:
            self._held = hold
            self._stage = Stage.HELD
            self._window.clear()
            said.append(hold)
        return said

    def _tol(self, reading: Reading, noise: float) -> float:
        p = self.policy
        return max(
            p.tol_resolutions * (reading.resolution or 0.0),
            p.tol_sds * noise,
            p.tol_share * abs(reading.value),
            p.tol_least,
        )

    def _steady(self) -> Held | None:
        newest = self._window[-1]
        while self._window and newest.t - self._window[0].t > 0.5 and len(self._window) > 5:
            self._window.popleft()
        n = len(self._window)
        span = newest.t - self._window[0].t
        if n < max(5, self.policy.least_readings) or span <= self.policy.least_time:
            return None
        values = [r.value for r in self._window]
        mean = sum(values) / n
        noise = sqrt(sum((v - mean) ** 2 for v in values) / (n - 1))
        half = n // 2
        moved = abs(sum(values[half:]) / (n - half) - sum(values[:half]) / half)
        tol = self._tol(newest, 0.0)
        if noise > 2 * tol or moved > tol:
            return None
        resolution = newest.resolution or 0.0
        coarse = resolution / sqrt(12)
        u = noise / sqrt(n)
        return Held(
            t=newest.t,
            contact_t=self._contact_t,
            value=mean,
            unit=newest.quantity.unit,
            readings=n,
            noise=noise,
            resolution=resolution,
            u=u,
            dof=n - 1.0,
            limit=Limit.RESOLUTION if coarse > u else Limit.NOISE,
        )
