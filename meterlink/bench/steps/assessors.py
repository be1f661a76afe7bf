"""What a step's values are judged by: from the profile's entry and what is known so far."""

from typing import assert_never

from meterlink.bench.progress import Progress
from meterlink.card.card import MeasurementStep, Step, SwitchStep
from meterlink.card.profile import Insulation, Lead, Profile, Switch, Winding
from meterlink.card.profile_parts import ProfilePart, find_part, lacking
from meterlink.events import Held, MeterChecked, Zeroed
from meterlink.judging.assess import Assessor
from meterlink.judging.correction import LeadZero, Temperature
from meterlink.judging.criterion import Criterion
from meterlink.judging.known_resistor import KnownResistor
from meterlink.judging.meter_check import check_meter
from meterlink.judging.rule import Rule
from meterlink.quantities.window import Window
from meterlink.source import Accuracy, Setting


def criterion_for(part: Winding | Lead | Insulation) -> Criterion:
    """Return what ``part`` is judged by. A winding needs its window."""
    match part:
        case Winding():
            return Criterion.winding(
                Window(part.low, part.high),
                reference=part.at,
                open_above=part.open_above,
                short_below=part.short_below,
                series=part.series,
                series_tolerance=part.series_tolerance,
                takes_temperature=part.temperature != "unknown",
            )
        case Lead():
            return Criterion.part(Window(part.low, part.high))
        case Insulation():
            return Criterion.open(part.at_least)
        case _ as never:
            assert_never(never)


def switch_criterion(switch: Switch, *, closed: bool) -> Criterion:
    """Return what a position of ``switch`` is judged by."""
    if closed:
        return Criterion.closed(switch.closed_at_most, open_above=switch.open_at_least)
    return Criterion.open(switch.open_at_least)


class MeasurementContext:
    """What bears on every value: meter, leads, temperature."""

    def __init__(
        self,
        accuracy: tuple[Accuracy, ...],
        progress: Progress,
        setting: Setting | None,
        profile: Profile,
    ) -> None:
        self._accuracy = accuracy
        self._profile = profile
        self._progress = progress
        self._setting = setting or Setting()

    def meter_check(self, step: str, resistor: KnownResistor, held: Held) -> MeterChecked:
        """Return the check of the meter that showed ``held`` on ``resistor``."""
        zero = self._progress.lead_zero
        check = check_meter(
            resistor,
            held,
            self._accuracy,
            None if zero is None else lead_zero_of(zero),
            four_wire=self._setting.four_wire,
            full_scale=self._setting.range,
            assumed=self._profile.assumed,
        )
        return MeterChecked(
            t=held.t,
            step=step,
            contact_t=held.contact_t,
            marking=resistor.marking,
            ohms=resistor.ohms,
            tolerance=resistor.tolerance,
            value=held.value,
            readings=held.readings,
            noise=held.noise,
            resolution=held.resolution,
            corrected=check.value,
            error=check.error,
            u=check.budget.expanded,
            passed=check.passed,
            budget=check.budget.components,
            notes=check.notes,
            sees=check.sees,
        )

    def assessor(self, criterion: Criterion, part: str = "") -> Assessor:
        """Return the assessor of a step with ``criterion``, as things stand.

        ``part``: the name of what is measured, so that another is known from it.
        """
        zero, celsius = self._progress.lead_zero, self._progress.temperature
        return Assessor(
            criterion,
            self._accuracy,
            None if zero is None else lead_zero_of(zero),
            None if celsius is None else Temperature(celsius=celsius),
            four_wire=self._setting.four_wire,
            full_scale=self._setting.range,
            resolution=self._setting.resolution or 0.0,
            assumed=self._profile.assumed,
            others=other_windings(self._profile, part),
            rule=self._profile.rule or Rule.SIMPLE,
        )


def other_windings(profile: Profile, part: str) -> tuple[tuple[str, Criterion], ...]:
    """Return name and criterion of the windings that the probes could be on instead of ``part``.

    Only where ``part`` is a winding itself: what reads like a winding says most there.
    """
    windings = [w for w in profile.winding if w.judged_by_resistance and w.low]
    if part not in {winding.name for winding in windings}:
        return ()
    return tuple((w.name, criterion_for(w)) for w in windings if w.name != part)


def lead_zero_of(taken: Zeroed) -> LeadZero:
    """Return the lead zero that an event says was taken."""
    return LeadZero(
        value=taken.value,
        u=taken.u,
        dof=taken.dof,
        resolution=taken.resolution,
        range=taken.range,
    )


def criterion_of(step: Step, profile: Profile, position: str = "") -> Criterion | None:
    """Return what ``step`` judges by, a switch in ``position``; None where it judges nothing."""
    if lacking(step, profile):
        return None
    if isinstance(step, MeasurementStep):
        part = find_part(step, profile)
        return criterion_for(part) if getattr(part, "judged_by_resistance", True) else None
    if isinstance(step, SwitchStep):
        switch = find_part(step, profile)
        state = switch.positions.get(position, "closed")
        return switch_criterion(switch, closed=state == "closed")
    return None


def find_criterion(profile: Profile, name: str) -> Criterion | None:
    """Return the criterion of the entry ``name``, where the profile has one to measure.

    A switch is judged in its closed state: that is the one which has a value.
    """
    parts: tuple[ProfilePart, ...] = (*profile.winding, *profile.lead, *profile.insulation)
    for part in parts:
        if part.name == name and isinstance(part, Winding | Lead | Insulation):
            return criterion_for(part)
    for switch in profile.switch:
        if switch.name == name:
            return switch_criterion(switch, closed=True)
    return None
