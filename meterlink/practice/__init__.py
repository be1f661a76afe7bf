"""Practice on a virtual engine with a hidden fault: the case, its ledger, and what it was worth.

``draw`` gives a ``Case`` by seed; a ``Practice`` is that case under work, and knows the rules;
``score`` judges its ledger, item by item. Nothing here has a meter or a screen.
"""

from meterlink.practice.case import DIFFICULTIES, Case, Order, draw, engines_like, fault_names
from meterlink.practice.flaws import Flaw, Touch, flaws_in
from meterlink.practice.judging import Tally
from meterlink.practice.ledger import Ledger, Safety
from meterlink.practice.practice import Practice
from meterlink.practice.probing import Probing
from meterlink.practice.score import TOTAL, Item, Score, score, sentences
from meterlink.practice.topics import Topic

__all__ = [
    "DIFFICULTIES",
    "TOTAL",
    "Case",
    "Flaw",
    "Item",
    "Ledger",
    "Order",
    "Practice",
    "Probing",
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
