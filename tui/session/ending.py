"""What is said when a run ends: what the card's outcomes together mean."""

from collections.abc import Iterator
from typing import Final

from meterlink.bench.progress import Progress
from meterlink.errors import UsageError

DRAWS: Final = 8
"""How often the judged numbers are doubled or halved, to say how firm the finding is."""


def finding_of(progress: Progress) -> Iterator[str]:
    """Yield the finding in sentences; nothing where the card is for no complaint, or said nothing.

    A card of the user's own may speak of checks that only a fault table of their own knows; that
    is said in place of the finding.
    """
    from meterlink.finding.find import find
    from meterlink.finding.from_progress import outcomes_of_cards, parts_of_cards
    from meterlink.finding.shape import UNSAID

    complaint = progress.card.complaint
    outcomes = outcomes_of_cards([progress])
    told = [said for said in outcomes.values() if not (isinstance(said, str) and said in UNSAID)]
    if not complaint or not told:
        return
    try:
        found = find(outcomes, complaint, parts=parts_of_cards([progress]), draws=DRAWS)
    except UsageError as fault:
        yield f"No finding: {fault}; «meterlink finding» takes a fault table with --table."
        return
    yield from found.sentences
