"""A meter that speaks SCPI, as a ``Source``."""

import math
from collections.abc import Iterator
from typing import Final, Self

from drivers.clock import Clock
from drivers.links.link import Link
from drivers.scpi.blocks import AnswerFormError
from drivers.scpi.conversation import ANSWER_S, Conversation
from drivers.scpi.fair_lock import FairLock
from drivers.scpi.identity import parse_identity
from drivers.scpi.numbers import Number
from drivers.scpi.options import ScpiOptions
from drivers.scpi.panel import Panel
from drivers.scpi.readout import Readout, choose_readout, read_answer, spread
from meterlink.errors import MeterError, MeterSilentError
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading
from meterlink.source import Identity, MeterSetup, Setting, Stop

_STRIKES: Final = 3
"""Answers in a row that make no sense before we give up: one may be noise on the line."""


class ScpiMeter:
    """A ``Source`` that asks for each reading, or for a burst of them.

    Every exchange holds the line for itself (``FairLock``), so ``prepare`` and ``close`` may come
    from another thread and take effect between two readings.
    """

    def __init__(
        self, link: Link, talk: Conversation, identity: Identity, clock: Clock, options: ScpiOptions
    ) -> None:
        """Take over a conversation that was begun; use ``ScpiMeter.open``."""
        self._link = link
        self._talk = talk
        self._identity = identity
        self._clock = clock
        self._options = options
        self._turns = FairLock()
        self._panel = Panel(talk, options)
        self._readout: Readout | None = None
        self._quantity = Quantity.RESISTANCE
        self._resolution: float | None = None
        self._closed = False

    @classmethod
    def open(
        cls,
        link: Link,
        clock: Clock,
        options: ScpiOptions | None = None,
        *,
        timeout_s: float = ANSWER_S,
    ) -> Self:
        """Ask who is there and note what it is set to.

        Raises:
            MeterSilentError: nothing answers.
            MeterError: what answers does not speak SCPI.
        """
        talk = Conversation(link)
        greeting = talk.greet(timeout_s)
        if greeting is None:
            raise MeterSilentError(
                f"nothing answers at {link.name}; check that the meter is on and set to remote "
                "control, and the line's speed"
            )
        meter = cls(
            link, talk, parse_identity(greeting, link.name), clock, options or ScpiOptions()
        )
        talk.begin()
        meter._panel.look()
        return meter

    @property
    def identity(self) -> Identity:
        """What ``*IDN?`` says."""
        return self._identity

    def prepare(self, setup: MeterSetup) -> Setting:
        """Set function, range, four-wire and integration time, as far as the meter knows them.

        Raises:
            MeterError: it refuses the quantity, or gives no reading of it.
        """
        with self._turns:
            chosen = self._panel.set_for(setup)
            self._readout, setting = choose_readout(self._talk, self._panel, chosen, self._options)
            self._quantity = setup.quantity
            self._resolution = setting.resolution
            return setting

    def readings(self, stop: Stop) -> Iterator[Reading]:
        """Yield readings as the meter takes them; resistance where nothing was prepared."""
        if self._readout is None:
            self.prepare(MeterSetup())
        strikes = 0
        while not stop.is_set() and not self._closed:
            try:
                batch = self._measure(stop)
                strikes = 0
            except AnswerFormError as fault:
                strikes += 1
                if strikes == _STRIKES:
                    raise self._talk.rubbish(fault) from fault
                continue
            yield from batch

    def close(self) -> None:
        """Put the settings back, hand the panel back, close the port. Safe to call twice."""
        if self._closed:
            return
        self._closed = True
        with self._turns:
            try:
                self._panel.put_back()
            except MeterError:
                pass  # the port is gone: nothing to put back
            finally:
                self._link.close()

    def _measure(self, stop: Stop) -> list[Reading]:
        """Take one burst; empty where ``stop`` came first."""
        with self._turns:
            readout = self._readout
            if readout is None or self._closed:
                return []
            sent = self._clock.now()
            if readout.before:
                self._talk.tell(readout.before)
            answer = self._talk.ask(readout.query, readout.timeout_s, stop)
            came = self._clock.now()
            if answer is None:
                if not stop.is_set():
                    self._account_for_silence()
                return []
            numbers = read_answer(answer, readout)
            quantity, resolution = self._quantity, self._resolution
        return [
            _reading(t, number, quantity, resolution)
            for t, number in zip(spread(sent, came, len(numbers)), numbers, strict=True)
        ]

    def _account_for_silence(self) -> None:
        """No reading came: raise what the error queue says, or that the meter is silent."""
        if not self._talk.still_there():
            raise MeterSilentError(
                f"the meter at {self._link.name} has gone silent; wake it or switch it on"
            )
        refusals = self._talk.refusals()
        why = str(refusals[0]) if refusals else "it does not say why"
        raise MeterError(f"the meter at {self._link.name} gives no reading: {why}")


def _reading(t: float, number: Number, quantity: Quantity, resolution: float | None) -> Reading:
    return Reading(
        t=t,
        value=number.value,
        quantity=quantity,
        resolution=resolution,
        overload=math.isinf(number.value),
        raw=plain(number.text, 40),
    )
