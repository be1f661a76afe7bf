"""Meters that speak SCPI: standard commands only, whatever the maker."""

from drivers.scpi.dialect import Dialect, ScpiOptions
from drivers.scpi.meter import ScpiMeter

__all__ = ["Dialect", "ScpiMeter", "ScpiOptions"]
