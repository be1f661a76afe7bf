"""Byte links to a meter: a serial port, a TCP connection, a VISA resource.

A link carries bytes and knows nothing of what they mean. It is the only place that knows the
library below it, so the errors of that library end here.
"""

from drivers.links.link import LineSettings, Link
from drivers.links.transports import open_link

__all__ = ["LineSettings", "Link", "open_link"]
