"""How good an outcome or a verdict is, as a tone of the screen."""

from meterlink.card import Step
from meterlink.events import Evidence, Judged
from meterlink.profile import Profile
from tui.announcing.forms import Tone


def tone_of_outcome(step: Step, outcome: str, profile: Profile) -> Tone:
    """Return how good it is that ``step`` ended with ``outcome``."""
    hoped = step.is_expected(outcome, profile)
    return Tone.NONE if hoped is None else Tone.GOOD if hoped else Tone.BAD


def tone_of_verdict(step: Step, judged: Judged, profile: Profile) -> Tone:
    """Return how good ``judged`` is; unsure where it is close, or rests on somebody's word."""
    if not judged.clear or judged.evidence is Evidence.SAID:
        return Tone.UNSURE
    hoped = is_good(step, judged, profile)
    return Tone.GOOD if hoped else Tone.BAD


def is_good(step: Step, judged: Judged, profile: Profile) -> bool:
    """Return whether ``judged`` is the verdict that ``step`` hopes for."""
    criterion = step.criterion(profile, judged.position)
    return criterion is not None and judged.verdict is criterion.good
