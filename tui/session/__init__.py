"""One session at the bench: set up, run, and closed."""
