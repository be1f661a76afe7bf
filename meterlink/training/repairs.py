"""What can be mended, what that takes, and what it does to the engine.

Minutes and money are judgements of the authors, in the same terms as those of the fault table.
"""

from typing import Final

import msgspec

from meterlink.circuit.faults import Patient
from meterlink.finding.model import Model


class Mend(msgspec.Struct, frozen=True):
    """What it takes to put a place right."""

    minutes: float
    parts: float
    """In the workshop's money; 0 where cleaning or setting does it."""


_SWITCH: Final = Mend(10, 10)
_MENDS: Final = {
    "armature": Mend(20, 60),
    "plug lead or cap": Mend(10, 12),
    "stop wire": Mend(15, 6),
    "earth": Mend(10, 0),
    "magnets": Mend(20, 90),
    "flywheel key": Mend(20, 3),
    "air gap": Mend(8, 0),
    "plug": Mend(3, 5),
    "outside the ignition": Mend(0, 0),
}


def mend_of(place: str) -> Mend:
    """Return what it takes to put ``place`` right; every switch takes the same."""
    return _MENDS.get(place, _SWITCH)


def place_of(fault: str, model: Model) -> str:
    """Return the place of ``fault``, which is one of the model's."""
    return next(suspect.place for suspect in model.suspects if suspect.name == fault)


def mended(patient: Patient, place: str, model: Model) -> Patient:
    """Return ``patient`` with ``place`` put right, whatever else is wrong with it."""
    parts = [suspect.part for suspect in model.suspects if suspect.place == place]
    return patient.put_right(parts[0] or place)
