"""The ignition circuit of a virtual engine, as a network of resistors.

``Engine`` says what is there, ``EngineCondition`` how it lies on the bench, ``places`` where a
probe can touch it, and ``resistance_between`` what a meter would read. ``faults`` makes good
engines bad.
"""
