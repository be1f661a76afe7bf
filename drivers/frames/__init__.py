"""Meters that stream: their byte formats described in TOML, read, found out and imitated.

A description (``load``) becomes a ``FrameFormat``, which makes decoders and encoders;
``open_wire`` turns an open port into a ``Source``; ``Listener`` and ``listen`` find out which
format a meter sends.
README.md beside this file explains how a description is written.
"""

from drivers.frames.frame import Frame, Status
from drivers.frames.frame_format import Decoder, FrameFormat
from drivers.frames.frame_source import FrameSource, open_wire
from drivers.frames.identify import Listener, Match, identify
from drivers.frames.line_search import listen, settings_to_try
from drivers.frames.sample_check import check
from drivers.frames.store import load, load_all, names, user_folder

__all__ = [
    "Decoder",
    "Frame",
    "FrameFormat",
    "FrameSource",
    "Listener",
    "Match",
    "Status",
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
