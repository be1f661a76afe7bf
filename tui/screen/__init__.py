"""The full screen: the bench at work, a module a widget."""
