"""Whether what the meter's knob is on suits what a step wants, and what to turn it to if not."""

from drivers.frames.frame import Frame, Status
from meterlink.quantities.notation import format_value
from meterlink.quantities.text import plain
from meterlink.reading import Quantity
from meterlink.source import MeterSetup, Setting

_MEASURES_OHMS = (Quantity.RESISTANCE, Quantity.CONTINUITY)


def setting_for(frame: Frame | None, setup: MeterSetup) -> Setting:
    """Return what the meter is set to, and in ``lost`` what the technician has to change.

    Over range the range is not told, unless it is a manual one: a meter with automatic range has
    then gone to its highest, and comes back.

    Args:
        frame: the newest; None where none has come.
        setup: what the step wants.
    """
    status = frame.status if frame is not None else None
    lost = [] if status is None else list(_lost(status, setup))
    if setup.four_wire:
        lost.append(
            "this meter tells nothing of four-wire measurement; measured with two wires, "
            "so take the lead zero"
        )
    if frame is None or status is None:
        lost.insert(
            0, "nothing has come from the meter yet; is it on, and is its data key pressed?"
        )
        return Setting(lost=tuple(lost))
    searching = frame.overload and status.auto is not False
    return Setting(
        quantity=None if status.assumed else status.quantity,
        range=None if searching else status.full,
        resolution=None if searching else status.resolution,
        lost=tuple(lost),
    )


def _lost(status: Status, setup: MeterSetup) -> list[str]:
    if status.hold:
        return ["the meter's own hold is on; press its hold key to let the display go on"]
    if not status.assumed and not _suits(status.quantity, setup.quantity):
        return [f"turn the meter from {plain(status.knob)} to {setup.quantity.value}"]
    if (
        status.auto is False
        and status.full is not None
        and setup.expected is not None
        and setup.expected > status.full
    ):
        unit = setup.quantity.unit
        return [
            f"the meter's range ends at {format_value(status.full, unit)}; set it to automatic "
            f"range, or to one of {format_value(setup.expected, unit)} or more"
        ]
    return []


def _suits(on: Quantity | None, wanted: Quantity) -> bool:
    """A continuity test can be read off a resistance range, but not the other way round:
    on continuity many meters read no further than some hundred ohms."""
    return on is wanted or (wanted is Quantity.CONTINUITY and on in _MEASURES_OHMS)
