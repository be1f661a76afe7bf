"""The hold: when does the value of a touch stand?

``HoldDetector`` takes readings and gives touch events. Everything it goes by is a number in
``HoldPolicy``; ``DecisionEdges`` tells it what the verdict needs, so that it neither stops too
early near the edge of a window nor goes on where more readings cannot help.
"""

from meterlink.hold.decision_edges import DecisionEdges
from meterlink.hold.detector import HoldDetector, LiveEstimate
from meterlink.hold.policy import POLICY, RULE, HoldPolicy

__all__ = ["POLICY", "RULE", "DecisionEdges", "HoldDetector", "HoldPolicy", "LiveEstimate"]
