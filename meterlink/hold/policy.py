"""The policy of the hold: every number that it goes by, in one place."""

from typing import Final

import msgspec
from msgspec import structs

RULE: Final = 4
"""Version of the rules by which values are held; it changes where the same readings may be held
otherwise, policy or not."""

SMALLER: Final = {"farad": 1e-9, "ampere": 1e-6}
"""What a milliohm is among ohms is a picofarad among farads and a nanoampere among amperes."""


class HoldPolicy(msgspec.Struct, frozen=True, kw_only=True):
    """What counts as a touch, as steady, as right and as long enough.

    Durations are seconds, shares are fractions of the value, values are SI units. The first two
    groups are the policy proper and no matter of search; the rest says how it is carried out.
    What a number buys stands beside it where it was taken away and 1,500 traces were gone through
    again (some 4,700 touches, the same seeds): without any of that, 1.49 of 1,000 holds were false,
    1.88 due ones missed, 90 % came within 2.50 times the fewest readings. A case more or less is
    0.2 false or 0.3 missed. Numbers of method alone are where the method is.
    """

    # --- how long -----------------------------------------------------------------------------
    least_readings: int = 3
    """A hold rests on at least this many readings: two never hold."""
    least_time: float = 0.2
    """A hold spans more than this from its first reading to its last."""
    due_readings: int = 6
    """A touch that offers this many clean readings over a second must hold ..."""
    late_time: float = 0.86
    """... so from this long on nothing is waited for that could be done without."""

    # --- how right ----------------------------------------------------------------------------
    tol_share: float = 0.002
    """Tolerance of a held value, as a share of it."""
    tol_resolutions: float = 1.0
    """The same, in steps of the last digit."""
    tol_sds: float = 2.0
    """The same, in standard deviations of the noise of one reading."""
    tol_least: float = 1e-3
    """The same, in SI units (a milliohm; see ``SMALLER``)."""

    # --- how sure -----------------------------------------------------------------------------
    risk: float = 0.00707
    """Largest probability, when held, that the value still moves or that nothing is touched."""
    late_risk: float = 0.018
    """Risk that a look may take at least, once a hold is due: that few are missed."""
    tol_margin: float = 0.75
    """Share of the tolerance within which what is left to settle must be."""

    # --- what a value that does not stand looks like --------------------------------------------
    taus: tuple[float, ...] = (0.05, 0.15, 0.45, 1.3)
    """Time constants of the settling that a constant value is weighed against."""
    settling_share: float = 0.0311
    """Prior probability that a stretch is still settling, shared among the time constants."""
    course_share: float = 0.2
    """The same where the readings before it came nearer and nearer; with one for both, 0.1, holds
    come later (3.00 for 2.50)."""
    second_risk: float = 0.002
    """Largest probability that a second, slower settling is not done ..."""
    second_late_risk: float = 0.25
    """... and the same once a hold is due. Without these two, 6.19 are false for 1.49."""
    bounce_share: float = 0.25
    """Prior probability that readings have nothing to do with one another."""
    noise_weight: float = 0.831
    """Weight of the prior of the noise, in readings."""
    noise_guess: float = 0.0233
    """Standard deviation of that prior, in tolerances."""
    noise_share: float = 0.005
    """Noise above this share of the value is a poor contact, unless ..."""
    noise_resolutions: float = 2.0
    """... it is no more than this many steps of the last digit. At 3, 8.6 in 1,000 holds of poor
    contacts are false for 6.9, and 4.3 due ones missed for 2.9."""

    # --- which readings belong together -------------------------------------------------------
    reach: float = 11.0
    """Readings further than this many tolerances from the newest belong to another stretch."""
    jump_gain: float = 2.53
    """A step this many times larger than each later one begins a new stretch; without it holds
    come later (2.67 for 2.50)."""
    cut_gain: float = 2.06
    """Scatter this many times the noise between neighbours is no fit: the oldest part is cut."""

    # --- when more readings help --------------------------------------------------------------
    doubt: float = 0.05
    """One minus the confidence of the interval that must be clear of an edge."""
    small_share: float = 0.3
    """Repeatability below this share of what averaging cannot mend no longer matters."""

    # --- what never comes to rest ---------------------------------------------------------------
    noise_most: float = 0.06
    """Readings that scatter by more than this share of the value are no contact: at 0.085 a tenth
    more of the contacts that wander are held before they are good."""
    contact_most: float = 1e3
    """... and by more than this, in SI units, neither: a body, or wet insulation.
    Without it 14.9 of 1,000 holds are false for 2.2."""
    jump_share: float = 0.15
    """A contact jumps by no more than this share of the value; beyond it is another point. Without
    it a contact with two levels is held twice in half of its touches."""
    creep_most: float = 0.025
    """A value that moves by more than this share of itself in a second is not stated: a ramp, or
    pressure that falls. At 0.015, 7.5 in 1,000 of what creeps are missed, at 0.025 none."""
    stands_time: float = 2.0
    """A value that moves is stated with what it moves in so many seconds ..."""
    stands_share: float = 0.5
    """... or in this share of the time that the touch has lasted."""
    doubt_time: float = 0.35
    """What speaks against a held value must do so for this long: that a probe coming off does not
    revise what was right. Without it 2.7 of 1,000 holds are false for 2.2."""
    sharper: float = 1.3
    """Where noise matters, a value is stated again once its interval is this much narrower: at 2
    the last interval is 1.8 times that of one who knows the noise, at 1.3 1.5 times."""

    # --- leaving ------------------------------------------------------------------------------
    dropout_time: float = 0.15
    """A gap of the contact no longer than this is no lift."""
    slide_tols: float = 5.0
    """A value further than this many tolerances from the held one may be another point."""
    step_most: float = 0.1
    """The last digit of a lowest range is no coarser, SI units (see ``SMALLER``)."""
    air_least: float = 1e6
    """Resistances below this are something touched, ohms."""

    def in_unit(self, unit: str) -> "HoldPolicy":
        """Return the policy for values in this SI unit: what is a little of it."""
        share = SMALLER.get(unit, 1.0)
        return structs.replace(
            self,
            tol_least=share * self.tol_least,
            step_most=share * self.step_most,
            contact_most=share * self.contact_most,
        )


POLICY: Final = HoldPolicy()
"""The policy that the program ships with."""
