"""The report of a job: one HTML file that needs nothing else, for the workshop or the customer.

``gather`` folds a job into facts, ``draw`` makes the plots, ``page`` fills the templates.
"""
