"""Inspection of loops in the plant: what to look at, what was found, and what becomes of it."""
