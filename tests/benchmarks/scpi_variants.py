"""How many of the instruments in ``tests/drivers/scpi_variants.py`` are read as they come.

Run ``python tests/benchmarks/scpi_variants.py``.
"""

import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.drivers.scpi_serving import outcome
from tests.drivers.scpi_variants import VARIANTS, Variant


def timed(variant: Variant) -> tuple[str, float]:
    began = time.monotonic()
    return outcome(variant), time.monotonic() - began


def main() -> None:
    with ThreadPoolExecutor(8) as pool:
        said = list(pool.map(timed, VARIANTS))
    for variant, (why, seconds) in zip(VARIANTS, said, strict=True):
        print(f"{variant.name:<55}{seconds:6.1f} s  {why or 'read'}")
    print(f"{sum(not why for why, _ in said)} of {len(VARIANTS)} read")


if __name__ == "__main__":
    main()
