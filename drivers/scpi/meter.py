"""A meter that speaks SCPI, as a ``Source``."""

import math
import threading
from collections.abc import Iterator
from types import TracebackType
from typing import Final, Self

from drivers.clock import Clock
from drivers.links.link import Link
from drivers.number_shape import NumberShapes
from drivers.scpi.blocks import AnswerFormError
from drivers.scpi.conversation import ANSWER_S, Conversation
from drivers.scpi.dialect import Dialect, ScpiOptions
from drivers.scpi.identity import parse_identity
from drivers.scpi.measured import Measured
from drivers.scpi.panel import Panel
from drivers.scpi.readout import Readout, choose_readout, read_answer, spread
from meterlink.errors import MeterError, MeterSilentError
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading
from meterlink.source import Identity, MeterSetup, Setting, Stop


class FairLock:
    """A lock whose waiter is served before the one who just had it.

    A reader that measures in a loop takes the line again as soon as it has let go; with a plain
    lock a second thread could wait for minutes. Here it stands at the door, and the reader has
    to queue behind it.
    """

    def __init__(self) -> None:
        self._door = threading.Lock()
        self._room = threading.Lock()

    def __enter__(self) -> None:
        with self._door:
            self._room.acquire()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._room.release()


_STRIKES: Final = 5
"""Answers in a row that make no sense before we give up: some may be noise on the line."""
_LONGEST_S: Final = 60.0
"""The longest that a reading may take, once it has shown that it takes long."""


class ScpiMeter:
    """A ``Source`` that asks for each reading, or for a burst of them.

    Every exchange holds the line for itself (``FairLock``), so ``prepare`` and ``close`` may come
    from another thread and take effect between two readings.
    """

    def __init__(
        self,
        link: Link,
        talk: Conversation,
        identity: Identity,
        clock: Clock,
        options: ScpiOptions,
        dialect: Dialect | None = None,
    ) -> None:
        """Take over a conversation that was begun; use ``ScpiMeter.open``."""
        self._link = link
        self._talk = talk
        self._identity = identity
        self._clock = clock
        self._options = options
        self._turns = FairLock()
        self._dialect = dialect or Dialect()
        self._panel = Panel(talk, options, self._dialect)
        self._prepared = Setting()
        self._shapes = NumberShapes()
        self._strikes = 0
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
        dialect: Dialect | None = None,
        named: bool = False,
        asks: bool = True,
    ) -> Self:
        """Ask who is there and note what it is set to.

        Args:
            link: an open port, set to the meter's line.
            clock: stamps the readings.
            options: how it is read.
            timeout_s: how long it may take to say who it is.
            dialect: how it speaks, where it is unlike others.
            named: the user says that it speaks SCPI, so it need not say who it is.
            asks: whether to ask who it is; False where that brought nothing just now.

        Raises:
            MeterSilentError: nothing answers.
            MeterError: what answers does not speak SCPI.
        """
        talk = Conversation(link, dialect)
        greeting = talk.greet(timeout_s) if asks else None
        if greeting is None and not named and not talk.tells_entries():
            raise MeterSilentError(
                f"nothing answers at {link.name}; check that the meter is on and set to remote "
                "control, and the line's speed"
            )
        identity = Identity(model=plain(dialect.title) if dialect else "", port=link.name)
        if greeting is not None:
            identity = parse_identity(greeting, link.name)
        meter = cls(link, talk, identity, clock, options or ScpiOptions(), dialect)
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
            self._readout, setting = choose_readout(
                self._talk, self._panel, chosen, self._options, self._dialect
            )
            self._prepared = setting
            self._take(setting, setup)
            self._shapes = NumberShapes()
            return setting

    def confirm(self, setup: MeterSetup) -> Setting:
        """Ask for function, range and what else can be on; see ``Source``.

        Raises:
            MeterError: it does not answer, or is on what has no name here.
        """
        with self._turns:
            setting = self._panel.confirm(self._prepared)
            self._take(setting, setup)
            return setting

    def _take(self, setting: Setting, setup: MeterSetup) -> None:
        self._quantity = setting.quantity or setup.quantity
        self._resolution = setting.resolution

    def readings(self, stop: Stop) -> Iterator[Reading]:
        """Yield readings as the meter takes them; resistance where nothing was prepared.

        One answer that is damaged, late or missing is passed over, and the conversation brought
        back into step; only what persists ends it.
        """
        if self._readout is None:
            self.prepare(MeterSetup())
        self._strikes = 0
        while not stop.is_set() and not self._closed:
            try:
                yield from self._measure(stop)
            except AnswerFormError as fault:
                self._strike(self._talk.rubbish(fault), stop)

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
                    self._account_for_silence(readout, stop)
                return []
            numbers = read_answer(answer, readout, self._dialect.answer)
            self._strikes = 0
            quantity, resolution = self._quantity, self._resolution
            times = spread(sent, came, len(numbers))
            return [
                _reading(t, number, quantity, resolution)
                for t, number in zip(times, numbers, strict=True)
                if self._has_a_shape_of_its_own(number)
            ]

    def _has_a_shape_of_its_own(self, number: Measured) -> bool:
        """Whether ``number`` is written as this meter writes; what stands for none is exempt."""
        own = number.plain_number and math.isfinite(number.value)
        return not own or self._shapes.fits(number.text)

    def _account_for_silence(self, readout: Readout, stop: Stop) -> None:
        """No reading came in time: give it longer from now on, or say what keeps it.

        Raises:
            MeterSilentError: nothing answers any more.
            MeterError: too many in a row; what the error queue says.
        """
        if not self._talk.still_there(stop):
            if stop.is_set():
                return
            raise MeterSilentError(
                f"the meter at {self._link.name} has gone silent; wake it or switch it on"
            )
        if self._talk.late:
            longer = min(_LONGEST_S, 2 * readout.timeout_s)
            self._readout = readout._replace(timeout_s=longer)
        refusals = self._talk.refusals()
        why = str(refusals[0]) if refusals else "it does not say why"
        self._strike(MeterError(f"the meter at {self._link.name} gives no reading: {why}"), stop)

    def _strike(self, fault: MeterError, stop: Stop) -> None:
        """Count what went wrong, and go on; too many in a row are no accident.

        Raises:
            MeterError: that was one too many.
        """
        self._strikes += 1
        if self._strikes >= _STRIKES:
            raise fault
        self._talk.back_into_step(stop)


def _reading(t: float, number: Measured, quantity: Quantity, resolution: float | None) -> Reading:
    return Reading(
        t=t,
        value=number.value,
        quantity=number.quantity or quantity,
        resolution=resolution,
        overload=math.isinf(number.value),
        raw=plain(number.text, 40),
    )
