"""How a SCPI meter is to be read, as far as a user may choose."""

from typing import Annotated

import msgspec


class ScpiOptions(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Choices that hold for a meter whatever the step."""

    nplc: Annotated[float, msgspec.Meta(gt=0, le=100)] = 1.0
    """Integration time, power line cycles. One cycle cancels hum from the mains and still gives
    well over ten readings a second."""
    burst: Annotated[int, msgspec.Meta(ge=1, le=1000)] = 1
    """Readings asked for at once. More than one lets a fast meter outrun a slow line; the
    readings' times are then spread evenly over the burst."""
    line_hz: Annotated[float, msgspec.Meta(ge=40, le=70)] = 50.0
    """Mains frequency, where the meter does not tell it."""
