"""Values with their units: notation, windows, statistics and uncertainty budgets."""
