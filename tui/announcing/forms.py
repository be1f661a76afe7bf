"""Stages, verdicts and outcomes as word and form, so that colour is never needed.

A form is a few characters whose outline tells it from its siblings without reading. A tone is
how good the news is; the screen's style sheet gives it a colour, the form has said it already.
"""

from enum import Enum
from typing import Final

from meterlink.events import Verdict


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
