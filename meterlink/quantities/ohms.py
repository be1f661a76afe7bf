"""Three kinds of ohms that a type checker keeps apart.

All are plain floats at run time. Only ``correction`` turns one into the next, so a value that
still holds the leads cannot be judged as if it did not.
"""

from typing import NewType

AsRead = NewType("AsRead", float)
"""As the meter showed it, steadied: leads and all, at whatever temperature."""

LeadCorrected = NewType("LeadCorrected", float)
"""Without the test leads."""

AtReference = NewType("AtReference", float)
"""A winding alone, at the reference temperature of its window."""
