"""Meters that speak SCPI: standard commands only, whatever the maker."""
