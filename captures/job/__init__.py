"""Jobs: one folder each with everything about one engine on the bench."""
