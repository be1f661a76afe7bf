"""Verdicts, outcomes and windows in words, the same on screen, in voice and in reports."""

import re
from collections.abc import Mapping
from typing import Final

from meterlink.events import Entered, Evidence, Held, Judged, Noise, Verdict
from meterlink.judging.criterion import Criterion, Decision, Rule
from meterlink.quantities.budget import Component
from meterlink.quantities.notation import find_unit, format_value

VERDICT_WORDS: Final = {
    Verdict.OPEN: "open",
    Verdict.SHORT: "short",
    Verdict.BELOW: "below limits",
    Verdict.IN_WINDOW: "within limits",
    Verdict.ABOVE: "above limits",
}

EVIDENCE_WORDS: Final = {
    Evidence.SAME_TOUCH: "the probes stayed on: closed before and after",
    Evidence.TAPPED: "the tips were tapped together before and after",
    Evidence.SAID: "said by the technician, not measured",
    Evidence.READ: "a reading above what counts as open",
}

SAID_WORDS: Final = "said, not measured"
"""Where others read “clear” or “close”."""

OUTCOME_WORDS: Final = {verdict.value: words for verdict, words in VERDICT_WORDS.items()} | {
    "cannot-tell": "resistance cannot tell",
}
"""Outcomes that several kinds of step can have; ``outcome_words`` of a step knows its own too."""

COMPONENT_WORDS: Final = {
    "meter": "accuracy of the meter",
    "resolution": "last digit",
    "leads": "lead zero",
    "series": "resistance in series",
    "temperature": "temperature",
    "repeatability": "scatter of the readings",
    "resistor": "the known resistor",
    "contact": "contact of the tips",
    "touches": "spread between touches",
    "emf": "thermal voltage",
    "drift": "drift of the meter",
}
"""Lines of a budget."""

METER_FAILED: Final = (
    "Trust no value of this job: the meter failed its check against a known resistor. See to the "
    "meter first."
)
"""Said wherever a job is summed up whose meter failed."""

WORTH_NAMING: Final = 0.005
"""Less probable verdicts are not named beside the stated one."""


DECISION_WORDS: Final = {
    Decision.ACCEPT: "accepted",
    Decision.REJECT: "rejected",
    Decision.UNDECIDED: "undecided",
}

RULE_WORDS: Final = {
    Rule.SIMPLE: "simple acceptance",
    Rule.GUARDED_ACCEPTANCE: "guarded acceptance",
    Rule.GUARDED_REJECTION: "guarded rejection",
}


def component_words(line: Component) -> str:
    """Return the name of a line of a budget in words, and that it is assumed where it is."""
    name = COMPONENT_WORDS.get(line.name, line.name)
    if line.assumed and line.name == "leads":
        name = "leads, not taken off"
    return f"{name} (assumed)" if line.assumed else name


def decision_words(rule: Rule, decision: Decision, risk: float | None) -> str:
    """Return what the rule makes of a value, with the specific risk that it is wrong."""
    beside = "" if risk is None else f", wrong with {percent(risk)}"
    return f"{DECISION_WORDS[decision]} by {RULE_WORDS[rule]}{beside}"


def others_words(stated: Verdict, probabilities: Mapping[str, float]) -> str:
    """Return the other verdicts that are worth naming, each after a comma."""
    rest = sorted(probabilities.items(), key=lambda item: -item[1])
    return "".join(
        f", {percent(probability)} {OUTCOME_WORDS[code]}"
        for code, probability in rest
        if code != stated.value and probability >= WORTH_NAMING
    )


def remark_on(held: Held, *, ohm_sign: bool = True) -> str:
    """Return what a held value says of contact and part, with what to do; empty where nothing."""
    if held.poor:
        about = format_value(2 * held.u, held.unit, ohm_sign=ohm_sign)
        jumps = " it jumps," if held.origin is Noise.JUMPING else ""
        return f"Poor contact:{jumps} ±{about}. Press harder or clean the spot."
    if not held.slope:
        return ""
    pace = format_value(abs(held.slope), held.unit, ohm_sign=ohm_sign)
    if held.slope < 0:
        return f"The value falls by {pace} a second: the part cools, or the contact gets better."
    return f"The value rises by {pace} a second: the part warms, or the contact gets worse."


def sure_words(judged: Judged, *, ohm_sign: bool = True) -> str:
    """Return what makes a verdict clear or close, in a sentence that a technician would say."""
    stated = VERDICT_WORDS[judged.verdict]
    if judged.evidence is Evidence.SAID:
        words = EVIDENCE_WORDS[judged.evidence].capitalize()
        return f"{words}: {percent(judged.probability)} sure at most. {judged.advice}".strip()
    if judged.corrected is None or judged.u is None:
        reason = f" ({EVIDENCE_WORDS[judged.evidence]})" if judged.evidence else ""
        if judged.clear:
            return f"Clear: over range with the probes on{reason}."
        sure = percent(judged.probability)
        return f"Close: over range{reason}, {sure} sure. {judged.advice}".strip()
    off = format_value(judged.u, judged.unit, judged.u / 10, ohm_sign=ohm_sign)
    if judged.clear:
        return (
            f"Clear: {stated}, even if {off} off either way ({percent(judged.probability)} sure)."
        )
    beside = others_words(judged.verdict, judged.probabilities)
    return (
        f"Close: {off} off either way makes it {percent(judged.probability)} "
        f"{stated}{beside}. {judged.advice}"
    ).strip()


def sure_in_short(judged: Judged) -> str:
    """Return how sure a verdict is, in a cell of a table."""
    if judged.evidence is Evidence.SAID:
        return SAID_WORDS
    return "clear" if judged.clear else f"close, {percent(judged.probability)}"


def percent(probability: float) -> str:
    """Return ``probability`` as people say it, never as 0 or 100 %."""
    if probability > 0.99:
        return "over 99 %"
    if probability < 0.01:
        return "under 1 %"
    return f"{probability:.0%}".replace("%", " %")


def counted(number: int, what: str) -> str:
    """Return so many of a thing that makes its plural with an s: “1 check”, “3 checks”."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


_NUMBER: Final = re.compile(r"\s*[+-]?[\d.,]+(?:[eE][+-]?\d+)?\s*")


def entered_words(entered: Entered, *, ohm_sign: bool = True) -> str:
    """Return an entry as typed and, where that is in another unit, what it comes to."""
    if entered.value is None or not entered.unit:
        return entered.text
    shown = format_value(entered.value, entered.unit, ohm_sign=ohm_sign)
    typed, known = (find_unit(_NUMBER.sub("", text, count=1)) for text in (entered.text, shown))
    if typed is None or typed == known:
        return entered.text
    return f"{entered.text} is {shown}"


def window_words(criterion: Criterion, *, ohm_sign: bool) -> str:
    """Return a window in words."""
    low, high, unit = criterion.window.low, criterion.window.high, criterion.window.unit
    if low is None and high is not None:
        return f"at most {format_value(high, unit, ohm_sign=ohm_sign)}"
    if high is None and low is not None:
        return f"at least {format_value(low, unit, ohm_sign=ohm_sign)}"
    return " to ".join(format_value(end, unit, ohm_sign=ohm_sign) for end in (low or 0, high or 0))
