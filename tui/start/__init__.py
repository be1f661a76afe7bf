"""Where to begin: ways into the work, each of which ends in a command line.

What is chosen is run like anything typed, so that no rule of any command is known here.
"""
