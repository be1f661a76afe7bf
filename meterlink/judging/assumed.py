"""What is assumed where nobody declared it: unknown is not zero.

Every fact that bears on a value has a figure here that stands in for it until somebody declares
the fact itself. Each is a line of the budget, named as assumed, and can be replaced in the
profile, in the settings or on the command line. ``corrected`` never takes off what is assumed.
"""

from typing import Final

import msgspec
from msgspec import structs

from meterlink.errors import NotationError
from meterlink.judging.accuracy import Accuracy, parse_accuracy
from meterlink.quantities.notation import format_value
from meterlink.quantities.units import Ohms, Volts

FROM_MEMORY: Final = "common practice, from memory; no published source"

LEADS: Final = (0.0, 0.5)
"""Ohms that a pair of leads has: 0.1 to 0.3 in good order, more with worn plugs. They only add."""
CONTACT: Final = 0.01
"""Ohms, up to, that tips on clean metal have beyond those of the tips held together."""
THERMAL_EMF: Final = 5e-6
"""Volts, either way: copper on iron gives some 12 microvolts a kelvin, and the two joints of a
measurement differ by less than half of one."""
TEST_CURRENT: Final = 1e-3
"""Amperes that a meter sends on its lowest range, where such voltages matter."""
OFFSET_SHARE: Final = 2 / 3
"""Share of a meter's counts that is an offset, and so goes out with a lead zero of the same
range; the rest is noise and bending, which stays."""
DRIFT: Final = 0.1
"""Share of its accuracy that a meter moves between lead zero and reading: makers allow a tenth a
kelvin outside their reference temperatures, and a meter warms by a kelvin in a hand."""

BENCH_COUNTS: Final = 30_000
"""A display with more steps than this is taken for that of a bench meter."""
HIGH_OHMS: Final = 1e6
"""Above, a handheld meter is less accurate."""

_HANDHELD: Final = Accuracy(percent=1.0, counts=3, source=FROM_MEMORY)
_HANDHELD_HIGH: Final = Accuracy(percent=3.0, counts=5, source=FROM_MEMORY)
_BENCH: Final = Accuracy(percent=0.1, counts=5, of_range=0.01, source=FROM_MEMORY)


class Assumed(
    msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True
):
    """What to assume in place of the figures of this module, as a profile or settings say it."""

    leads_at_least: Ohms | None = None
    leads_at_most: Ohms | None = None
    contact_at_most: Ohms | None = None
    thermal_emf: Volts | None = None
    accuracy: str = ""
    """As published accuracy is written: ``1%+3``."""
    offset_share: float | None = None
    """Share of a meter's counts that a lead zero of the same range takes out, 0 to 1."""
    drift: float | None = None
    """Share of its accuracy that a meter moves between lead zero and reading."""
    between_touches: Ohms | None = None
    """Measured, not assumed: standard deviation of a touch from pairs with the leads swapped. It
    stands in place of contact and thermal EMF."""
    touch_pairs: int = 0
    """How many pairs that rests on: its degrees of freedom."""
    source: str = ""

    def __post_init__(self) -> None:
        if self.accuracy:
            parse_accuracy(self.accuracy)
        low, high = self.leads
        if not 0 <= low <= high:
            raise NotationError("the leads assumed need a lowest value, from zero, and a highest")
        for share in (self.offset_share, self.drift):
            if share is not None and not 0 <= share <= 1:
                raise NotationError("a share that is assumed lies from 0 to 1")
        for size in (self.contact_at_most, self.thermal_emf, self.between_touches):
            if size is not None and not size >= 0:
                raise NotationError("what is assumed of contact or thermal EMF is zero or more")
        if self.between_touches is not None and self.touch_pairs < 1:
            raise NotationError("the spread between touches needs the number of its pairs")

    def over(self, under: "Assumed") -> "Assumed":
        """Return what is assumed where this says it, and else what ``under`` says."""
        given = {
            name: value
            for name, value in structs.asdict(self).items()
            if value not in (None, "", 0)
        }
        return structs.replace(under, **given)

    @property
    def leads(self) -> tuple[float, float]:
        """Lowest and highest resistance of a pair of leads, ohms."""
        low = LEADS[0] if self.leads_at_least is None else float(self.leads_at_least)
        high = LEADS[1] if self.leads_at_most is None else float(self.leads_at_most)
        return low, high

    @property
    def contact(self) -> float:
        """Largest resistance of the tips on the work beyond that of the tips together, ohms."""
        return CONTACT if self.contact_at_most is None else float(self.contact_at_most)

    @property
    def emf(self) -> float:
        """What thermal voltages do to a value, ohms either way."""
        return (THERMAL_EMF if self.thermal_emf is None else self.thermal_emf) / TEST_CURRENT

    @property
    def offset(self) -> float:
        """Share of the counts that a lead zero of the same range takes out."""
        return OFFSET_SHARE if self.offset_share is None else self.offset_share

    @property
    def drifts(self) -> float:
        """Share of its accuracy that a meter moves between lead zero and reading."""
        return DRIFT if self.drift is None else self.drift

    @property
    def why(self) -> str:
        """Where its figures come from."""
        return self.source or FROM_MEMORY

    def accuracy_at(self, value: float, resolution: float, range_: float | None) -> Accuracy:
        """Return the accuracy of a meter of which nobody said it, by its kind and range.

        The steps of its display tell a bench meter from a handheld one.
        """
        if self.accuracy:
            return structs.replace(parse_accuracy(self.accuracy), source=self.why)
        steps = (range_ or abs(value)) / resolution if resolution else 0.0
        if steps > BENCH_COUNTS:
            return _BENCH
        return _HANDHELD if max(range_ or 0.0, abs(value)) <= HIGH_OHMS else _HANDHELD_HIGH


NOTHING_SAID: Final = Assumed()
"""The figures of this module."""

NOTHING_ASSUMED: Final = Assumed(
    leads_at_least=Ohms(0.0),
    leads_at_most=Ohms(0.0),
    contact_at_most=Ohms(0.0),
    thermal_emf=Volts(0.0),
    accuracy="0%",
    offset_share=1.0,
    drift=0.0,
    source="every fact is known",
)
"""For a value of which everything is known."""


def leads_words(assumed: Assumed) -> str:
    """Return the leads that are assumed: ``0 to 0.5 Ω``."""
    low, high = assumed.leads
    return f"{low:g} to {format_value(high, 'ohm')}"
