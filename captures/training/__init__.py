"""Exercises to learn from, their notes, and what trainees have practised."""
