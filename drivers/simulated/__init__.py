"""A simulated bench: a virtual engine, a pair of hands, and a meter that speaks SCPI.

Nothing here is a shortcut: the meter is reached over a TCP port or a pseudo-terminal of this
computer, by the same driver that reads a real one.
"""
