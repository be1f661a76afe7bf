"""What a meter says of itself beside its value, and what that means for the work.

One table says it for every meter, whatever the way it comes: a flag in a frame, a word in a line,
an answer to a query, or the function that a reading was taken with.
"""

from collections.abc import Iterable
from enum import Enum
from typing import Final, NamedTuple

import msgspec

from meterlink.events import MeterSet
from meterlink.reading import Quantity, Reading
from meterlink.source import MeterSetup, Setting


class Effect(Enum):
    """What a flag does to the readings that carry it."""

    BLOCKS = "blocks"
    """They are recorded and shown, and nothing is held or judged by them."""
    CAUTIONS = "cautions"
    """They count; the sentence is said once and stands beside every verdict."""
    RECORDED = "is recorded"
    """They count, and the record says so."""


class FlagMeaning(NamedTuple):
    """What one flag means."""

    effect: Effect
    says: str = ""
    """One sentence with the mend; empty where nothing is to be done."""


_B, _C, _R = Effect.BLOCKS, Effect.CAUTIONS, Effect.RECORDED

MEANINGS: Final[dict[str, FlagMeaning]] = {
    "hold": FlagMeaning(
        _B, "The meter's own hold is on, so its display stands still; press its hold key."
    ),
    "relative": FlagMeaning(
        _B,
        "The meter is in relative mode and takes something off by itself; switch that off, as "
        "the lead zero does it here.",
    ),
    "maximum": FlagMeaning(
        _B, "The meter shows its maximum, not what is there now; switch that off."
    ),
    "minimum": FlagMeaning(
        _B, "The meter shows its minimum, not what is there now; switch that off."
    ),
    "average": FlagMeaning(
        _B, "The meter shows its average, not what is there now; switch that off."
    ),
    "peak": FlagMeaning(_B, "The meter shows a peak, not what is there now; switch that off."),
    "computed": FlagMeaning(
        _B, "The meter changes its readings by a calculation of its own; switch that off."
    ),
    "ac": FlagMeaning(_B, "The meter is on alternating current; turn it to resistance (ohm)."),
    "diode": FlagMeaning(_B, "The meter is on its diode test; turn it to resistance (ohm)."),
    "continuity": FlagMeaning(
        _B,
        "The meter is on its continuity test, which reads no further than some hundred ohms; "
        "turn it to resistance (ohm).",
    ),
    "battery_low": FlagMeaning(
        _C, "The meter's battery is low, and what it reads may be off; put a fresh one in."
    ),
    "manual": FlagMeaning(_R),
    "auto": FlagMeaning(_R),
    "filter": FlagMeaning(_R),
}
"""Every flag that is understood. Others are a description's own business and are passed over."""

_OF_QUANTITY: Final = {Quantity.DIODE: "diode", Quantity.CONTINUITY: "continuity"}
_SURE: Final = 2
"""Readings in a row with other flags before they count: one may be a damaged frame."""


def told_flags(flags: Iterable[str]) -> tuple[str, ...]:
    """Return those of ``flags`` that are understood, in order of their names."""
    return tuple(sorted(MEANINGS.keys() & set(flags)))


def misfit(setting: Setting | None, setup: MeterSetup | None) -> str:
    """Return what to turn the meter to, where it says that it measures something else."""
    if setting is None or setup is None or setting.quantity is None:
        return ""
    if setting.quantity is setup.quantity:
        return ""
    return (
        f"The meter was turned to {setting.quantity.value}; turn it to {setup.quantity.value} "
        "and touch again. Nothing was judged."
    )


def turned_meanwhile(setting: Setting | None, reading: Reading) -> str:
    """Return why a value does not count that was read while the meter was being turned back."""
    if setting is None or setting.quantity in (None, reading.quantity):
        return ""
    return "The meter was turned while the value settled."


def setting_of(told: MeterSet | None) -> Setting:
    """Return what an event says that the meter was set to, as a source says it.

    A quantity that this program does not know is None, as is all that nobody told.
    """
    if told is None:
        return Setting()
    known = {quantity.value: quantity for quantity in Quantity}
    return Setting(
        quantity=known.get(told.quantity),
        range=told.range,
        four_wire=told.four_wire,
        integration_s=told.integration_s,
        resolution=told.resolution,
        lost=told.lost,
        flags=told.flags or (),
        cautions=told.cautions or (),
    )


def meter_set(setting: Setting, t: float) -> MeterSet:
    """Return the event that says what the meter is set to; ``setting_of`` is its inverse."""
    return MeterSet(
        t=t,
        quantity="" if setting.quantity is None else setting.quantity.value,
        range=setting.range,
        four_wire=setting.four_wire,
        integration_s=setting.integration_s,
        resolution=setting.resolution,
        lost=setting.lost,
        flags=setting.flags or msgspec.UNSET,
        cautions=setting.cautions or msgspec.UNSET,
    )


class MeterState:
    """Follows what the meter says of itself, by its readings and by its answers."""

    def __init__(self) -> None:
        self.flags: tuple[str, ...] = ()
        """Those of the newest readings, two of them at least."""
        self._asked: tuple[str, ...] = ()
        self._untold: tuple[str, ...] = ()
        self._next: tuple[str, ...] = ()
        self._count = 0

    def see(self, reading: Reading) -> bool:
        """Take a reading; return whether its flags are news."""
        flags = reading.flags
        if reading.quantity in _OF_QUANTITY:
            flags = (*flags, _OF_QUANTITY[reading.quantity])
        if flags == self.flags:
            self._count = 0
            return False
        self._count = self._count + 1 if flags == self._next else 1
        self._next = flags
        if self._count < _SURE:
            return False
        self.flags, self._count = flags, 0
        return True

    def set(self, setting: Setting) -> None:
        """Take what the meter answered when it was asked."""
        self._asked, self._untold = told_flags(setting.flags), setting.cautions

    def passes(self, reading: Reading) -> bool:
        """Whether ``reading`` may be weighed: nothing that it carries, or was told, blocks."""
        own = () if reading.flags == self.flags else reading.flags
        return not (self.blocks or (own and _says((*own,), _B)))

    @property
    def blocks(self) -> tuple[str, ...]:
        """Why nothing is judged now, each with its mend; empty while all is well."""
        return _says((*self.flags, *self._asked), _B)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What belongs beside every verdict."""
        return (*_says((*self.flags, *self._asked), _C), *self._untold)


def _says(flags: tuple[str, ...], effect: Effect) -> tuple[str, ...]:
    found = (MEANINGS[flag] for flag in dict.fromkeys(flags) if flag in MEANINGS)
    return tuple(meaning.says for meaning in found if meaning.effect is effect)
