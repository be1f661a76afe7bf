"""The virtual bench at one moment: the engine, where the tips are, and what flows between.

A tip on metal bounces when it lands, beds in, and never lies quite still in a hand.
"""

from bisect import bisect_right
from math import exp, inf, sqrt
from typing import Annotated, Final

import msgspec
import numpy as np

from meterlink.circuit.engine import Engine, EngineCondition
from meterlink.circuit.wiring import (
    AIR,
    OTHER_TIP,
    Place,
    TipImpedance,
    at_sockets,
    places,
    seen_between,
)
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


class MeterInput(msgspec.Struct, frozen=True, gc=False):
    """What lies at the meter's sockets at one moment."""

    two_wire: float
    """Ohms with leads and contact; infinite for none."""
    four_wire: float
    """Ohms between the tips, as a meter with separate sense leads sees it."""
    henries: float = 0.0


class World:
    """Engine, condition and probes. Time only goes forward: ask and act in the order of ``t``."""

    _CACHED = 512

    def __init__(
        self,
        engine: Engine,
        condition: EngineCondition,
        rng: np.random.Generator,
        *,
        ambient_c: float = 20.0,
        cooling_s: float = 1800.0,
        leads: float = 0.12,
        touchiness: ContactModel | None = None,
    ) -> None:
        self.engine = engine
        self.places = places(engine)
        self.touchiness = touchiness or ContactModel()
        self._rng = rng
        self._condition = condition
        self._before = condition
        self._moving = Flicker(rng, 0.0, 1.0, 1.0, 0.0)
        self._moving_ends = 0.0
        self._warm_from = (0.0, condition.winding_c, ambient_c, cooling_s)
        self._leads = leads
        self._red = self._black = self.places[AIR]
        self._contacts: tuple[TipContact, ...] = ()
        self._body = Body(rng)
        self._flexed: Flicker | None = None
        self._seen: dict[tuple[object, ...], TipImpedance] = {}

    # --- what hands do -----------------------------------------------------------------------

    def land(self, t: float, red: str, black: str, later: float = 0.0) -> None:
        """Put the tips on two places; the black one lands ``later`` seconds after the red one.

        Raises:
            KeyError: the engine has no such place.
        """
        self._red, self._black = self.places[red], self.places[black]
        if OTHER_TIP in (red, black):
            self._contacts = (TipContact(self._rng, t, self.touchiness),)
            return
        self._contacts = tuple(
            TipContact(self._rng, at, self.touchiness, self._film(place))
            for at, place in ((t, self._red), (t + later, self._black))
        )

    def lift(self) -> None:
        """Take both tips off."""
        self._red = self._black = self.places[AIR]
        self._contacts = ()

    def grip(self, fingers: float) -> None:
        """Hold both tips by the metal with ``fingers`` ohms of body; infinite to let go."""
        self._body.grip(fingers)

    def move(self, t: float, control: str, position: str) -> None:
        """Move a switch or fitting; its contacts bounce on the way.

        Raises:
            ValueError: there is no such control or position.
        """
        self._before = self._condition
        self._condition = self._condition.move(control, position, self.engine)
        self._moving = Flicker(self._rng, t, 0.004, 0.004, t + 0.025)
        self._moving_ends = t + 0.025

    def flex(self, t: float, seconds: float) -> None:
        """Move the stop wire about for ``seconds``: what chafes then, chafes at moments."""
        self._flexed = Flicker(self._rng, t, 0.35, 0.05, t + seconds)

    def warm(self, t: float, towards_c: float, time_constant_s: float) -> None:
        """Let the windings' temperature go towards another one from now on."""
        self._warm_from = (t, self.winding_c(t), towards_c, time_constant_s)

    def refit(self, engine: Engine) -> None:
        """Work on ``engine`` from now on: the same one, with a part of it renewed."""
        self.engine = engine
        self.places = places(engine)
        self._seen.clear()

    # --- what is so --------------------------------------------------------------------------

    @property
    def touching(self) -> tuple[str, str]:
        """The places that the red and the black tip are on."""
        return self._red.name, self._black.name

    @property
    def condition(self) -> EngineCondition:
        """Switches and fittings as they stand."""
        return self._condition

    def winding_c(self, t: float) -> float:
        """Return the windings' temperature at ``t``, celsius."""
        since, then, towards, constant = self._warm_from
        return towards + (then - towards) * exp(-(t - since) / constant)

    def quiet(self, t: float) -> bool:
        """Say whether nothing fast happens from ``t`` on, as long as no hand moves."""
        return (
            t >= self._moving_ends
            and self._flexed is None
            and all(contact.quiet(t) for contact in self._contacts)
        )

    def look(self, t: float) -> MeterInput:
        """Return what a meter would see at ``t``."""
        fingers = self._body.ohms(t)
        if not self._contacts:
            return MeterInput(fingers + self._leads, fingers)
        if OTHER_TIP in self.touching:
            contact = self._contacts[0].ohms(t)
            return MeterInput(at_sockets(0.0, contact, fingers, self._leads), 0.0)
        seen = self._seen_at(t)
        contact = sum(one.ohms(t) for one in self._contacts)
        touching = contact < inf
        return MeterInput(
            at_sockets(seen.ohms, contact, fingers, self._leads),
            at_sockets(seen.ohms if touching else inf, 0.0, fingers),
            seen.henries if touching else 0.0,
        )

    def _seen_at(self, t: float) -> TipImpedance:
        condition = self._condition if self._moving.on(t) else self._before
        chafing = self._chafing(t)
        # A fiftieth of a kelvin is 80 ppm of copper's 0.4 percent: below what any reading shows.
        celsius = round(self.winding_c(t) * 50) / 50
        positions = tuple(condition.controls.items())
        key = (celsius, chafing, positions, self._red.name, self._black.name)
        found = self._seen.get(key)
        if found is None:
            if len(self._seen) >= self._CACHED:
                self._seen.clear()
            now = msgspec.structs.replace(condition, winding_c=celsius, chafing=chafing)
            found = self._seen[key] = seen_between(self.engine, now, self._red, self._black)
        return found

    def _chafing(self, t: float) -> bool:
        if self._flexed is None:
            return False
        if t >= self._flexed.ends:
            self._flexed = None
            return False
        return not self._flexed.on(t)

    def _film(self, place: Place) -> float:
        return float(self.engine.rust or 0.0) if place.film == "rust" else 0.0
