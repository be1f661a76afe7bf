"""What the outcomes of the checks together say of the ignition circuit, and what to check next.

``find`` goes from outcomes to a ``Finding``: probability of each fault and place, what speaks for
and against it, whether the outcomes contradict each other, and the next best check. What faults
there are and what each check shows under them stands in a fault table (``faults.toml``).

It is Bayes' rule over single faults: exactly one of the table's faults is taken to be there. Two
at once show as a contradiction, not as a fault of their own.
"""

from meterlink.finding.conflict import LEAST_FIT, ODD
from meterlink.finding.find import find, finding, model_for
from meterlink.finding.finding import Finding, Meaning, Odd, Placed, Proposed, Speaks, Suspected
from meterlink.finding.model import Model
from meterlink.finding.next_check import LEAST_GAIN
from meterlink.finding.outcomes import Outcome, close_verdict
from meterlink.finding.posterior import SURE
from meterlink.finding.shape import Check, Fault, FaultTable
from meterlink.finding.table import read_table, shipped_table, table_mistakes
from meterlink.finding.walk import Walk, follow, in_order

__all__ = [
    "LEAST_FIT",
    "LEAST_GAIN",
    "ODD",
    "SURE",
    "Check",
    "Fault",
    "FaultTable",
    "Finding",
    "Meaning",
    "Model",
    "Odd",
    "Outcome",
    "Placed",
    "Proposed",
    "Speaks",
    "Suspected",
    "Walk",
    "close_verdict",
    "find",
    "finding",
    "follow",
    "in_order",
    "model_for",
    "read_table",
    "shipped_table",
    "table_mistakes",
]
