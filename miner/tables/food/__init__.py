"""The meal log: what was eaten when, which foods, and what followed a meal."""
