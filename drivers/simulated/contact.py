"""A tip on metal: it bounces when it lands, beds in, and never lies quite still in a hand."""

from bisect import bisect_right
from math import exp, inf, sqrt
from typing import Annotated, Final

import msgspec
import numpy as np

from meterlink.quantities.units import Ohms, Seconds

_NEVER: Final = inf


class ContactModel(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How well a pair of hands keeps a tip on its place. Figures for one tip."""

    contact: Ohms = Ohms(0.004)
    """Once it has bedded in."""
    wander: Annotated[float, msgspec.Meta(ge=0, le=2)] = 0.12
    """Spread of the contact about that, as a share, while the hand moves."""
    bounce: Seconds = Seconds(0.05)
    """How long it bounces when it lands, about."""
    first: Ohms = Ohms(0.15)
    """What it adds when it has just landed."""
    beds_in: Seconds = Seconds(0.06)
    """Time constant in which that goes."""
    dropouts: Annotated[float, msgspec.Meta(ge=0, le=50)] = 0.0
    """How often a second it slips off for a moment."""
    dropout: Seconds = Seconds(0.03)
    """How long it then stays off, about."""


class Flicker:
    """Something that is on and off at random moments: a bounce, a slip, a chafing wire."""

    def __init__(
        self, rng: np.random.Generator, starts: float, on_s: float, off_s: float, ends: float
    ) -> None:
        """Flicker from ``starts`` until ``ends``, beginning on; means of each state in seconds."""
        self._rng = rng
        self._means = (on_s, off_s)
        self._starts = starts
        self.ends: Final = ends
        self._turns = [starts]

    def on(self, t: float) -> bool:
        """Say whether it is on at ``t``: always before and after. Ask in the order of time."""
        if not self._starts <= t < self.ends:
            return True
        while self._turns[-1] <= t:
            mean = self._means[(len(self._turns) - 1) % 2]
            self._turns.append(self._turns[-1] + max(1e-4, self._rng.exponential(mean)))
        if len(self._turns) > 4096:  # keep the parity: cut an even number of turns
            del self._turns[:2048]
        return bisect_right(self._turns, t) % 2 == 1


class Wander:
    """A quantity that drifts about zero with a standard deviation of one, as no hand is still.

    An Ornstein-Uhlenbeck process, exact for any spacing of the times that it is asked for.
    """

    def __init__(self, rng: np.random.Generator, t: float, time_constant_s: float) -> None:
        self._rng = rng
        self._constant = time_constant_s
        self._t = t
        self._value = float(rng.normal())

    def at(self, t: float) -> float:
        """Return it at ``t``; asked for in the order of time."""
        passed = t - self._t
        if passed > 0:
            stays = exp(-passed / self._constant)
            fresh = sqrt(1 - stays * stays) * self._rng.normal()
            self._value = self._value * stays + fresh
            self._t = t
        return self._value


class Body:
    """A person who may hold both tips by the metal, with more or less pressure."""

    _SPREAD: Final = 0.015
    _TIME_S: Final = 0.8

    def __init__(self, rng: np.random.Generator) -> None:
        self._ohms = inf
        self._pressure = Wander(rng, 0.0, self._TIME_S)

    def grip(self, ohms: float) -> None:
        """Hold with about so many ohms from tip to tip; infinite to let go."""
        self._ohms = ohms

    def ohms(self, t: float) -> float:
        """Return what the fingers put across the tips at ``t``."""
        if self._ohms == inf:
            return inf
        return self._ohms * exp(self._SPREAD * self._pressure.at(t))


class TipContact:
    """One tip from the moment it lands. Ask for its ohms in the order of time."""

    _WANDER_S: Final = 0.3

    def __init__(
        self, rng: np.random.Generator, lands: float, touchiness: ContactModel, film: float = 0.0
    ) -> None:
        """Land at ``lands``; ``film`` is what it must get through, which makes it unsteady too."""
        self._rng = rng
        self.lands: Final = lands
        self._how = touchiness
        self._film = film
        bounce = touchiness.bounce * rng.uniform(0.5, 1.5)
        self._settled = lands + bounce + 8 * touchiness.beds_in
        self._bounce = Flicker(rng, lands, 0.008, 0.005, lands + bounce)
        rate = touchiness.dropouts
        starts = lands + bounce if rate > 0 else _NEVER
        between = 1 / rate if rate > 0 else 1.0
        self._slips = Flicker(rng, starts, between, touchiness.dropout, _NEVER)
        self._first = touchiness.first * exp(rng.normal(0.0, 0.5))
        self._wander = Wander(rng, lands, self._WANDER_S)

    def quiet(self, t: float) -> bool:
        """Say whether nothing fast happens from ``t`` on."""
        return t >= self._settled and not self._how.dropouts

    def ohms(self, t: float) -> float:
        """Return the ohms of this contact at ``t``, film aside; infinite while it is off."""
        if t < self.lands or not self._bounce.on(t) or not self._slips.on(t):
            return inf
        wander = self._wander.at(t)
        how = self._how
        steady = how.contact * exp(how.wander * wander)
        # The film itself is part of the circuit; here it only comes and goes by a third.
        unsteady = self._film / 3 * (exp(wander * 0.6) - 1)
        return steady + unsteady + self._first * exp(-(t - self.lands) / how.beds_in)
