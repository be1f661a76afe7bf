"""A meter that speaks SCPI, as a ``Source``, and how its readings are asked for."""

import math
import threading
from collections.abc import Iterator
from types import TracebackType
from typing import Final, Self

import msgspec

from drivers.clock import Clock
from drivers.links.link import Link
from drivers.number_shape import NumberShapes
from drivers.scpi.answers import AnswerFormError, MeasuredAnswer, parse_answer
from drivers.scpi.conversation import ANSWER_S, Conversation
from drivers.scpi.dialect import Dialect, Readout, ScpiOptions, read_answer
from drivers.scpi.panel import MEASURE_S, Chosen, Panel
from drivers.scpi.status import parse_identity
from meterlink.errors import MeterError, MeterSilentError
from meterlink.quantities.text import plain
from meterlink.reading import Quantity, Reading
from meterlink.source import Identity, MeterSetup, Setting, Stop


def choose_readout(
    talk: Conversation,
    panel: Panel,
    chosen: Chosen,
    options: ScpiOptions,
    dialect: Dialect,
) -> tuple[Readout, Setting]:
    """Find out by trying how ``chosen`` is read, from the quickest to the most widely known.

    An instrument that tells neither what it refuses nor what it is set to knows little, and each
    query that it does not know costs the whole wait: there the most widely known comes first.

    Raises:
        MeterError: no way brings a number.
    """
    timeout_s = (dialect.ask.timeout_s or MEASURE_S) + 2 * (chosen.setting.integration_s or 0.0)
    if dialect.ask.query:
        known = Readout(dialect.ask.query, dialect.ask.before, 1, timeout_s)
        if (found := _brings_a_number(talk, panel, known, dialect)) is None:
            raise MeterError(
                f"the meter at {talk.name} gives no reading when asked “{known.query}”"
                f"{_heard(talk)}; look at its display for what it waits for"
            )
        return found, chosen.setting
    if chosen.measure_only:
        return Readout(f"MEAS:{chosen.node}?", "", 1, timeout_s), chosen.setting
    panel.try_set("TRIG:SOUR", "IMM")
    panel.try_set("SAMP:COUN", "1")
    ways = [
        Readout("READ?", "", 1, timeout_s),
        Readout("FETC?", "INIT", 1, timeout_s),
        Readout(f"MEAS:{chosen.node}?", "", 1, timeout_s),
    ]
    if not talk.tells_errors and not panel.tells_function:
        ways.reverse()
    for way in ways:
        if (found := _brings_a_number(talk, panel, way, dialect)) is not None:
            return _with_burst(found, panel, chosen.setting, options)
    raise MeterError(
        f"the meter at {talk.name} gives no reading, neither with READ?, FETCh? nor MEASure?"
        f"{_heard(talk)}; look at its display for what it waits for"
    )


def _heard(talk: Conversation) -> str:
    """What came last, as an error shows it; empty where nothing did."""
    return f"; it said “{plain(talk.newest.decode('latin-1'), 40)}”" if talk.newest else ""


def _with_burst(
    way: Readout, panel: Panel, setting: Setting, options: ScpiOptions
) -> tuple[Readout, Setting]:
    if options.burst == 1:
        return way, setting
    refusal = None
    if way.query == "READ?":
        refusal = panel.try_set("SAMP:COUN", str(options.burst))
        if refusal is None:
            longer = way.timeout_s + 2 * options.burst * (setting.integration_s or 0.02)
            return way._replace(size=options.burst, timeout_s=longer), setting
    why = refusal or "this meter has no READ?"
    lost = (*setting.lost, f"several readings at once: {why}; they are asked for one by one")
    return way, msgspec.structs.replace(setting, lost=lost)


def _brings_a_number(
    talk: Conversation, panel: Panel, way: Readout, dialect: Dialect
) -> Readout | None:
    """Return ``way`` with the number of elements that it brings; None where it brings nothing."""
    for _ in range(2):
        if way.before and talk.refusal_of(way.before) is not None:
            return None
        answer = talk.ask_known(way.query, way.timeout_s)
        if answer is None:
            return None
        try:
            found = way._replace(elements=len(parse_answer(answer)))
            read_answer(answer, found, dialect.answer)
        except AnswerFormError:
            # Perhaps binary, as another program left it.
            panel.try_set("FORM:DATA", "ASC")
        else:
            return found
    return None


def spread(sent: float, came: float, count: int) -> list[float]:
    """Return the times of ``count`` readings that were taken between ``sent`` and ``came``.

    Evenly, the last one at ``came``: that is when it was complete.
    """
    if count == 1:
        return [came]
    step = (came - sent) / count
    times = [sent + step * (index + 1) for index in range(count)]
    times[-1] = came
    return times


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

    def _has_a_shape_of_its_own(self, number: MeasuredAnswer) -> bool:
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


def _reading(
    t: float, number: MeasuredAnswer, quantity: Quantity, resolution: float | None
) -> Reading:
    return Reading(
        t=t,
        value=number.value,
        quantity=number.quantity or quantity,
        resolution=resolution,
        overload=math.isinf(number.value),
        raw=plain(number.text, 40),
    )
