"""How readings are asked for: which query this instrument knows, and how many at once."""

import math
from typing import NamedTuple

import msgspec

from drivers.scpi.blocks import AnswerFormError
from drivers.scpi.conversation import Conversation
from drivers.scpi.dialect import Answer, Dialect, ScpiOptions
from drivers.scpi.measured import Measured, parse_answer, parse_measured
from drivers.scpi.panel import MEASURE_S, Chosen, Panel
from meterlink.errors import MeterError
from meterlink.quantities.text import plain
from meterlink.source import Setting


class Readout(NamedTuple):
    """One way to ask for readings."""

    query: str
    before: str
    """Command to send first; empty where the query starts the measurement itself."""
    size: int
    """Readings in each answer."""
    timeout_s: float
    elements: int = 1
    """Elements of each reading: value, time, count ..."""


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
                f"the meter at {talk.name} gives no reading when asked «{known.query}»"
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
    return f"; it said «{plain(talk.newest.decode('latin-1'), 40)}»" if talk.newest else ""


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


def read_answer(answer: bytes, way: Readout, told: Answer) -> list[Measured]:
    """Return the readings in ``answer``, oldest first.

    Raises:
        AnswerFormError: rubbish, or not as many numbers as were asked for.
    """
    elements = parse_answer(answer)
    if len(elements) != way.size * way.elements:
        raise AnswerFormError(
            f"{len(elements)} numbers where {way.size * way.elements} were asked for"
        )
    at = told.element or 0
    return [_measured(elements[n + at], told) for n in range(0, len(elements), way.elements)]


def _measured(text: str, told: Answer) -> Measured:
    if text.strip() in told.over_words:
        return Measured(math.inf, text.strip(), plain_number=False)
    found = parse_measured(text)
    if abs(found.value) in told.over_numbers:
        return found._replace(value=math.copysign(math.inf, found.value))
    return found


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
