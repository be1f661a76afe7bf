"""How much of the standard command set a simulated meter knows: real ones know it in part."""

import msgspec


class Knowledge(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Each True is a group of commands that the meter obeys; the rest is undefined to it."""

    only_measure: bool = False
    """It knows the one-command measurement, and neither CONFigure nor READ?."""
    configure: bool = True
    """CONFigure and its query."""
    settings: bool = True
    """[SENSe]: function, range and their queries."""
    integration: bool = True
    """NPLCycles."""
    four_wire: bool = True
    """FRESistance."""
    bursts: bool = True
    """SAMPle:COUNt above one."""
    errors: bool = True
    """SYSTem:ERRor?."""
    identity: str = ""
    """What it answers to ``*IDN?``; empty for the simulated bench's own."""
