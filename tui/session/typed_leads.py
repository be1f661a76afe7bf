"""A lead zero as typed on the command line."""

from meterlink.errors import UsageError
from meterlink.judging.correction import LeadZero
from meterlink.quantities.notation import parse_as
from meterlink.quantities.text import plain
from meterlink.steps.held import LEADS_AT_LEAST


def typed_lead_zero(text: str) -> LeadZero:
    """Return the lead zero that ``text`` says, such as ``0.12`` or ``120 mohm``.

    Raises:
        UsageError: no resistance, an over range, or far less than nothing.
    """
    typed = parse_as(text, "ohm")
    if typed.overload:
        raise UsageError("the lead zero must be a number: hold the probes together and read again")
    if typed.value < LEADS_AT_LEAST:
        raise UsageError(
            f"{plain(text, 40)} is no lead zero: no leads have less than no resistance"
        )
    return LeadZero(value=typed.value, resolution=typed.resolution, typed=True)
