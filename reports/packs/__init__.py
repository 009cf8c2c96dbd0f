"""Packs: the sheets of many loops as one PDF, with contents, index and the schedules that belong to them."""
