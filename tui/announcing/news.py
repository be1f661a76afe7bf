"""How good an outcome or a verdict is, as a tone of the screen."""

from meterlink.bench.expected import is_expected
from meterlink.card.card import MeasurementStep, Step, SwitchStep
from meterlink.card.profile import Insulation, Profile
from meterlink.card.profile_parts import find_part
from meterlink.events import Judged, Verdict
from tui.announcing.forms import Tone


def tone_of_outcome(step: Step, outcome: str, profile: Profile) -> Tone:
    """Return how good it is that ``step`` ended with ``outcome``."""
    hoped = is_expected(step, outcome, good_verdict(step, profile))
    return Tone.NONE if hoped is None else Tone.GOOD if hoped else Tone.BAD


def tone_of_verdict(step: Step, judged: Judged, profile: Profile) -> Tone:
    """Return how good ``judged`` is; unsure where it is close."""
    if not judged.clear:
        return Tone.UNSURE
    hoped = judged.verdict is good_verdict(step, profile, judged.position)
    return Tone.GOOD if hoped else Tone.BAD


def good_verdict(step: Step, profile: Profile, position: str = "") -> Verdict:
    """Return the verdict that ``step`` hopes for, a switch check in this position."""
    match step:
        case MeasurementStep() if isinstance(find_part(step, profile), Insulation):
            return Verdict.OPEN
        case SwitchStep() if find_part(step, profile).positions.get(position) == "open":
            return Verdict.OPEN
        case _:
            return Verdict.IN_WINDOW
