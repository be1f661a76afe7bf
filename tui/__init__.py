"""The faces: command line and full screen, voice and pedal."""
