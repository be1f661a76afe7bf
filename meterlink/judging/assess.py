"""From a held value to its verdict: corrections, budget and judgement in one place."""

from collections.abc import Callable, Iterator, Sequence
from math import inf, sqrt
from typing import Final, NamedTuple

import msgspec
from msgspec import structs

from meterlink.events import Held
from meterlink.hold.decision_edges import DecisionEdges
from meterlink.hold.resolution import step_of_digits
from meterlink.judging.accuracy import accuracy_at, constant_part, gain_part, same_range
from meterlink.judging.advice import Situation, beyond_range
from meterlink.judging.correction import (
    COPPER_K,
    UNKNOWN_TEMPERATURE,
    LeadZero,
    Temperature,
    as_found,
    at_reference,
    copper_ratio,
    with_leads,
    without_leads,
)
from meterlink.judging.criterion import Criterion, Kind
from meterlink.judging.verdict import Judgement, judge
from meterlink.quantities.budget import (
    Budget,
    Component,
    combined,
    coverage_factor,
    of_digit,
    rectangular,
)
from meterlink.quantities.ohms import AsRead, AtReference, LeadCorrected
from meterlink.source import Accuracy

LIFTED_READS_THE_SAME: Final = (
    "Lifted probes read over range too: this holds only where the tips did touch."
)
"""Beside every verdict on an over range."""

LEADS_MATTER_BELOW: Final = 100.0
"""Ohms; above, a pair of leads of some 0.2 ohm changes no verdict."""


class Assessment(msgspec.Struct, frozen=True, kw_only=True):
    """A value as the verdict saw it, and the verdict."""

    corrected: float | None
    """After leads, series resistance and temperature, SI units; None for an over range."""
    budget: Budget
    """Of the corrected value."""
    judgement: Judgement
    notes: tuple[str, ...] = ()
    """What is not known and so assumed or left out, each a plain sentence."""

    @property
    def expanded(self) -> float:
        """Expanded uncertainty of ``corrected``, 95 %."""
        return self.budget.expanded


class _Standing(NamedTuple):
    """What an assessor need not work out anew while the last digit stays as it is."""

    resolution: float
    zero_on_same_range: bool
    components: tuple[Component, ...]
    """Of the uncertainty, those that do not depend on the value."""


class Assessor:
    """Everything that stands between the values of one step and their verdicts."""

    def __init__(
        self,
        criterion: Criterion,
        accuracy: Sequence[Accuracy] = (),
        lead_zero: LeadZero | None = None,
        temperature: Temperature | None = None,
        *,
        four_wire: bool = False,
        full_scale: float | None = None,
        resolution: float = 0.0,
    ) -> None:
        """Lead zero and temperature are passed over where the criterion has no use for them.

        ``accuracy``: the meter's published lines; empty where nobody gave them.
        ``temperature``: of the winding; None: unknown, and ``UNKNOWN_TEMPERATURE`` is assumed.
        ``four_wire``: measured with four wires, so no lead lies in the reading.
        ``full_scale``: of the range that measures; None: not known.
        ``resolution``: step of the last digit, for ``aim`` before anything is held.
        """
        self.criterion = criterion
        self._accuracy = tuple(accuracy)
        ohms = criterion.window.unit == "ohm"
        self._zero = lead_zero if ohms and not four_wire else None
        self._two_wire = ohms and not four_wire
        self._range = full_scale
        self._resolution = resolution
        self._reference = criterion.reference
        known = temperature if criterion.takes_temperature else None
        self._temperature = known or UNKNOWN_TEMPERATURE
        self._ratio = 1.0
        """Sensitivity of the corrected value to the value as read."""
        if criterion.kind is Kind.WINDING and self._reference is not None:
            self._ratio = copper_ratio(self._temperature.celsius, self._reference)
        self._standing = self._stand(resolution)

    def correct(self, value: float) -> LeadCorrected | AtReference:
        """Return ``value`` as read after every correction that the criterion asks for."""
        found = without_leads(AsRead(value), self._zero)
        if self.criterion.kind is not Kind.WINDING:
            return found
        celsius = self._temperature.celsius
        to = celsius if self._reference is None else self._reference
        return at_reference(found, celsius, to, series=self.criterion.series)

    def assess(self, held: Held) -> Assessment:
        """Return the verdict on ``held`` with its budget."""
        corrected = self.correct(held.value)
        lines = [*self._fixed(held.value, held.resolution), self._repeatability(held)]
        if not held.resolution:
            digit = max(self._coarsest_digit(held.value), held.step_at_most)
            lines.append(Component(name="resolution", u=self._ratio * of_digit(digit)))
        budget = Budget([line for line in lines if line.u > 0])
        return Assessment(
            corrected=corrected,
            budget=budget,
            judgement=judge(corrected, budget, self.criterion, self._situation(held.resolution)),
            notes=tuple(self._notes(held.value, held.resolution)),
        )

    def _coarsest_digit(self, value: float) -> float:
        """Return how coarse the last digit can be where neither meter nor digits tell it.

        5000 may come from a meter that only knows thousands; a mean of readings that differ has
        digits down to nothing. Noughts alone tell nothing: then up to where verdicts differ.
        """
        if value:
            return step_of_digits(value)
        positive = [edge for edge in map(self._as_read, self.criterion.edges) if edge > 0]
        return 4 * min(positive, default=0.0)

    def assess_over_range(self) -> Assessment:
        """Return the verdict on an over range while the probes are known to touch.

        Where the meter's range ends below what counts as open, an over range does not tell an
        open from a value that is merely above the range: the verdicts that reach so far are then
        given equal odds, and the advice says so.
        """
        judgement = judge(AsRead(inf), Budget(), self.criterion)
        if self._range is not None:
            end = self.correct(self._range)
            regions = self.criterion.regions
            reach = [region.verdict for region in regions if region.high > end]
            if len(reach) > 1:
                odds = 1 / len(reach)
                judgement = structs.replace(
                    judgement,
                    probability=odds,
                    probabilities={r.verdict: odds * (r.verdict in reach) for r in regions},
                    advice=beyond_range(
                        self._range, self._as_read(regions[-1].low), self.criterion.window.unit
                    ),
                )
        return Assessment(
            corrected=None, budget=Budget(), judgement=judgement, notes=(LIFTED_READS_THE_SAME,)
        )

    def aim(self) -> DecisionEdges:
        """Return where, as read, a value matters, and what averaging cannot mend there."""
        # Loads Student's distribution now, while nobody waits: it takes some tenths of a second,
        # and the first verdict is to be heard at once.
        coverage_factor(1.0)
        edges = tuple(self._as_read(edge) for edge in self.criterion.edges)
        if len(self._accuracy) > 1 and self._range is None:
            return DecisionEdges(
                edges=edges, u_fixed=self._u_fixed
            )  # the line in force changes with value
        return DecisionEdges(
            edges=edges, u_fixed=_quick(self._u_fixed, scale=max(map(abs, edges)) or 1.0)
        )

    def _as_read(self, corrected: float) -> float:
        """Undo ``correct``."""
        found = LeadCorrected(corrected)
        if self.criterion.kind is Kind.WINDING:
            celsius = self._temperature.celsius
            to = celsius if self._reference is None else self._reference
            found = as_found(AtReference(corrected), celsius, to, series=self.criterion.series)
        return with_leads(found, self._zero)

    def _u_fixed(self, value: float) -> float:
        lines = self._fixed(value, self._resolution)
        return combined([line.u for line in lines]) / self._ratio

    def _fixed(self, value: float, resolution: float) -> Iterator[Component]:
        """Yield the components that more readings leave as they are, of the corrected value."""
        standing = self._standing_at(resolution)
        line = accuracy_at(self._accuracy, value, self._range)
        if line is not None:
            half = gain_part(line, value)
            if not standing.zero_on_same_range:
                half += constant_part(line, resolution, self._range)
            yield Component(name="meter", u=self._ratio * rectangular(half))
        yield from standing.components
        if self.criterion.kind is Kind.WINDING and self._reference is not None:
            # d(R_ref)/dT = -R_ref / (k + T)
            per_kelvin = abs(self.correct(value)) / (COPPER_K + self._temperature.celsius)
            u = per_kelvin * rectangular(self._temperature.half_width)
            yield Component(name="temperature", u=u)

    def _standing_at(self, resolution: float) -> _Standing:
        if resolution != self._standing.resolution:
            self._standing = self._stand(resolution)
        return self._standing

    def _stand(self, resolution: float) -> _Standing:
        same = self._zero_on_same_range(resolution)
        lines = [Component(name="resolution", u=self._ratio * of_digit(resolution))]
        if self._zero is not None:
            lines.append(self._leads(self._zero, resolution, same_range=same))
        if self.criterion.series:
            half = self.criterion.series * self.criterion.series_tolerance / 100
            lines.append(Component(name="series", u=self._ratio * rectangular(half)))
        return _Standing(resolution, same, tuple(lines))

    def _leads(self, zero: LeadZero, resolution: float, *, same_range: bool) -> Component:
        """Return the share of the lead zero: its own noise and last digit.

        On another range than the reading it brings that range's constant part too. On the same
        range the constant part of the meter's offset is in both, and their difference is free
        of it: fully correlated inputs of opposite sign (GUM 5.2.2).
        """
        digit = zero.digit(resolution)
        half = 0.0
        if not same_range:
            line = accuracy_at(self._accuracy, zero.value, zero.range)
            half = constant_part(line, digit, zero.range) if line is not None else 0.0
        parts = Budget(
            (
                Component(name="noise", u=zero.u, dof=_known(zero.dof)),
                Component(name="digit", u=of_digit(digit)),
                Component(name="offset", u=rectangular(half)),
            )
        )
        return Component(name="leads", u=self._ratio * parts.u, dof=_known(parts.dof))

    def _repeatability(self, held: Held) -> Component:
        return Component(name="repeatability", u=self._ratio * held.u, dof=_known(held.dof))

    def _zero_on_same_range(self, resolution: float) -> bool:
        """Whether the lead zero was taken on the range that measures.

        Where a range is not known, an equal last digit tells: a meter's ranges differ in it.
        """
        zero = self._zero
        if zero is None:
            return False
        if zero.range is not None and self._range is not None:
            return same_range(zero.range, self._range)
        known = zero.resolution > 0 and resolution > 0
        return known and abs(zero.digit(resolution) - resolution) <= 1e-6 * resolution

    def _situation(self, resolution: float) -> Situation:
        return Situation(
            lead_zero=self._zero is not None,
            offset_in=self._two_wire and not self._standing_at(resolution).zero_on_same_range,
            temperature_known=self._temperature.known,
        )

    def _notes(self, value: float, resolution: float) -> Iterator[str]:
        line = accuracy_at(self._accuracy, value, self._range)
        if line is None:
            yield "The meter's accuracy is not known; it is not in the uncertainty."
        elif line.counts and not resolution:
            yield "The last digit is not known; the counts of the accuracy are left out."
        elif self._zero is not None and not self._standing_at(resolution).zero_on_same_range:
            yield "The lead zero is not known to be of the same range, so both offsets count."
        if self.criterion.window.unit == "ohm" and not self._two_wire:
            yield "Measured with four wires: nothing comes off for them."
        if self._two_wire and self._zero is None and abs(value) < LEADS_MATTER_BELOW:
            yield "No lead zero was taken; the leads are still in the value."
        winding = self.criterion.kind is Kind.WINDING and self._reference is not None
        if winding and not self._temperature.known:
            t = self._temperature
            yield (
                f"The winding's temperature is not known; {t.celsius - t.half_width:g} to "
                f"{t.celsius + t.half_width:g} °C is assumed."
            )


def _quick(u_fixed: Callable[[float], float], scale: float) -> Callable[[float], float]:
    """Return the same function, fit to be asked at every reading.

    Each component is constant or grows in a straight line with the value, so the square of them
    together is a parabola of the value's size: three points give it exactly.
    """
    c0, one, two = (u_fixed(share * scale) ** 2 for share in (0.0, 1.0, 2.0))
    c2 = (two - 2 * one + c0) / (2 * scale * scale)
    c1 = (one - c0) / scale - c2 * scale

    def quick(value: float) -> float:
        size = abs(value)
        return sqrt(max(0.0, c0 + size * (c1 + size * c2)))

    return quick


def _known(dof: float) -> float | None:
    """Return degrees of freedom as a budget writes them: None where they are infinite."""
    return None if dof == inf else dof
