"""The policy of the hold: every number that it goes by, in one place."""

from typing import Final

import msgspec


class HoldPolicy(msgspec.Struct, frozen=True, kw_only=True):
    """What counts as a touch, as steady, as right and as long enough.

    Durations are seconds, shares are fractions of the value, resistances are ohms.
    """

    least_readings: int = 3
    """A hold rests on at least this many readings: two never hold."""
    least_time: float = 0.2
    """A hold spans more than this from its first reading to its last."""
    tol_share: float = 0.002
    """Tolerance of a held value, as a share of it."""
    tol_resolutions: float = 1.0
    """The same, in steps of the last digit."""
    tol_sds: float = 2.0
    """The same, in standard deviations of the noise."""
    tol_least: float = 1e-3
    """The same, in SI units (a milliohm)."""
    dropout_time: float = 0.15
    """A gap of the contact no longer than this is no lift."""
    lift_readings: int = 2
    """A lift shows in at least this many readings without contact."""


POLICY: Final = HoldPolicy()
"""The policy that the program ships with."""
