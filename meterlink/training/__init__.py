"""Practice on a virtual engine with a hidden fault: the case, its ledger, and what it was worth.

``draw`` gives a ``Case`` by seed; a ``Practice`` is that case under work, and knows the rules;
``score`` judges its ledger, item by item. Nothing here has a meter or a screen.
"""
