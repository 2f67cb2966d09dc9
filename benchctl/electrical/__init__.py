"""Electrical, thermal and fuel computations: pure functions of numbers, one file a subject."""
