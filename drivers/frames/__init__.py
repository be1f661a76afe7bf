"""Meters that stream: their frame formats described in TOML, read, found out and imitated.

A description (``store``) becomes a ``FrameFormat`` (``frame_format``), which makes decoders and
encoders; ``frame_source`` turns an open port into a ``Source``; ``identify`` and ``line_search``
find out which format a meter sends; ``learning`` works out one that is not known yet.
README.md beside this file explains how a description is written.
"""
