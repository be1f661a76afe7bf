"""Where there is no full screen: lines out, typed lines in."""
