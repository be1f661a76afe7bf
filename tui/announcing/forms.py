"""Stages, verdicts and outcomes as word and form, so that colour is never needed.

A form is a few characters whose outline tells it from its siblings without reading. A tone is
how good the news is; the screen's style sheet gives it a colour, the form has said it already.
"""

from enum import Enum
from typing import Final

from meterlink.card import Step
from meterlink.events import Evidence, Judged, Verdict
from meterlink.profile import Profile


class Phase(Enum):
    """What the technician sees of a touch; the value is the word."""

    OFF = "probes off"
    CONTACT = "contact"
    SETTLING = "settling"
    HELD = "held"
    LIFT = "lift the probes"


class Tone(Enum):
    """How good the news is; the value is the style class."""

    GOOD = "good"
    BAD = "bad"
    UNSURE = "unsure"
    NONE = "none"


PHASE_PICTURES: Final = {
    Phase.OFF: (
        "##         ##",
        " ##       ## ",
        "  ##     ##  ",
        "   #     #   ",
        "             ",
        "             ",
        "             ",
        "#############",
    ),
    Phase.CONTACT: (
        "             ",
        "##         ##",
        " ##       ## ",
        "  ##     ##  ",
        "   ##   ##   ",
        "    ## ##    ",
        "     # #     ",
        "#############",
    ),
    Phase.SETTLING: (
        "##         ##",
        " ##       ## ",
        "  ##     ##  ",
        "   ##   ##   ",
        "    #   #    ",
        " #    #    # ",
        "# #  # #  # #",
        "   ##   ##   ",
    ),
    Phase.HELD: (
        "##         ##",
        " ##       ## ",
        "  ##     ##  ",
        "   ##   ##   ",
        "    ## ##    ",
        "#############",
        "#############",
        "#############",
    ),
    Phase.LIFT: (
        "  #       #  ",
        " ###     ### ",
        "#####   #####",
        "  #       #  ",
        "  #       #  ",
        "  #       #  ",
        "             ",
        "#############",
    ),
}
"""Two probes over the work: apart, meeting it, on restless ground, locked in, on their way up."""

VERDICT_PICTURES: Final = {
    Verdict.SHORT: (
        "             ",
        "##         ##",
        "##         ##",
        "#############",
        "#############",
        "##         ##",
        "##         ##",
        "             ",
    ),
    Verdict.BELOW: (
        "      #    # ",
        "      #    # ",
        "  #   #    # ",
        "  #   #    # ",
        "##### #    # ",
        " ###  #    # ",
        "  #   #    # ",
        "#############",
    ),
    Verdict.IN_WINDOW: (
        "  #       #  ",
        "  #       #  ",
        "  #   #   #  ",
        "  #  ###  #  ",
        "  #  ###  #  ",
        "  #   #   #  ",
        "  #       #  ",
        "#############",
    ),
    Verdict.ABOVE: (
        " #    #   #  ",
        " #    #  ### ",
        " #    # #####",
        " #    #   #  ",
        " #    #   #  ",
        " #    #      ",
        " #    #      ",
        "#############",
    ),
    Verdict.OPEN: (
        "             ",
        "        ##   ",
        "      ##     ",
        "    ##       ",
        "####      ###",
        "####      ###",
        "             ",
        "             ",
    ),
}
"""A path joined; a mark left of, between and right of two posts; a lever raised."""

VERDICT_FORMS: Final = {
    Verdict.SHORT: "●━━━●",
    Verdict.BELOW: "▼├──┤",
    Verdict.IN_WINDOW: "├─◆─┤",
    Verdict.ABOVE: "├──┤▲",
    Verdict.OPEN: "●╴ ╶●",
}
"""A path joined, a mark under, inside and over a window, a path broken."""

DONE, FAULT, SKIPPED, NOW, TO_COME, NOT_NEEDED = "✓", "✗", "»", "▶", "·", "-"


def tone_of_outcome(step: Step, outcome: str, profile: Profile) -> Tone:
    """Return how good it is that ``step`` ended with ``outcome``."""
    good = step.is_expected(outcome, profile)
    return Tone.NONE if good is None else Tone.GOOD if good else Tone.BAD


def tone_of_verdict(step: Step, judged: Judged, profile: Profile) -> Tone:
    """Return how good ``judged`` is; unsure where it is close, or rests on somebody's word."""
    if not judged.clear or judged.evidence is Evidence.SAID:
        return Tone.UNSURE
    good = is_good(step, judged, profile)
    return Tone.GOOD if good else Tone.BAD


def is_good(step: Step, judged: Judged, profile: Profile) -> bool:
    """Return whether ``judged`` is the verdict that passes at ``step``."""
    criterion = step.criterion(profile, judged.position)
    return criterion is not None and judged.verdict is criterion.good
