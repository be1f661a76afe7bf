"""What a profile demands, in words: each part with its limits, and where they are from."""

from collections.abc import Callable, Iterator
from functools import partial
from typing import NamedTuple

from meterlink.profile import GapSetting, Lead, Profile, Torque, Winding
from meterlink.quantities.notation import format_value
from meterlink.quantities.text import plain
from tui.announcing.signs import can_show

_Written = Callable[..., str]


class LimitRow(NamedTuple):
    """What is demanded of one part."""

    part: str
    """Its name."""
    says: str
    """The limits, or that there are none."""
    source: str
    more: tuple[str, ...] = ()
    """What else is said of how it is judged, a clause each."""


def limits_of(profile: Profile) -> Iterator[LimitRow]:
    """Yield what ``profile`` demands of each of its parts, with the signs standard output has."""
    written = partial(format_value, ohm_sign=can_show("Ω"))
    parts: list[Winding | Lead | GapSetting | Torque] = [*profile.winding, *profile.lead]
    for part in [*parts, *profile.gap, *profile.torque]:
        unit = "metre" if isinstance(part, GapSetting) else "ohm"
        unit = "newton-metre" if isinstance(part, Torque) else unit
        says = "not judged by resistance"
        if part.low is not None and part.high is not None:
            says = f"{written(part.low, unit)} to {written(part.high, unit)}"
        more: tuple[str, ...] = ()
        if isinstance(part, Winding):
            says += f" at {part.at:g} °C" if part.low is not None else ""
            more = tuple(_of_winding(part, written))
        yield LimitRow(plain(part.name), says, plain(part.source), more)
    for switch in profile.switch:
        positions = ", ".join(f"{plain(p)} {state}" for p, state in switch.positions.items())
        closed, opened = written(switch.closed_at_most, "ohm"), written(switch.open_at_least, "ohm")
        says = f"{positions}; closed is {closed} or less, open is {opened} or more"
        yield LimitRow(plain(switch.name), says, plain(switch.source))
    for insulation in profile.insulation:
        says = f"at least {written(insulation.at_least, 'ohm')}"
        yield LimitRow(plain(insulation.name), says, plain(insulation.source))


def _of_winding(winding: Winding, written: _Written) -> Iterator[str]:
    """Yield what else is said of a winding; open and short as they are judged."""
    if not winding.judged_by_resistance:
        yield plain(winding.why_not, 400)
        return
    criterion = winding.criterion
    if criterion.open_above is not None and criterion.short_below is not None:
        above, below = written(criterion.open_above, "ohm"), written(criterion.short_below, "ohm")
        yield f"open above {above}, short below {below}, corrected like the limits"
    if winding.series:
        series = written(winding.series, "ohm")
        yield f"{series} in line, {winding.series_tolerance:g} % either way, is taken off"
    if winding.temperature != "ambient":
        yield f"temperature: {winding.temperature}"
    if winding.four_wire:
        yield "four wires, where the meter can"
