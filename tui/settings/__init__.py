"""What the user keeps: configuration, profiles and cards."""
