"""The one engine behind live work, replay, analysis and tests."""
