"""What a meter sees at its sockets: leads, contact, fingers, and what the tips are on.

The two contacts lie in series with the part, the fingers across the tips, the leads in series
with all of it; so the sums are those of series and parallel, exact for this shape.
"""

from math import inf, isinf


def parallel(*ohms: float) -> float:
    """Return the resistance of several resistors side by side."""
    if any(r == 0 for r in ohms):
        return 0.0
    siemens = sum(1 / r for r in ohms if not isinf(r))
    return 1 / siemens if siemens else inf


def at_sockets(
    part: float, contact: float = 0.0, fingers: float = inf, leads: float = 0.0
) -> float:
    """Return the ohms that a two-wire meter sees; all arguments are ohms.

    Args:
        part: between the places that the tips are on.
        contact: of both tips together; infinite while one is off.
        fingers: of the person who holds both tips; infinite without.
        leads: both test leads together.
    """
    return leads + parallel(part + contact, fingers)
