"""Byte links to a meter: a serial port, a TCP connection, an HID device, a VISA resource.

A link carries bytes and knows nothing of what they mean. It is the only place that knows the
library below it, so the errors of that library end here.
"""
