"""A plot that is only looked at: no zoom, no focus, so it never takes a key from the bench."""

from collections.abc import Sequence

from textual_plot import AxisFormatter, PlotWidget

from meterlink.quantities.notation import format_value


class Values(AxisFormatter):
    """Values as the trade writes them, on a line that may be logarithmic."""

    def __init__(self, unit: str, *, logarithmic: bool = False) -> None:
        self._unit = unit
        self._logarithmic = logarithmic

    def get_ticks(self, min_: float, max_: float, max_ticks: int = 8) -> list[float]:
        """Return the two ends: between them the eye does well enough."""
        return [min_, max_]

    def get_labels_for_ticks(self, ticks: Sequence[float]) -> list[str]:
        """Return the ticks with their unit."""
        values = [10.0**tick if self._logarithmic else tick for tick in ticks]
        return [format_value(value, self._unit) for value in values]


class Seconds(AxisFormatter):
    """Whole seconds; nought is ``origin``."""

    def __init__(self, origin: str) -> None:
        self._origin = origin

    def get_ticks(self, min_: float, max_: float, max_ticks: int = 8) -> list[float]:
        """Return both ends: a narrow plot has no room for more."""
        return [min_, max_]

    def get_labels_for_ticks(self, ticks: Sequence[float]) -> list[str]:
        """Return the ticks in seconds."""
        return [f"{tick:.0f} s" if round(tick) else self._origin for tick in ticks]


class LookPlot(PlotWidget, can_focus=False, inherit_bindings=False):
    """Values on the left, seconds beneath, nothing wasted."""

    def __init__(self, origin: str) -> None:
        super().__init__(allow_pan_and_zoom=False)
        self._origin = origin

    def on_mount(self) -> None:
        """Leave room for labels of the trade's length and for nothing else."""
        self.margin_top = 0
        self.margin_bottom = 1
        self.margin_left = 9
        self.set_x_formatter(Seconds(self._origin))

    def colour(self, name: str) -> str:
        """Return the theme's colour of this name, as a style of the plot."""
        colour = self.app.theme_variables.get(name, "")
        return colour if colour.startswith("#") else "default"
