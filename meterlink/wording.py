"""Verdicts, outcomes and windows in words, the same on screen, in voice and in reports."""

from typing import Final

from meterlink.criterion import Criterion
from meterlink.events import Evidence, Verdict
from meterlink.notation import format_value

VERDICT_WORDS: Final = {
    Verdict.OPEN: "open",
    Verdict.SHORT: "short",
    Verdict.BELOW: "below the window",
    Verdict.IN_WINDOW: "in the window",
    Verdict.ABOVE: "above the window",
}

EVIDENCE_WORDS: Final = {
    Evidence.SAME_TOUCH: "the probes stayed on: closed before and after",
    Evidence.TAPPED: "the tips were tapped together before and after",
    Evidence.SAID: "said by the technician",
    Evidence.READ: "a reading above what counts as open",
}

OUTCOME_WORDS: Final = {verdict.value: words for verdict, words in VERDICT_WORDS.items()} | {
    "stuck-closed": "stuck closed",
    "never-closes": "never closes",
    "cannot-tell": "resistance cannot tell",
    "opens-hot": "opens when hot",
    "none": "no dropouts",
    "some": "dropouts",
}


def window_words(criterion: Criterion, *, ohm_sign: bool) -> str:
    """Return a window in words."""
    low, high, unit = criterion.window.low, criterion.window.high, criterion.window.unit
    if low is None and high is not None:
        return f"at most {format_value(high, unit, ohm_sign=ohm_sign)}"
    if high is None and low is not None:
        return f"at least {format_value(low, unit, ohm_sign=ohm_sign)}"
    return " to ".join(format_value(end, unit, ohm_sign=ohm_sign) for end in (low or 0, high or 0))
