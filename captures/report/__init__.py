"""The report of a job: one HTML file that needs nothing else, for the workshop or the customer.

``gather`` folds a job into facts, ``summary`` says what they come to, ``plots`` draws, ``write``
fills the templates.
"""
