"""Outcomes as clauses of one sentence."""

from collections.abc import Sequence
from typing import Final

WORTH_SAYING: Final = 0.01
"""An outcome less probable than this is left out of the sentences."""


def either(clauses: Sequence[str]) -> str:
    """Join clauses of which one holds; what they begin with alike is said once.

    ``the primary reads above its window`` and ``the primary reads short`` give
    ``the primary reads above its window or short``.
    """
    if len(clauses) == 1:
        return clauses[0]
    words = [clause.split() for clause in clauses]
    # Something must be left to choose from.
    most = min(map(len, words)) - 1
    shared = 0
    while shared < most and len({each[shared] for each in words}) == 1:
        shared += 1
    ends = [" ".join(each[shared:]) for each in words]
    told = f"{', '.join(ends[:-1])} or {ends[-1]}"
    return " ".join([*words[0][:shared], told])
