"""A verdict against the part waits for a second touch that agrees.

A tip on enamel, on rust or on the wrong place gives a value as steady as a bad winding does. So a
part is not called bad by one touch: lift, touch again, and both are recorded.
"""

from typing import Final

from msgspec import structs

from meterlink.events import Judged, Verdict
from meterlink.quantities.notation import format_value
from meterlink.wording import VERDICT_WORDS

NOT_REPEATED: Final = "not-repeated"
AGREES: Final = "agrees"
DISAGREES: Final = "disagrees"

WAITS: Final = frozenset({NOT_REPEATED, DISAGREES})
"""What a verdict says of itself where another touch is asked for."""


class Touches:
    """The verdicts of one step, a touch each, until it is settled."""

    def __init__(self, good: Verdict, before: Judged | None = None) -> None:
        """``before``: what an earlier sitting left of the step."""
        self.good = good
        self._earlier: list[Judged] = []
        if before is not None and before.repeat in WAITS:
            self._earlier.append(before)
        self._now: Judged | None = None

    def take(self, judged: Judged) -> Judged:
        """Return the verdict of the present touch with what the touches before say of it."""
        if judged.verdict is self.good and not self._earlier:
            self._now = judged
        elif not self._earlier:
            self._now = structs.replace(judged, repeat=NOT_REPEATED)
        elif any(_agree(judged, other) for other in self._earlier):
            self._now = structs.replace(judged, repeat=AGREES)
        else:
            said = (
                f"The touches disagree: {_shown(self._earlier[-1])} before, {_shown(judged)} now."
            )
            self._now = structs.replace(
                judged, repeat=DISAGREES, clear=False, notes=(*judged.notes, said)
            )
        return self._now

    @property
    def settled(self) -> bool:
        """Whether nothing more is to be touched."""
        return self._now is not None and self._now.repeat not in WAITS

    def say(self) -> str:
        """Return what to do while the probes are still on; empty where nothing special is."""
        if self._now is None or not self._now.repeat:
            return ""
        if self._now.repeat == AGREES:
            return "Both touches agree. Lift the probes."
        if self._now.repeat == DISAGREES:
            return (
                f"The touches disagree: {_shown(self._earlier[-1])}, then {_shown(self._now)}. "
                "Clean both places, lift and touch again."
            )
        return f"{VERDICT_WORDS[self._now.verdict].capitalize()}? Lift and touch again."

    def lifted(self) -> None:
        """The touch is over."""
        if self._now is not None and not self.settled:
            self._earlier.append(self._now)
            self._now = None


def _agree(one: Judged, other: Judged) -> bool:
    """Return whether two touches say the same, by their verdicts and values."""
    if one.verdict is not other.verdict:
        return False
    if one.corrected is None or other.corrected is None:
        return True
    return abs(one.corrected - other.corrected) <= max(one.u or 0.0, other.u or 0.0)


def _shown(judged: Judged) -> str:
    if judged.corrected is None:
        return "over range"
    return format_value(judged.corrected, judged.unit, judged.resolution or None)
