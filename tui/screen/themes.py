"""Light, dark and plain: colours that hold for every eye, and none that says something alone.

Good, bad and unsure are blue, vermilion and yellow-orange after Okabe and Ito, «Color Universal
Design» (2008), the palette made to be told apart with every common colour vision; darkened where
they stand on a light ground. Form and word say the same everywhere.
"""

from typing import Final

from textual.theme import Theme

DARK: Final = Theme(
    name="bench-dark",
    primary="#56B4E9",
    secondary="#8AA4B8",
    accent="#F0E442",
    success="#56B4E9",
    warning="#E69F00",
    error="#FF8A4C",
    foreground="#F2F2EE",
    background="#101418",
    surface="#182028",
    panel="#222C36",
    dark=True,
    variables={"good": "#56B4E9", "bad": "#FF8A4C", "unsure": "#F0E442", "quiet": "#9AA8B4"},
)
LIGHT: Final = Theme(
    name="bench-light",
    primary="#005A8E",
    secondary="#4A5A66",
    accent="#7A5200",
    success="#005A8E",
    warning="#7A5200",
    error="#A33B00",
    foreground="#14181C",
    background="#FAFAF6",
    surface="#F0F0EA",
    panel="#E2E4E0",
    dark=False,
    variables={"good": "#005A8E", "bad": "#A33B00", "unsure": "#7A5200", "quiet": "#56626C"},
)
PLAIN: Final = Theme(
    name="bench-plain",
    primary="ansi_default",
    secondary="ansi_default",
    accent="ansi_default",
    success="ansi_default",
    warning="ansi_default",
    error="ansi_default",
    foreground="ansi_default",
    background="ansi_default",
    surface="ansi_default",
    panel="ansi_default",
    boost="ansi_default",
    dark=True,
    ansi=True,
    variables={
        "good": "ansi_default",
        "bad": "ansi_default",
        "unsure": "ansi_default",
        "quiet": "ansi_default",
    },
)
"""The terminal's own two colours and nothing else."""

THEMES: Final = (DARK, LIGHT, PLAIN)

FALLBACK: Final = {"good": "#56B4E9", "bad": "#FF8A4C", "unsure": "#F0E442", "quiet": "#9AA8B4"}
"""For themes of the screen library, which do not know our words."""
