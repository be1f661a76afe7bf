"""Seven-segment digits.

Segments by the usual letters: a top, b upper right, c lower right, d bottom, e lower left, f upper
left, g middle. The digits are those of the truth table that every data sheet of a BCD to
seven-segment decoder prints; 7 with f, 6 without a and 9 without d are drawn by some displays.
"""

from typing import Final

SEGMENTS: Final = "abcdefg"

DIGITS: Final[dict[str, tuple[str, ...]]] = {
    "0": ("abcdef",),
    "1": ("bc",),
    "2": ("abdeg",),
    "3": ("abcdg",),
    "4": ("bcfg",),
    "5": ("acdfg",),
    "6": ("acdefg", "cdefg"),
    "7": ("abc", "abcf"),
    "8": ("abcdefg",),
    "9": ("abcdfg", "abcfg"),
}
"""Each digit and how it is drawn, the usual way first."""

LETTERS: Final[dict[str, tuple[str, ...]]] = {
    "L": ("def",),
    "E": ("adefg",),
    "-": ("g",),
}
"""What appears in an overload. The letter O is drawn as 0."""


def drawings(available: str, extra: dict[str, str]) -> dict[frozenset[str], str]:
    """Return each pattern of lit segments and what it shows, for a digit that has ``available``.

    A digit that lacks segments, such as the half digit at the left of a 3 1/2-digit display, shows
    only what needs no more than it has. Nothing lit is a space.
    """
    shapes = {**DIGITS, **LETTERS, **{glyph: (lit,) for glyph, lit in extra.items()}}
    known = {frozenset[str](): " "}
    for glyph, ways in shapes.items():
        for lit in ways:
            if set(lit) <= set(available):
                known.setdefault(frozenset(lit), glyph)
    return known
