"""Practice on a virtual engine with a hidden fault: the case, its ledger, and what it was worth.

``draw`` gives a ``Case`` by seed; a ``Practice`` is that case under work, and knows the rules;
``score`` judges its ledger, item by item. Nothing here has a meter or a screen.
"""

from meterlink.training.case import DIFFICULTIES, Case, Order, draw, engines_like, fault_names
from meterlink.training.flaws import Flaw, Touch, flaws_in
from meterlink.training.ledger import Ledger, Safety
from meterlink.training.measurements import PracticeMeasurement
from meterlink.training.practice import Practice
from meterlink.training.score import TOTAL, Item, Score, score, sentences
from meterlink.training.tally import Tally
from meterlink.training.topics import Topic

__all__ = [
    "DIFFICULTIES",
    "TOTAL",
    "Case",
    "Flaw",
    "Item",
    "Ledger",
    "Order",
    "Practice",
    "PracticeMeasurement",
    "Safety",
    "Score",
    "Tally",
    "Topic",
    "Touch",
    "draw",
    "engines_like",
    "fault_names",
    "flaws_in",
    "score",
    "sentences",
]
