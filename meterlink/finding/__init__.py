"""What the outcomes of the checks together say of the ignition circuit, and what to check next.

``find.find`` goes from outcomes to a ``finding.Finding``: probability of each fault, place and set
of places, what speaks for and against it, which outcomes are likelier a slip than true, and the
next best check. What faults there are and what each check shows under them stands in a fault table
(``faults.toml``); how two faults at once show, and how hands slip, in ``model``.
"""
