"""What the outcomes of the checks together say of the ignition circuit, and what to check next.

``find`` goes from outcomes to a ``Finding``: probability of each fault, what speaks for and
against it, whether the outcomes contradict each other, and the next best check. What faults there
are and what each check shows under them stands in a fault table (``faults.toml``).

It is Bayes' rule over single faults: exactly one of the table's faults is taken to be there. Two
at once show as a contradiction, not as a fault of their own.
"""

from meterlink.finding.conflict import LEAST_FIT, ODD
from meterlink.finding.find import LEAST_GAIN, SURE, find, finding, model_for
from meterlink.finding.model import Model
from meterlink.finding.outcomes import Outcome, close_verdict
from meterlink.finding.report import Finding, Meaning, Odd, Proposed, Speaks, Suspected
from meterlink.finding.shape import Check, Fault, FaultTable
from meterlink.finding.table import read_table, shipped_table, table_mistakes

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
    "Proposed",
    "Speaks",
    "Suspected",
    "close_verdict",
    "find",
    "finding",
    "model_for",
    "read_table",
    "shipped_table",
    "table_mistakes",
]
