"""Meters that stream: their byte formats described in TOML, read, found out and imitated.

A description (``load``) becomes a ``Wire``, which makes decoders and encoders; ``open_wire`` turns
an open port into a ``Source``; ``Listener`` and ``listen`` find out which wire a meter speaks.
README.md beside this file explains how a description is written.
"""

from drivers.wires.checks import check
from drivers.wires.frame import Frame, Status
from drivers.wires.identify import Listener, Match, identify
from drivers.wires.listening import listen, settings_to_try
from drivers.wires.source import WireSource, open_wire
from drivers.wires.store import load, load_all, names, user_folder
from drivers.wires.wire import Decoder, Wire

__all__ = [
    "Decoder",
    "Frame",
    "Listener",
    "Match",
    "Status",
    "Wire",
    "WireSource",
    "check",
    "identify",
    "listen",
    "load",
    "load_all",
    "names",
    "open_wire",
    "settings_to_try",
    "user_folder",
]
