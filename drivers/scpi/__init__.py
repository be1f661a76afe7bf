"""Meters that speak SCPI: standard commands only, whatever the maker."""

from drivers.scpi.dialect import Dialect
from drivers.scpi.meter import ScpiMeter
from drivers.scpi.options import ScpiOptions

__all__ = ["Dialect", "ScpiMeter", "ScpiOptions"]
