"""Records played again, on the screen or as lines."""
