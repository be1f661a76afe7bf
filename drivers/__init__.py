"""Meters: bytes in, readings out; finding and identifying them; simulated ones."""
