"""From a held value to its verdict: corrections, budget and judgement in one place."""

from collections.abc import Callable, Iterator, Sequence
from math import inf, isfinite, sqrt
from typing import Final, NamedTuple

import msgspec
from msgspec import structs

from meterlink.events import Evidence, Held
from meterlink.hold.resolution import step_of_digits
from meterlink.hold.stopping import DecisionEdges
from meterlink.judging.accuracy import (
    Accuracy,
    accuracy_at,
    accuracy_words,
    constant_part,
    gain_part,
    same_range,
)
from meterlink.judging.advice import Situation, beyond_range, reads_like
from meterlink.judging.assumed import FROM_MEMORY, NOTHING_SAID, Assumed, leads_words
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
from meterlink.judging.criterion import Criterion, Kind, Rule
from meterlink.judging.passport import beyond_limits, widened
from meterlink.judging.verdict import Judgement, judge
from meterlink.quantities.budget import Budget, Component, combined, coverage_factor, spread
from meterlink.quantities.units import AsRead, AtReference, LeadCorrected

LIFTED_READS_THE_SAME: Final = (
    "Lifted probes read over range too: this holds only where the tips did touch."
)
"""Beside every verdict on an over range."""

TRUST: Final = {Evidence.SAME_TOUCH: 0.999, Evidence.TAPPED: 0.99, Evidence.SAID: 0.9}
"""Probability that the probes did touch, by the evidence for it: judgement of the authors.

Of ten people who are sure that both tips touch, one stands on enamel, paint or rust, or let one
tip slip while looking at the meter: so a mere statement stays below what counts as clear.
"""

PROVE_IT: Final = "Clean both places to bright metal and measure again before a part is bought."

LOOKALIKE_TRUST: Final = 0.5
"""Probability that the probes are on the right part where the value fits another far better:
tips on the wrong place are as common as a winding that failed so far. Judgement of the authors."""

FAR_OFF: Final = 3.0
"""So many times outside its window a winding is less likely bad than another one."""

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
        """Expanded uncertainty of ``corrected``, 95 %: the interval lies within it."""
        return self.budget.expanded

    @property
    def interval(self) -> tuple[float, float] | None:
        """Both ends of the 95 % interval; None for an over range.

        It need not lie evenly about ``corrected``: leads that were not taken off only add.
        """
        if self.corrected is None or not isfinite(self.corrected):
            return None
        low, high = self.budget.interval
        return self.corrected + low, self.corrected + high


class _Standing(NamedTuple):
    """What an assessor need not work out again while the last digit stays as it is."""

    resolution: float
    zero_on_same_range: bool
    offset_left: float
    """Share of the meter's counts that the lead zero did not take out."""
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
        assumed: Assumed = NOTHING_SAID,
        others: Sequence[tuple[str, Criterion]] = (),
        rule: Rule = Rule.SIMPLE,
    ) -> None:
        """Lead zero and temperature are passed over where the criterion has no use for them.

        ``accuracy``: the meter's published lines; empty where nobody gave them.
        ``temperature``: of the winding; None: unknown, and ``UNKNOWN_TEMPERATURE`` is assumed.
        ``four_wire``: measured with four wires, so no lead lies in the reading.
        ``full_scale``: of the range that measures; None: not known.
        ``resolution``: step of the last digit, for ``aim`` before anything is held.
        ``assumed``: what stands in for facts that nobody declared.
        ``others``: further parts on the bench by name, which the probes could be on by mistake.
        ``rule``: by which the part is accepted or rejected.
        """
        self.criterion = criterion
        self._accuracy = tuple(accuracy)
        ohms = criterion.window.unit == "ohm"
        self._zero = lead_zero if ohms and not four_wire else None
        self._two_wire = ohms and not four_wire
        self._range = full_scale
        self._resolution = resolution
        self._assumed = assumed
        self._others = tuple(others)
        self._rule = rule
        self._reference = criterion.reference
        known = temperature if criterion.takes_temperature else None
        self._temperature = known or UNKNOWN_TEMPERATURE
        self._bench = None if temperature is None else temperature.celsius
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
            lines.append(spread("resolution", self._ratio * digit / 2))
        budget = Budget([line for line in lines if line.u > 0 or line.shift])
        judgement = judge(corrected, budget, self.criterion, self._situation(held), rule=self._rule)
        notes = tuple(self._notes(held.value, held.resolution))
        like = "" if judgement.passes or judgement.impossible else self._reads_like(held.value)
        if like:
            judgement = structs.replace(judgement.trusted(LOOKALIKE_TRUST, like), question=like)
        return Assessment(corrected=corrected, budget=budget, judgement=judgement, notes=notes)

    def _reads_like(self, value: float) -> str:
        """Return what to say of a value that fits another part far better; empty where none."""
        window, corrected = self.criterion.window, self.correct(value)
        if window.floor / FAR_OFF < corrected < window.ceiling * FAR_OFF:
            return ""
        for name, criterion in self._others:
            other = self._of(criterion)
            if other.criterion.verdict(other.correct(value)) is criterion.good:
                return reads_like(name, value)
        return ""

    def _of(self, criterion: Criterion) -> "Assessor":
        """Return the assessor of another part, measured as this one is."""
        return Assessor(
            criterion,
            self._accuracy,
            self._zero,
            self._temperature if self._temperature.known else None,
            four_wire=not self._two_wire,
            full_scale=self._range,
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

    def assess_over_range(self, evidence: Evidence | None = None) -> Assessment:
        """Return the verdict on an over range while the probes touch, as ``evidence`` has it.

        None: they are known to. What lifted probes would leave of it goes to no verdict.

        Where the meter's range ends below what counts as open, an over range does not tell an
        open from a value that is merely above the range: the verdicts that reach so far are then
        given equal odds, and the advice says so.
        """
        judgement = judge(AsRead(inf), Budget(), self.criterion, rule=self._rule)
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
        if evidence is not None:
            judgement = judgement.trusted(
                TRUST[evidence],
                PROVE_IT if evidence is Evidence.SAID and not judgement.advice else "",
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
        line = self._line_at(value, resolution, self._range)
        gain = gain_part(line, value)
        constant = constant_part(line, resolution, self._range)
        half = self._ratio * (gain + constant * standing.offset_left)
        if self._declares_accuracy:
            yield spread("meter", half)
        else:
            yield _assumed(spread("meter", half), line.source)
        drift = self._ratio * self._assumed.drifts * (gain + constant)
        yield _assumed(spread("drift", drift), self._assumed.why)
        yield from standing.components
        if self.criterion.kind is Kind.WINDING and self._reference is not None:
            # d(R_ref)/dT = -R_ref / (k + T)
            per_kelvin = abs(self.correct(value)) / (COPPER_K + self._temperature.celsius)
            warmth = spread("temperature", per_kelvin * self._temperature.half_width)
            yield warmth if self._temperature.known else _assumed(warmth, FROM_MEMORY)

    @property
    def _declares_accuracy(self) -> bool:
        return bool(self._accuracy)

    def _line_at(self, value: float, resolution: float, range_: float | None) -> Accuracy:
        """Return the line of the meter's specification, or what is assumed in its place."""
        declared = accuracy_at(self._accuracy, value, range_)
        if declared is not None:
            return widened(declared, self._bench)
        return self._assumed.accuracy_at(value, resolution, range_)

    def _standing_at(self, resolution: float) -> _Standing:
        if resolution != self._standing.resolution:
            self._standing = self._stand(resolution)
        return self._standing

    def _stand(self, resolution: float) -> _Standing:
        same = self._zero_on_same_range(resolution)
        ratio = self._ratio
        lines = [spread("resolution", ratio * resolution / 2)]
        if self._zero is not None:
            lines.append(self._leads(self._zero, resolution, same_range=same))
        if self.criterion.series:
            half = self.criterion.series * self.criterion.series_tolerance / 100
            lines.append(spread("series", ratio * half))
        assumed: list[Component] = []
        if self._two_wire and self._zero is None:
            low, high = self._assumed.leads
            middle = ratio * (low + high) / 2
            assumed.append(spread("leads", ratio * (high - low) / 2, shift=-middle))
        touches = self._assumed.between_touches
        if self.criterion.window.unit != "ohm":
            pass
        elif touches is not None and self._two_wire:
            dof = float(self._assumed.touch_pairs)
            lines.append(Component(name="touches", u=ratio * touches, dof=dof))
        else:
            half = ratio * self._assumed.contact / 2 if self._two_wire else 0.0
            assumed.append(spread("contact", half, shift=-half))
            assumed.append(spread("emf", ratio * self._assumed.emf))
        lines += [_assumed(line, self._assumed.why) for line in assumed]
        left = 1 - self._assumed.offset if same else 1.0
        return _Standing(resolution, same, left, tuple(lines))

    def _leads(self, zero: LeadZero, resolution: float, *, same_range: bool) -> Component:
        """Return the share of the lead zero: its own noise and last digit.

        On another range than the reading it brings that range's constant part too. On the same
        range the offset in the constant part is in both, and their difference is free of it:
        fully correlated inputs of opposite sign (GUM 5.2.2).
        """
        digit = zero.digit(resolution)
        half = 0.0
        if not same_range:
            line = self._line_at(zero.value, digit, zero.range)
            half = constant_part(line, digit, zero.range)
        ratio = self._ratio
        return spread("leads", ratio * digit / 2, ratio * half, u=ratio * zero.u, dof=zero.dof)

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

    def _situation(self, held: Held) -> Situation:
        same = self._standing_at(held.resolution).zero_on_same_range
        return Situation(
            value=held.value,
            lead_zero=self._zero is not None,
            offset_in=self._two_wire and not same,
            temperature_known=self._temperature.known,
            accuracy_known=self._declares_accuracy,
            leads_assumed=leads_words(self._assumed),
            accuracy_assumed=accuracy_words(
                self._line_at(held.value, held.resolution, self._range)
            ),
        )

    def _notes(self, value: float, resolution: float) -> Iterator[str]:
        line = self._line_at(value, resolution, self._range)
        if not self._declares_accuracy:
            yield (
                f"The meter's accuracy is not declared: {accuracy_words(line)} is assumed "
                f"({line.source})."
            )
        if line.warning:
            yield line.warning
        if outside := beyond_limits(line, self._bench):
            low, high = line.celsius or (0.0, 0.0)
            yield (
                f"The meter's accuracy holds from {low:g} to {high:g} °C; the bench is {outside:g} "
                "K outside, and a tenth more is allowed for each."
            )
        if line.counts and not resolution:
            yield "The last digit is not known; the counts of the accuracy are left out."
        elif self._zero is not None and not self._standing_at(resolution).zero_on_same_range:
            yield "The lead zero is not known to be of the same range, so both offsets count."
        if self.criterion.window.unit == "ohm" and not self._two_wire:
            yield "Measured with four wires: nothing comes off for them."
        if self._two_wire and self._zero is None and abs(value) < LEADS_MATTER_BELOW:
            yield (
                f"No lead zero was taken; the leads are still in the value, and "
                f"{leads_words(self._assumed)} is assumed for them."
            )
        winding = self.criterion.kind is Kind.WINDING and self._reference is not None
        if winding and not self._temperature.known:
            t = self._temperature
            yield (
                f"The winding's temperature is not known; {t.celsius - t.half_width:g} to "
                f"{t.celsius + t.half_width:g} °C is assumed."
            )


def _assumed(line: Component, source: str) -> Component:
    """Return ``line`` as one that nobody declared."""
    return structs.replace(line, assumed=True, source=source)


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
