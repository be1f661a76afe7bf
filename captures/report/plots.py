"""The drawings of a report, as small SVG that stands in the page itself and takes its colours.

No script, no font and no link; the style sheet gives each class its colour, in light and dark.
"""

import math
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from markupsafe import Markup

from captures.report.facts import CheckRow, TouchFacts
from meterlink.quantities.notation import format_value
from meterlink.quantities.window import Window

_STRIP: Final = (132.0, 16.0)
"""Width and height of a strip of limits, in its own units."""
_PLOT: Final = (330.0, 132.0)
_LEFT, _RIGHT, _TOP, _BOTTOM = 42.0, 8.0, 14.0, 24.0
"""Margins of a plot, for its numbers."""
_MOST_DOTS: Final = 240
"""Readings drawn of one touch; more would lie on each other."""


class Axis(NamedTuple):
    """Where values of one direction stand on the drawing."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Return the place of ``value``, which may lie beyond an end, to a tenth."""
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)

    def ticks(self, most: int) -> Iterator[tuple[float, str]]:
        """Yield places and numbers of at most ``most`` + 1 round values inside the ends."""
        rough = (self.high - self.low) / most
        power = 10.0 ** math.floor(math.log10(rough))
        step = next(power * n for n in (1, 2, 5, 10) if power * n >= rough)
        digits = max(0, -math.floor(math.log10(step)))
        first = math.ceil(self.low / step)
        for n in range(first, math.floor(self.high / step) + 1):
            yield self(n * step), f"{n * step:.{digits}f}"


def draw_touch(touch: TouchFacts) -> Markup:
    """Return one touch: its readings over time, the steadied value, and when it was held."""
    width, height = _PLOT
    factor, unit = _scale(touch.held, touch.unit)
    moments = [t - touch.contact_t for t in touch.t]
    both = list(zip(moments, touch.value, strict=True))
    both = both[:: 1 + len(both) // _MOST_DOTS]
    finite = [(t, value / factor) for t, value in both if math.isfinite(value)]
    held, held_t = touch.held / factor, touch.held_t - touch.contact_t
    lift = moments[-1] if touch.lift_t is None else touch.lift_t - touch.contact_t
    x = Axis(*_apart(min(0.0, moments[0]), max(lift, moments[-1], held_t)), _LEFT, width - _RIGHT)
    y = Axis(*_range_around(held, [value for _, value in finite]), height - _BOTTOM, _TOP)
    parts = [_grid(x, y, unit)]
    shown = [(t, value) for t, value in finite if y.low <= value <= y.high]
    dots = "".join(f"M{x(t)} {y(value)}h0" for t, value in shown)
    parts.append(Markup('<path class="dots" d="{}"/>').format(dots))
    over = "".join(
        f"M{x(t) - 1.2:.1f} {_TOP - 6}h2.4l-1.2 3z" for t, value in both if math.isinf(value)
    )
    parts.append(Markup('<path class="faint" d="{}"/>').format(over) if over else Markup(""))
    parts.append(
        Markup(
            '<path class="mark dashed" d="M{0} {1}V{2}"/><path class="mark" d="M{0} {3}H{4}"/>'
            '<circle class="point" cx="{0}" cy="{3}" r="2.6"/>'
        ).format(x(held_t), _TOP, height - _BOTTOM, y(held), x(lift))
    )
    label = (
        f"Readings of one touch; held at {format_value(touch.held, touch.unit)} "
        f"after {held_t:.1f} seconds"
    )
    return _svg(_PLOT, "plot", label, parts)


def _grid(x: Axis, y: Axis, unit: str) -> Markup:
    """Return the axes with their numbers, the unit above and the seconds below."""
    foot = y.start
    lines = "".join(f"M{_LEFT} {place}H{x.end}" for place, _ in y.ticks(4))
    parts = [Markup('<path class="grid" d="{}M{} {}H{}"/>').format(lines, _LEFT, foot, x.end)]
    for place, words in y.ticks(4):
        parts.append(_text(_LEFT - 4, place + 3, words, "end"))
    for place, words in x.ticks(6):
        parts.append(_text(place, foot + 10, words, "middle"))
    parts.append(_text(0, 8, unit, "start"))
    parts.append(_text(x.end, foot + 21, "seconds since contact", "end"))
    return Markup("").join(parts)


def draw_limits(check: CheckRow) -> Markup | None:
    """Return a value with its uncertainty against its limits; None where it has none.

    An over range, and a value far off, stands as an arrow at the end of the strip.
    """
    measured = _measured(check)
    if measured is None:
        return None
    value, u, limits = measured
    width, height = _STRIP
    middle = height / 2
    x = Axis(*_ends(value, u, limits), 6, width - 6)
    low = 3.0 if limits.low is None else x(limits.low)
    high = width - 3 if limits.high is None else x(limits.high)
    parts = [
        Markup('<path class="track" d="M3 {0}H{1}"/>').format(middle, width - 3),
        Markup('<path class="band" d="M{} {}H{}"/>').format(low, middle, high),
    ]
    edges = "".join(
        f"M{x(end)} 2V{height - 2}" for end in (limits.low, limits.high) if end is not None
    )
    parts.append(Markup('<path class="edge" d="{}"/>').format(edges))
    parts.append(_value_mark(value, u, x))
    said = "over range" if value is None else format_value(value, limits.unit)
    return _svg(_STRIP, "gauge", f"{said} against the limits", parts)


def _measured(check: CheckRow) -> tuple[float | None, float, Window] | None:
    """Return value, uncertainty and limits of a row; None where they cannot be drawn."""
    judged, entered, size = check.judged, check.entered, check.size
    if judged is not None and check.criterion is not None:
        value, u, limits = judged.corrected, judged.u or 0.0, check.criterion.window
    elif entered is not None and entered.value is not None and size is not None:
        value, u, limits = entered.value, 0.0, Window(size.low, size.high, size.unit)
    else:
        return None
    if value is not None and not math.isfinite(value):
        return None  # what no bench records
    return value, u if math.isfinite(u) and u > 0 else 0.0, limits


def _value_mark(value: float | None, u: float, x: Axis) -> Markup:
    middle = _STRIP[1] / 2
    if value is None or not x.low <= value <= x.high:
        right = value is None or value > x.high
        tip, foot = (x.end + 5, x.end - 4) if right else (x.start - 5, x.start + 4)
        shape = Markup('<path class="value" d="M{} {}V{}L{} {}z"/>')
        return shape.format(foot, middle - 4.5, middle + 4.5, tip, middle)
    left, right_end = max(0.0, x(value - u)), min(_STRIP[0], x(value + u))
    return Markup(
        '<path class="whisker" d="M{} {}H{}"/><path class="value" d="M{} {}l4 4-4 4-4-4z"/>'
    ).format(left, middle, right_end, x(value), middle - 4)


def _ends(value: float | None, u: float, limits: Window) -> tuple[float, float]:
    """Return the scale's ends: the limits with room, and the value unless it is far off."""
    low = limits.low if limits.low is not None else 0.0
    high = limits.high if limits.high is not None else 2 * low
    span = high - low or abs(high) or 1.0
    left, right = max(min(0.0, low), low - 0.6 * span), high + 0.6 * span
    if value is not None and low - 2 * span <= value - u and value + u <= high + 2 * span:
        left, right = min(left, value - 1.5 * u), max(right, value + 1.5 * u)
    return _apart(left, right)


def _range_around(held: float, values: Sequence[float]) -> tuple[float, float]:
    """Return the ends of the value axis: the hold, and most of the readings around it.

    A bounce at contact may reach far; it must not make the settled part a flat line.
    """
    ordered = sorted(values)
    inner = ordered[len(ordered) // 10 : len(ordered) - len(ordered) // 10] or [held]
    half = max(abs(inner[0] - held), abs(inner[-1] - held), abs(held) * 0.004) * 1.8
    return _apart(held - half, held + half)


def _apart(low: float, high: float) -> tuple[float, float]:
    """Return two ends that a scale can lie between, far enough apart to be told so."""
    least = 1e-9 * max(abs(low), abs(high)) or 1.0
    return (low, high) if high - low > least else (low - least, high + least)


def _scale(value: float, unit: str) -> tuple[float, str]:
    """Return what to divide by and the unit then, as engineering notation would choose."""
    symbol = format_value(value, unit).rpartition(" ")[2]
    for prefix, factor in (("G", 1e9), ("M", 1e6), ("k", 1e3), ("m", 1e-3), ("µ", 1e-6)):
        if len(symbol) > 1 and symbol.startswith(prefix):
            return factor, symbol
    return 1.0, symbol


def _text(x: float, y: float, words: str, anchor: str) -> Markup:
    return Markup('<text x="{}" y="{}" text-anchor="{}">{}</text>').format(x, y, anchor, words)


def _svg(size: tuple[float, float], kind: str, label: str, parts: Sequence[Markup]) -> Markup:
    head = Markup('<svg class="{}" viewBox="0 0 {:g} {:g}" role="img" aria-label="{}">')
    return head.format(kind, *size, label) + Markup("").join(parts) + Markup("</svg>")
