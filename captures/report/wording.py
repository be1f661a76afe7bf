"""How a report says things: values, probabilities, times, the way something was entered."""

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from captures.record.files import read_rfc3339
from captures.report.facts import CardFacts, CheckRow
from captures.report.own_rows import own_row
from meterlink.errors import UnreadableError
from meterlink.events import Evidence, Gap, Verdict
from meterlink.judging.accuracy import Accuracy
from meterlink.judging.criterion import Decision, Rule
from meterlink.quantities.budget import Budget
from meterlink.quantities.notation import format_value, format_with_u
from meterlink.steps.meter_check import MeterChecked, MeterCheckStep
from meterlink.steps.switch import SwitchStep
from meterlink.wording import (
    DECISION_WORDS,
    EVIDENCE_WORDS,
    SAID_WORDS,
    VERDICT_WORDS,
    entered_words,
    percent,
    window_words,
)
from meterlink.wording import decision_words as rule_words

_BEFORE_UNIT: Final = re.compile(r"(?<=\d) (?=\D*[ΩVAF°])")
"""A number and its unit stay on one line."""

_BY_THE_CARD: Final = frozenset({"skipped", "cannot-tell"})
"""Outcomes that a step can have with no hand on the probes."""

_HOW_WORDS: Final = {
    "probes": "probes",
    "key": "by key",
    "pedal": "by pedal",
    "typed": "typed",
    "chosen": "chosen",
}


def value_words(check: CheckRow) -> str:
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
    if own := own_row(check.step, check.own).value:
        return own
    return "" if check.entered is None else entered_words(check.entered)


def as_read_words(check: CheckRow) -> str:
    """Return the value before any correction, where there is one."""
    judged = check.judged
    if judged is None or judged.value is None:
        return ""
    return format_value(judged.value, judged.unit, judged.resolution or None)


def limits_words(check: CheckRow) -> str:
    """Return the window of a row with its reference temperature."""
    criterion = check.criterion
    if own := own_row(check.step, check.own).limits:
        return own
    if check.size is not None:
        size = check.size
        words = f"{format_value(size.low, size.unit)} to {format_value(size.high, size.unit)}"
        return _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", words)
    if criterion is None:
        return ""
    words = window_words(criterion, ohm_sign=True)
    if criterion.reference is not None:
        words += f" at {criterion.reference:g} °C"
    return _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", words)


def verdict_words(check: CheckRow) -> str:
    """Return verdict or outcome of a row."""
    if check.judged is not None:
        return VERDICT_WORDS[check.judged.verdict]
    if check.ended is None:
        return "not done"
    outcome = check.step.outcome_words(check.ended.outcome)
    return f"{outcome}: {check.ended.reason}" if check.ended.reason else outcome


def sure_words(check: CheckRow) -> str:
    """Return how sure the verdict is."""
    judged = check.judged
    if judged is None:
        return ""
    if judged.evidence is Evidence.SAID:
        return SAID_WORDS
    probability = percent(judged.probability).replace(" ", "\N{NO-BREAK SPACE}")
    return f"{'clear' if judged.clear else 'close'}, {probability}"


def how_words(check: CheckRow) -> str:
    """Return how the row came about."""
    judged = check.judged
    if judged is not None and judged.evidence is not None:
        return EVIDENCE_WORDS[judged.evidence]
    own = own_row(check.step, check.own)
    readings = own.readings if judged is None else judged.readings
    if readings > 1:  # a typed value counts as one reading
        return f"probes, {readings} readings"
    if check.entered is not None and not readings:
        return _HOW_WORDS.get(check.entered.how, check.entered.how)
    if check.ended is not None and check.ended.evidence is not None:
        return EVIDENCE_WORDS[check.ended.evidence]
    if check.ended is None or (check.ended.how == "probes" and check.ended.outcome in _BY_THE_CARD):
        return ""
    return _HOW_WORDS.get(check.ended.how, check.ended.how)


def who_words(check: CheckRow) -> str:
    """Return who answered a row, where the log names somebody."""
    for event in (check.entered, check.ended):
        if event is not None and event.who:
            return event.who
    return ""


def again_words(check: CheckRow) -> str:
    """Return how often a step was done again, and why."""
    if not check.again:
        return ""
    reasons = "; ".join(reason for reason in check.again if reason)
    times = "once" if len(check.again) == 1 else f"{len(check.again)} times"
    return f"done again {times}" + (f": {reasons}" if reasons else "")


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


def certificate_words(lines: Sequence[Accuracy]) -> str:
    """Return what the passport of a meter says, where one is on record."""
    line = next((line for line in lines if line.certificate or line.warning), None)
    if line is None:
        return "none on record"
    parts = [line.certificate or "none"]
    if line.calibrated:
        parts.append(f"of {line.calibrated}")
    if line.expires:
        parts.append(f"until {line.expires}")
    words = " ".join(parts)
    if line.celsius is not None:
        words += f"; accuracy holds from {line.celsius[0]:g} to {line.celsius[1]:g} °C"
    if line.drift is not None:
        words += f"; moved {line.drift:+.2g} % a year between certificates"
    return f"{words}. {line.warning}".strip() if line.warning else words


def decision_words(check: CheckRow) -> str:
    """Return what the rule of decision made of a value, and the risk; empty in old records."""
    judged = check.judged
    if judged is None or not judged.decision:
        return ""
    try:
        rule, decision = Rule(judged.rule), Decision(judged.decision)
    except ValueError:
        return judged.decision
    if rule is not Rule.SIMPLE:
        return rule_words(rule, decision, judged.risk)
    # The usual rule is named below the table, so that a narrow column stays readable.
    risk = "" if judged.risk is None else f", risk {percent(judged.risk)}"
    return f"{DECISION_WORDS[decision]}{risk}".replace(" %", "\N{NO-BREAK SPACE}%")


_REPEAT_WORDS: Final = {
    "not-repeated": "not repeated",
    "agrees": "a second touch agrees",
    "disagrees": "the touches disagree",
}


def repeat_words(check: CheckRow) -> str:
    """Return what a second touch said, where the verdict was against the part."""
    judged = check.judged
    return "" if judged is None else _REPEAT_WORDS.get(judged.repeat, judged.repeat)


def budget_of(check: CheckRow) -> Budget | None:
    """Return the budget of a row's value; None where it has none."""
    judged = check.judged
    lines = own_row(check.step, check.own).budget if judged is None else judged.budget
    return Budget(lines) if lines else None


def assumed(check: CheckRow) -> tuple[str, ...]:
    """Return what was not known of a row's value, each a plain sentence."""
    return own_row(check.step, check.own).notes if check.judged is None else check.judged.notes


def u_words(u: float, unit: str = "ohm") -> str:
    """Return a standard uncertainty with two digits."""
    return format_value(float(f"{u:.1e}"), unit)


def share_words(u: float, total: float) -> str:
    """Return what a component gives to the square of the whole."""
    share = (u / total) ** 2 if total else 0.0
    return "under 1 %" if share < 0.005 else f"{share:.0%}".replace("%", " %")


def error_words(meter: MeterChecked) -> str:
    """Return by how much the meter was off, with the uncertainty of that."""
    return format_with_u(meter.error, meter.u)


def is_close(check: CheckRow) -> bool:
    """Whether the verdict of a row is not sure enough to be called clear."""
    judged = check.judged
    return judged is not None and (not judged.clear or judged.evidence is Evidence.SAID)


def mark_of(check: CheckRow) -> str:
    """Return the class of a row: ``good``, ``bad``, ``close`` or ``plain``."""
    if is_close(check):
        return "close"
    if check.good is None:
        return "plain"
    return "good" if check.good else "bad"


def title_words(check: CheckRow) -> str:
    """Return what a row is called."""
    if check.position:
        return f"in “{check.position}”"
    return check.step.title


def before_words(check: CheckRow) -> str:
    """Return value and verdict of what was measured before."""
    value = "" if check.judged and check.judged.corrected is None else value_words(check)
    return f"{value} {verdict_words(check)}".strip()


def first_capital(words: str) -> str:
    """Return ``words`` as they begin a sentence."""
    return words[:1].upper() + words[1:]


def corrected_words(cards: Iterable[CardFacts]) -> Iterator[str]:
    """Yield what values were corrected by: the lead zero, and the warmth of the parts."""
    for check in (check for card in cards for check in card.checks):
        if check.zeroed is not None:
            yield f"leads zeroed at {value_words(check)}"
        elif check.entered is not None and check.entered.unit == "celsius":
            yield f"parts at {value_words(check)}"


def customer_words(check: CheckRow) -> str:
    """Return a row in words for somebody who has no meter; empty for what says nothing to them."""
    if check.good is None or check.position or isinstance(check.step, MeterCheckStep):
        return ""
    if isinstance(check.step, SwitchStep):
        return "works" if check.good else "does not work as it should"
    if check.judged is None:
        return "as it should be" if check.good else "not as it should be"
    sure = "" if not is_close(check) else ", though narrowly"
    if check.judged.evidence is Evidence.SAID:
        sure = ", as said; not measured"
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


def span_words(began: str, last: str) -> str:
    """Return from when to when, in the time of the place, with its offset from universal time."""
    try:
        first, end = read_rfc3339(began), read_rfc3339(last)
    except UnreadableError:
        return f"{began} to {last}"
    until = f"{end:%H:%M}" if first.date() == end.date() else f"{day_words(last)}, {end:%H:%M}"
    return f"{first:%H:%M} to {until} (UTC{end.isoformat()[-6:]})"


def clock_words(text: str) -> str:
    """Return the time of day, or nothing."""
    try:
        return f"{read_rfc3339(text):%H:%M:%S}"
    except UnreadableError:
        return ""


def other_day_words(text: str, than: str) -> str:
    """Return the day of a time where it is another one than that of ``than``."""
    return "" if text[:10] == than[:10] else text[:10]


def gap_words(gap: Gap) -> str:
    """Return that readings are missing, for how long, and why."""
    if gap.until is None:
        return f"Readings are missing: {gap.why}."
    return f"Readings of {max(0.0, gap.until - gap.t):.1f} s are missing: {gap.why}."
