"""How a report says things: values, probabilities, times, the way something was entered."""

from typing import Final

from captures.report.facts import Check
from captures.times import read_rfc3339
from meterlink.card import SwitchStep
from meterlink.errors import UnreadableError
from meterlink.events import Verdict
from meterlink.finding.words import percent
from meterlink.notation import format_value, format_with_u
from meterlink.source import Accuracy
from meterlink.wording import EVIDENCE_WORDS, OUTCOME_WORDS, VERDICT_WORDS, window_words

_HOW_WORDS: Final = {
    "probes": "probes",
    "key": "by key",
    "pedal": "by pedal",
    "typed": "typed",
    "chosen": "chosen",
}

COMPONENT_WORDS: Final = {
    "meter": "accuracy of the meter",
    "resolution": "last digit of the display",
    "leads": "lead zero",
    "series": "resistance in series",
    "temperature": "temperature of the winding",
    "repeatability": "scatter of the readings",
    "resistor": "tolerance of the known resistor",
}


def value_words(check: Check) -> str:
    """Return the value of a row with its uncertainty, or what was said instead."""
    judged = check.judged
    if judged is not None:
        if judged.corrected is None:
            return "over range"
        if judged.u:
            return format_with_u(judged.corrected, judged.u, judged.unit)
        return format_value(judged.corrected, judged.unit)
    if check.zeroed is not None:
        return format_value(check.zeroed.value, "ohm", check.zeroed.resolution)
    return "" if check.entered is None else check.entered.text


def as_read_words(check: Check) -> str:
    """Return the value before any correction, where there is one."""
    judged = check.judged
    if judged is None or judged.value is None:
        return ""
    return format_value(judged.value, judged.unit, judged.resolution or None)


def limits_words(check: Check) -> str:
    """Return the window of a row with its reference temperature."""
    criterion = check.criterion
    if criterion is None:
        return ""
    words = window_words(criterion, ohm_sign=True)
    if criterion.reference is None:
        return words
    return f"{words} at {criterion.reference:g} °C"


def verdict_words(check: Check) -> str:
    """Return verdict or outcome of a row."""
    if check.judged is not None:
        return VERDICT_WORDS[check.judged.verdict]
    if check.ended is None:
        return "not done"
    outcome = OUTCOME_WORDS.get(check.ended.outcome, check.ended.outcome)
    return f"{outcome}: {check.ended.reason}" if check.ended.reason else outcome


def sure_words(check: Check) -> str:
    """Return how sure the verdict is."""
    judged = check.judged
    if judged is None:
        return ""
    probability = percent(judged.probability).replace(" ", "\N{NO-BREAK SPACE}")
    return f"{'clear' if judged.clear else 'close'}, {probability}"


def how_words(check: Check) -> str:
    """Return how the row came about."""
    judged = check.judged
    if judged is not None and judged.evidence is not None:
        return EVIDENCE_WORDS[judged.evidence]
    if judged is not None and judged.readings:
        return f"probes, {judged.readings} readings"
    how = "" if check.ended is None else check.ended.how
    if check.entered is not None:
        how = check.entered.how
    return _HOW_WORDS.get(how, how)


def accuracy_words(line: Accuracy) -> str:
    """Return one line of a meter's published accuracy."""
    parts = []
    if line.percent:
        parts.append(f"{line.percent:g} % of reading")
    if line.of_range:
        parts.append(f"{line.of_range:g} % of range")
    if line.counts:
        parts.append(f"{line.counts:g} counts")
    span = "" if line.range is None else f", range {format_value(line.range)}"
    return " + ".join(parts) + span


def u_words(u: float, unit: str) -> str:
    """Return a standard uncertainty with two digits."""
    return format_value(float(f"{u:.1e}"), unit)


def mark_of(check: Check) -> str:
    """Return the class of a row: ``good``, ``bad``, ``close`` or ``plain``."""
    judged = check.judged
    if judged is not None and not judged.clear:
        return "close"
    if check.good is None:
        return "plain"
    return "good" if check.good else "bad"


def title_words(check: Check) -> str:
    """Return what a row is called."""
    if check.position:
        return f"in «{check.position}»"
    return check.step.title


def customer_words(check: Check) -> str:
    """Return a row in words for somebody who has no meter; empty for what says nothing to them."""
    if check.good is None or check.position:
        return ""
    if isinstance(check.step, SwitchStep):
        return "works" if check.good else "does not work as it should"
    if check.judged is None:
        return "as it should be" if check.good else "not as it should be"
    sure = "" if check.judged.clear else ", though narrowly"
    if check.good:
        return f"within limits{sure}"
    match check.judged.verdict:
        case Verdict.OPEN:
            return f"broken inside{sure}"
        case Verdict.SHORT:
            return f"shorted inside{sure}"
    return f"outside limits{sure}"


def day_words(text: str) -> str:
    """Return the day of an RFC 3339 time, or what stands there."""
    try:
        when = read_rfc3339(text)
    except UnreadableError:
        return text
    return f"{when.day} {when:%B %Y}"


def time_words(text: str) -> str:
    """Return day and time to the minute with the offset, or what stands there."""
    try:
        when = read_rfc3339(text)
    except UnreadableError:
        return text
    return f"{when:%Y-%m-%d %H:%M} {when.isoformat()[-6:]}"


def clock_words(text: str) -> str:
    """Return the time of day, or nothing."""
    try:
        return f"{read_rfc3339(text):%H:%M:%S}"
    except UnreadableError:
        return ""
