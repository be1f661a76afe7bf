"""Records of readings and events: written, sealed, read back, verified and replayed."""
