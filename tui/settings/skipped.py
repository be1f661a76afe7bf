"""What could not be used of many things that were shown: said at the end, and in the exit code."""

from collections.abc import Sequence

from meterlink.errors import MeterlinkError


def report_skipped(faults: Sequence[MeterlinkError]) -> None:
    """End what was shown with the first of ``faults``, and how many more there are.

    Raises:
        MeterlinkError: the first, with its own exit code; where there is none, nothing is raised.
    """
    if not faults:
        return
    first, *more = faults
    others = f" (and {len(more)} more)" if more else ""
    raise type(first)(f"{first}{others}; everything else is shown") from first
