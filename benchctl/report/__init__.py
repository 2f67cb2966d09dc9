"""A run → one PDF, one HTML, CSV; all from the record alone, the same bytes each time."""
