"""The hold: when does the value of a touch stand?

``detector.HoldDetector`` takes readings and gives touch events. What it goes by is in
``policy.HoldPolicy``; ``stopping.DecisionEdges`` tells it what the verdict needs, so that it
neither stops too early near the edge of a window nor goes on where more readings cannot help.
"""
