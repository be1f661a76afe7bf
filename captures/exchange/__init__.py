"""Records out to other programs, and several files as one to hand over."""
