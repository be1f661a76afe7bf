"""The plots of a report, as SVG that stands in the page itself: no script, no font, no link."""

import io
import itertools
import math
import re
from typing import Any, Final

import matplotlib as mpl
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from captures.report.facts import CheckRow, TouchFacts
from meterlink.events import Judged
from meterlink.quantities.notation import format_value
from meterlink.quantities.window import Window

INK: Final = "#1d2733"
FAINT: Final = "#8a97a6"
WINDOW: Final = "#cfe6dd"
EDGE: Final = "#3f8f76"
MARK: Final = "#b4532a"
DOTS: Final = "#35618f"

_STYLE: Final[dict[Any, Any]] = {
    "svg.fonttype": "none",  # text stays text: it can be searched, and is a tenth of the size
    "svg.hashsalt": "meterlink",
    "font.family": "sans-serif",
    "font.size": 8,
    "text.parse_math": False,
    "text.color": INK,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.formatter.useoffset": False,
}

_numbers = itertools.count(1)


def draw_touch(touch: TouchFacts) -> Markup:
    """Return one touch: its readings over time, the steadied value, and when it was held."""
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(3.35, 1.62), layout="constrained")
        axes = figure.subplots()
        factor, unit = _scale(touch.held, touch.unit)
        start = touch.contact_t
        finite = [
            (t - start, value / factor)
            for t, value in zip(touch.t, touch.value, strict=True)
            if math.isfinite(value)
        ]
        over = [
            t - start for t, value in zip(touch.t, touch.value, strict=True) if math.isinf(value)
        ]
        held = touch.held / factor
        axes.plot(*zip(*finite, strict=True), ".", color=DOTS, markersize=2.6)
        low, high = _range_around(held, [value for _, value in finite])
        axes.set_ylim(low, high)
        if over:
            axes.plot(over, [high] * len(over), "v", color=FAINT, markersize=3, clip_on=False)
        end = (touch.lift_t if touch.lift_t is not None else touch.t[-1]) - start
        axes.plot([touch.held_t - start, end], [held, held], color=MARK, linewidth=1.2)
        axes.plot([touch.held_t - start], [held], "o", color=MARK, markersize=4)
        axes.axvline(touch.held_t - start, color=MARK, linewidth=0.6, linestyle=(0, (2, 2)))
        axes.set_xlabel("seconds since contact", color=FAINT)
        axes.set_title(unit, loc="left", fontsize=8, color=FAINT)
        label = (
            f"Readings of one touch; held at {format_value(touch.held, touch.unit)} "
            f"after {touch.held_t - start:.1f} seconds"
        )
        return _svg(figure, label)


def draw_ruler(check: CheckRow) -> Markup | None:
    """Return a value with its uncertainty against its window; None where there is no window."""
    judged, criterion = check.judged, check.criterion
    if judged is None or criterion is None or not _is_drawable(judged.corrected):
        return None
    window = criterion.window
    if window.low is None or window.high is None:
        return None
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(6.9, 0.62), layout="constrained")
        axes = figure.subplots()
        factor, unit = _scale(window.high, window.unit)
        low, high = window.low / factor, window.high / factor
        left, right = _ends(judged, window, factor)
        axes.axvspan(low, high, color=WINDOW, linewidth=0)
        for edge in (low, high):
            axes.axvline(edge, color=EDGE, linewidth=1)
        _mark_value(axes, judged, factor, left, right)
        margin = (right - left) * 0.02
        axes.set_xlim(left - margin, right + margin)
        axes.set_ylim(-1, 1)
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        axes.annotate(unit, (1, 0), (5, -4), "axes fraction", "offset points", va="top", color=INK)
        value = "over range" if judged.corrected is None else format_value(judged.corrected)
        return _svg(figure, f"{value} against the limits {low:g} to {high:g} {unit}")


def _mark_value(axes: Axes, judged: Judged, factor: float, left: float, right: float) -> None:
    if judged.corrected is None:
        _point_out(axes, "over range", right, 1)
        return
    value = judged.corrected / factor
    if not left <= value <= right:
        side = 1 if value > right else -1
        _point_out(
            axes, format_value(judged.corrected, judged.unit), max(left, min(value, right)), side
        )
        return
    axes.errorbar(
        [value],
        [0],
        xerr=[_half_width(judged) / factor],
        fmt="D",
        color=MARK,
        markersize=5,
        capsize=4,
        linewidth=1.4,
    )


def _point_out(axes: Axes, words: str, end: float, side: int) -> None:
    """Draw an arrow to what lies beyond the scale's ``end``, on the right or (-1) on the left."""
    axes.annotate(
        words,
        (end, 0),
        xytext=(-46 * side, 0),
        textcoords="offset points",
        va="center",
        ha="right" if side > 0 else "left",
        color=MARK,
        arrowprops={"arrowstyle": "-|>", "color": MARK, "linewidth": 1.2},
    )


def _is_drawable(value: float | None) -> bool:
    """Whether a value has a place on a scale; None, an over range, is drawn as an arrow."""
    return value is None or math.isfinite(value)


def _half_width(judged: Judged) -> float:
    """Return the uncertainty to draw; none for what no record of this program holds."""
    u = judged.u or 0.0
    return u if math.isfinite(u) and u > 0 else 0.0


def _ends(judged: Judged, window: Window, factor: float) -> tuple[float, float]:
    """Return the scale's ends: the window with room, and the value unless it is far off."""
    low, high = (window.low or 0.0) / factor, (window.high or 0.0) / factor
    room = (high - low or abs(high) or 1.0) * 0.6
    left, right = max(0.0, low - room), high + room
    if judged.corrected is not None:
        value, u = judged.corrected / factor, _half_width(judged) / factor
        left, right = min(left, value - 1.5 * u), max(right, value + 1.5 * u)
        span = (high - low) * 6
        left, right = max(left, low - span), min(right, high + span)
    return left, right


def _range_around(held: float, values: list[float]) -> tuple[float, float]:
    """Return the ends of the value axis: the hold, and most of the readings around it.

    A bounce at contact may reach far; it must not make the settled part a flat line.
    """
    ordered = sorted(values)
    inner = ordered[len(ordered) // 10 : len(ordered) - len(ordered) // 10] or [held]
    half = max(abs(inner[0] - held), abs(inner[-1] - held), abs(held) * 0.004) * 1.8
    half = half or 1.0
    return held - half, held + half


def _scale(value: float, unit: str) -> tuple[float, str]:
    """Return what to divide by and the unit then, as engineering notation would choose."""
    symbol = format_value(value, unit).rpartition(" ")[2]
    for prefix, factor in (("G", 1e9), ("M", 1e6), ("k", 1e3), ("m", 1e-3), ("µ", 1e-6)):
        if len(symbol) > 1 and symbol.startswith(prefix):
            return factor, symbol
    return 1.0, symbol


def _svg(figure: Figure, label: str) -> Markup:
    """Return the figure as an element of a page, with ids that no other figure has."""
    out = io.StringIO()
    figure.savefig(out, format="svg", transparent=True, metadata=_NO_METADATA)
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    own = f"p{next(_numbers)}-"
    text = re.sub(r'\bid="', f'id="{own}', text)
    text = re.sub(r'(url\(#|href="#)', rf"\g<1>{own}", text)
    head = Markup('<svg role="img" aria-label="{}"').format(label)
    return head + Markup(text.removeprefix("<svg"))  # noqa: S704  # the library's own output


_NO_METADATA: Final = {"Date": None, "Creator": None, "Format": None, "Type": None}
