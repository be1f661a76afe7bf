"""The policy of the hold: every number that it goes by, in one place."""

from typing import Final

import msgspec
from msgspec import structs

RULE: Final = 2
"""Version of the rules by which values are held; it changes where the same readings may be held
otherwise, policy or not."""

SMALLER: Final = {"farad": 1e-9, "ampere": 1e-6}
"""What a milliohm is among ohms is a picofarad among farads and a nanoampere among amperes."""


class HoldPolicy(msgspec.Struct, frozen=True, kw_only=True):
    """What counts as a touch, as steady, as right and as long enough.

    Durations are seconds, shares are fractions of the value, values are SI units. The first two
    groups are the policy proper; the rest says how it is carried out. Its numbers were found by
    search over seeded traces (``tests/benchmarks/hold_tuning.py``), other seeds than those that
    the detector is measured on.
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
    look_time: float = 0.25
    """Where looks follow more quickly than this, each may take less of the risk ..."""
    look_power: float = 0.8
    """... in proportion to this power of the time between them."""
    look_share: int = 8
    """After a look that found the risk far too large, this share of the stretch passes first ..."""
    look_most: int = 2
    """... but no more than this many points ..."""
    look_odds: float = 20.0
    """... far being this many times too large."""
    foreseen: float = 0.9
    """Share of the time that a settling value is foreseen to take that passes without a look."""
    late_risk: float = 0.018
    """Risk that a look may take at least, once a hold is due."""
    tol_margin: float = 0.827
    """Share of the tolerance within which what is left to settle must be."""
    course_margin: float = 0.697
    """The same where the readings before did settle."""

    # --- what a value that does not stand looks like --------------------------------------------
    taus: tuple[float, ...] = (0.05, 0.15, 0.45, 1.3)
    """Time constants of the settling that a constant value is weighed against."""
    refine: int = 3
    """Most time constants between those that are tried where one of them fits."""
    near: float = 2.0
    """They are tried where less than this many tolerances is left ..."""
    course_gain: float = 3.0
    """... and where the best of the others explains a stretch better by this log likelihood."""
    settling_share: float = 0.0311
    """Prior probability that a stretch is still settling, shared among the time constants."""
    course_share: float = 0.2
    """The same where the readings before it came nearer and nearer."""
    second_share: float = 0.25
    """Prior probability that what settles has a second, slower time constant ..."""
    slow_taus: tuple[float, ...] = (1.2, 0.7, 0.4, 0.2)
    """... which is one of these, seconds ..."""
    apart: float = 0.6
    """... of which the faster one is at most this share."""
    second_risk: float = 0.002
    """Largest probability that a second one is not done ..."""
    second_late_risk: float = 0.25
    """... and the same once a hold is due."""
    size_least: float = 0.3
    """Smallest settling that is thought of, in tolerances."""
    size_range: float = 8.0
    """Logarithm of the range of sizes that settling may have, all of them equally likely."""
    bounce_share: float = 0.25
    """Prior probability that readings have nothing to do with one another."""
    bounce_width: float = 0.1
    """How widely such readings scatter, as a share of the value ..."""
    bounce_least: float = 0.05
    """... and at least, in SI units (see ``SMALLER``)."""
    rounding_share: float = 0.15
    """Steps of the last digit by which rounding may hide a movement when there is no noise."""
    noise_weight: float = 0.831
    """Weight of the prior of the noise, in readings."""
    noise_guess: float = 0.0233
    """Standard deviation of that prior, in tolerances."""
    noise_usual: float = 0.448
    """Noise above this many tolerances, and a step, is seldom the meter's own: it takes ..."""
    noise_power: float = 1.0
    """... this power of its excess more certainty."""
    noise_share: float = 0.005
    """Noise above this share of the value is a poor contact, unless ..."""
    noise_resolutions: float = 3.0
    """... it is no more than this many steps of the last digit."""

    # --- which readings belong together -------------------------------------------------------
    kept: int = 60
    """Most readings (or blocks of readings) that are weighed at once."""
    reach: float = 11.0
    """Readings further than this many tolerances from the newest belong to another stretch."""
    apart_tols: float = 3.0
    """Where the three newest readings differ by more tolerances than this, nothing is weighed."""
    outlier_spacing: int = 8
    """Two readings that are passed over as outliers are at least this far apart."""
    jump_gain: float = 2.53
    """A step this many times larger than each later one begins a new stretch."""
    cut_gain: float = 2.06
    """Scatter this many times the noise between neighbours is no fit: the oldest part is cut."""
    cut_risk: float = 0.5
    """Share of the risk that is left after each cut."""
    cut_few: float = 4.21
    """By how much more where neighbours are few: gain² times one plus this over their number."""
    rough_points: int = 8
    """Newest points that the noise between neighbours is taken from."""

    # --- fast meters --------------------------------------------------------------------------
    fast: float = 42.0
    """Above this many readings a second, readings are averaged over blocks ..."""
    block_time: float = 0.03
    """... that last at least this long ..."""
    fastest_plain: float = 70.0
    """... and above this many a second are blind to mains ripple of ..."""
    mains: tuple[float, ...] = (50.0, 60.0)
    """... these frequencies, hertz."""

    # --- when more readings help --------------------------------------------------------------
    doubt: float = 0.05
    """One minus the confidence of the interval that must be clear of an edge."""
    coverage: float = 1.645
    """Standard uncertainties of what averaging cannot mend that an edge must be away."""
    small_share: float = 0.3
    """Repeatability below this share of what averaging cannot mend no longer matters."""

    # --- what never comes to rest ---------------------------------------------------------------
    noise_most: float = 0.06
    """Readings that scatter by more than this share of the value are no contact."""
    contact_most: float = 1e3
    """... and by more than this, in SI units, neither: a body, or wet insulation."""
    jump_share: float = 0.15
    """A contact jumps by no more than this share of the value; beyond it is another point."""
    creep_most: float = 0.015
    """A value that moves by more than this share of itself in a second is not stated."""
    creep_taus: tuple[float, ...] = (5.0, 12.0, 50.0)
    """Time constants of what creeps; nothing settles so slowly."""
    creep_gain: float = 3.0
    """Log likelihood by which creep explains a touch better than settling does."""
    stands_time: float = 2.0
    """A value that moves is stated with what it moves in so many seconds ..."""
    stands_share: float = 0.5
    """... or in this share of the time that the touch has lasted."""
    doubt_time: float = 0.35
    """What speaks against a held value must do so for this long."""
    sharper: float = 1.3
    """Where noise matters, a value is stated again once its interval is this much narrower."""
    followed: int = 48
    """Most means that the record of a touch keeps."""

    # --- leaving ------------------------------------------------------------------------------
    dropout_time: float = 0.15
    """A gap of the contact no longer than this is no lift."""
    lift_readings: int = 3
    """A lift shows in at least this many readings without contact."""
    slide_tols: float = 5.0
    """A value further than this many tolerances from the held one may be another point."""
    step_most: float = 0.1
    """The last digit of a lowest range is no coarser, SI units (see ``SMALLER``)."""
    air_least: float = 1e6
    """Resistances below this are something touched, ohms."""
    air_times: float = 30.0
    """A resistance above this many times the held one may be the air."""
    clock_readings: int = 8
    """This many readings in order, all before the newest one, are a clock that was set back."""

    def in_unit(self, unit: str) -> "HoldPolicy":
        """Return the policy for values in this SI unit: what is a little of it."""
        share = SMALLER.get(unit, 1.0)
        return structs.replace(
            self,
            tol_least=share * self.tol_least,
            bounce_least=share * self.bounce_least,
            step_most=share * self.step_most,
            contact_most=share * self.contact_most,
        )


POLICY: Final = HoldPolicy()
"""The policy that the program ships with."""
