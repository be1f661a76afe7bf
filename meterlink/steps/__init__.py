"""The kinds of step that a card can have, one module a kind."""
